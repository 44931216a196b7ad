/** Which points travel in which MQTT message, and the bytes of it. */
import type { Fleet, Point } from '../src/domain/fleet.ts';

export interface MessagePlan {
  readonly topic: string;
  readonly siteId: string;
  readonly points: readonly Point[];
  /** The shortest cadence of its points. */
  readonly everyMs: number;
  /** @param values by index into `points`, in declared units. */
  write(values: readonly number[], atMs: number): string;
}

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
    write: writerFor(topic, points),
  }));
}

function writerFor(topic: string, points: readonly Point[]): MessagePlan['write'] {
  const formats = new Set(points.map((point) => point.source?.format));
  if (formats.size === 1 && formats.has('json')) return jsonWriter(points);
  if (points.length === 1 && formats.has('number')) return (values) => String(values[0]);
  throw new Error(`topic ${topic}: the simulator writes one "number" or any number of "json" points to a topic, not ${[...formats].join(' with ')} for ${points.length}`);
}

function jsonWriter(points: readonly Point[]): MessagePlan['write'] {
  const valuePaths = points.map((point) => path(point, 'value') ?? []);
  const timePaths = points.flatMap((point) => path(point, 'time') ?? []).length > 0 ? points.map((point) => path(point, 'time')) : [];
  return (values, atMs) => {
    const root: Json = {};
    for (const timePath of timePaths) if (timePath !== null) put(root, timePath, new Date(atMs).toISOString());
    valuePaths.forEach((valuePath, index) => {
      const value = values[index];
      if (value === undefined) return;
      put(root, valuePath, points[index]?.kind === 'switch' ? value >= 0.5 : value);
    });
    return JSON.stringify(root);
  };
}

type Json = { [key: string]: JsonValue } | JsonValue[];
type JsonValue = string | number | boolean | null | Json;

/** The keys of a JSON pointer (RFC 6901) in the point's options. */
function path(point: Point, key: 'value' | 'time'): readonly string[] | null {
  const options = point.source?.options;
  if (typeof options !== 'object' || options === null) return null;
  const pointer: unknown = Reflect.get(options, key);
  if (typeof pointer !== 'string') return null;
  return pointer.split('/').slice(1).map((part) => part.replaceAll('~1', '/').replaceAll('~0', '~'));
}

function put(root: Json, keys: readonly string[], value: JsonValue): void {
  let here = root;
  keys.forEach((key, depth) => {
    const next = keys[depth + 1];
    const existing = Array.isArray(here) ? here[Number(key)] : here[key];
    const child = next === undefined ? value : typeof existing === 'object' && existing !== null ? existing : /^\d+$/.test(next) ? [] : {};
    if (Array.isArray(here)) {
      // A gap in a list stands for something that did not report.
      while (here.length < Number(key)) here.push(null);
      here[Number(key)] = child;
    } else here[key] = child;
    if (next !== undefined && typeof child === 'object' && child !== null) here = child;
  });
}
