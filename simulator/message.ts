/** Which points travel in which MQTT message. */
import type { Fleet, Point } from '../src/domain/fleet.ts';
import { jsonWriter } from './payloads/json.ts';
import { numberWriter } from './payloads/number.ts';
import type { PayloadWriter } from './payloads/payload.ts';
import { senmlWriter } from './payloads/senml.ts';
import { sparkplugWriter } from './payloads/sparkplug.ts';

export interface MessagePlan {
  /** As in the fleet file: a topic, or the address of a Sparkplug gateway. */
  readonly topic: string;
  readonly siteId: string;
  readonly points: readonly Point[];
  /** The shortest cadence of its points. */
  readonly everyMs: number;
  readonly writer: PayloadWriter;
}

const writers: Readonly<Record<string, (topic: string, points: readonly Point[]) => PayloadWriter>> = {
  number: numberWriter, json: jsonWriter, senml: senmlWriter, sparkplug: sparkplugWriter,
};

/** One plan per topic. @throws Error for a format the simulator cannot write. */
export function planMessages(fleet: Fleet): readonly MessagePlan[] {
  const byTopic = new Map<string, Point[]>();
  for (const point of fleet.points) {
    if (point.source === null) continue;
    const points = byTopic.get(point.source.topic) ?? [];
    points.push(point);
    byTopic.set(point.source.topic, points);
  }
  return [...byTopic].map(([topic, points]) => ({
    topic,
    siteId: points[0]?.siteId ?? '',
    points,
    everyMs: Math.min(...points.map((point) => point.everyMs)),
    writer: writerFor(topic, points),
  }));
}

function writerFor(topic: string, points: readonly Point[]): PayloadWriter {
  const formats = [...new Set(points.map((point) => point.source?.format ?? ''))];
  const make = formats.length === 1 ? writers[formats[0] ?? ''] : undefined;
  if (make === undefined) throw new Error(`topic ${topic}: the simulator writes one of ${Object.keys(writers).join(', ')} to a topic, not ${formats.join(' with ')}`);
  return make(topic, points);
}
