/** Folds repeated events: the first is told at once, further ones of the same kind, who and topic at most once in ten minutes, with their number. */
import { type SourceEvent, shorten } from './source.ts';

const QUIET_MS = 10 * 60_000;
const MAX_REMEMBERED = 500;

export function foldEvents(tell: (event: SourceEvent) => void): (event: Omit<SourceEvent, 'count'>) => void {
  const told = new Map<string, { atMs: number; since: number }>();
  return (event) => {
    const who = event.who === null ? null : shorten(event.who, 120);
    const topic = event.topic === null ? null : shorten(event.topic, 200);
    const key = JSON.stringify([event.kind, who, topic]);
    const before = told.get(key);
    if (before !== undefined && event.atMs - before.atMs < QUIET_MS) {
      before.since += 1;
      return;
    }
    told.delete(key);
    told.set(key, { atMs: event.atMs, since: 0 });
    const oldest = told.size > MAX_REMEMBERED ? told.keys().next().value : undefined;
    if (oldest !== undefined) told.delete(oldest);
    tell({ ...event, who, topic, text: shorten(event.text, 400), count: 1 + (before?.since ?? 0) });
  };
}
