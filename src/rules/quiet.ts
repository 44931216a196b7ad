/** Bands of values for what a kind promises of the readings to come (`Quiet` in `contract.ts`). */
import type { Band, Quiet } from './contract.ts';
import type { Draw } from './draw.ts';

/** Every reading of the role is stepped. */
export const noValue: Band = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];

/**
 * Values that lie on the same side of each of `marks` as `value` does, whether a mark itself belongs to what is above it or below. A value that lies on a mark lies outside of its own band.
 * A mark that is no number says nothing.
 */
export function between(value: number, ...marks: readonly number[]): Band {
  let low = Number.NEGATIVE_INFINITY;
  let high = Number.POSITIVE_INFINITY;
  for (const mark of marks) {
    if (mark <= value && mark + hair(mark) > low) low = mark + hair(mark);
    if (mark >= value && mark - hair(mark) < high) high = mark - hair(mark);
  }
  return [low, high];
}

/** Far less than any instrument resolves, and more than a double rounds by. */
const hair = (mark: number): number => 1e-9 * Math.max(1, Math.abs(mark));

/**
 * The meter that a draw was read from, and the values at which it stays on the same side of each of `marks` (W). `null`: read from a current or a counter, of which nothing can be promised by one value.
 * @param prefix of the roles of a numbered piece (`several-draws.ts`), such as `heater-1.`.
 */
export function sameDraw(draw: Draw, marks: readonly number[], prefix = ''): Readonly<Record<string, Band>> | null {
  if (draw.by === 'power') return { [`${prefix}power`]: between(draw.watts, ...marks) };
  return draw.by === 'switch' ? { [`${prefix}switch`]: between(draw.on ? 1 : 0, 0.5) } : null;
}

/** Quiet for as long as these bands hold, or not at all. */
export const quietWithin = (within: Readonly<Record<string, Band>> | null, untilMs = Number.POSITIVE_INFINITY): Quiet | undefined => (within === null ? undefined : { untilMs, within });
