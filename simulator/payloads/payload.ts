/** What a gateway writes: the bytes of one message from the values of its points. Written here and not by the product, which must read them. */
import type { Point } from '../../src/domain/fleet.ts';

export interface PayloadWriter {
  /** By index into the points: whether the message carries the time of that value. */
  readonly timed: readonly boolean[];
  /** The topic on the wire. @param number counts the messages of this writer that leave the site. */
  topicAt(number: number): string;
  /**
   * @param values by index into the points, in declared units; `null`: its sensor sends nothing.
   * @param stampMs the gateway's own clock.
   */
  write(values: readonly (number | null)[], stampMs: number, number: number): string | Buffer;
}

/** An option of the point's source, if it is a text. */
export function option(point: Point, key: string): string | null {
  const options = point.source?.options;
  if (typeof options !== 'object' || options === null) return null;
  const value: unknown = Reflect.get(options, key);
  return typeof value === 'string' ? value : null;
}
