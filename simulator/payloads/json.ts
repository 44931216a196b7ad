/** A JSON document with values and times where the points' JSON pointers (RFC 6901) look for them. */
import type { Point } from '../../src/domain/fleet.ts';
import { option, type PayloadWriter } from './payload.ts';

export function jsonWriter(topic: string, points: readonly Point[]): PayloadWriter {
  const valuePaths = points.map((point) => path(option(point, 'value')) ?? []);
  const timePaths = points.map((point) => path(option(point, 'time')));
  return {
    timed: timePaths.map((timePath) => timePath !== null),
    topicAt: () => topic,
    write: (values, stampMs) => {
      const root: Json = {};
      const stamp = new Date(stampMs).toISOString();
      for (const timePath of timePaths) if (timePath !== null) put(root, timePath, stamp);
      valuePaths.forEach((valuePath, index) => {
        const value = values[index];
        if (value === undefined || value === null) return;
        put(root, valuePath, points[index]?.kind === 'switch' ? value >= 0.5 : value);
      });
      return JSON.stringify(root);
    },
  };
}

type Json = { [key: string]: JsonValue } | JsonValue[];
type JsonValue = string | number | boolean | null | Json;

const path = (pointer: string | null): readonly string[] | null => pointer?.split('/').slice(1).map((part) => part.replaceAll('~1', '/').replaceAll('~0', '~')) ?? null;

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
