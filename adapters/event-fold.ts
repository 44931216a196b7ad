/**
 * Folds repeated events: the first is told at once, further ones of the same kind, who and topic at most once in ten minutes, with their number. Whoever
 * makes up a new name each time (a login, a topic) is not told for ever either: of one kind only so many are in ten minutes.
 */
import { type SourceEvent, type SourceEventKind, shorten } from './source.ts';

const QUIET_MS = 10 * 60_000;
const MAX_REMEMBERED = 500;
/** More than the devices of most fleets, and each is a row of the journal. */
export const MAX_TOLD_OF_A_KIND = 200;

export function foldEvents(tell: (event: SourceEvent) => void): (event: Omit<SourceEvent, 'count'>) => void {
  const told = new Map<string, { atMs: number; since: number }>();
  const kinds = new Map<SourceEventKind, { sinceMs: number; told: number; untold: number }>();
  return (event) => {
    const who = event.who === null ? null : shorten(event.who, 120);
    const topic = event.topic === null ? null : shorten(event.topic, 200);
    const key = JSON.stringify([event.kind, who, topic]);
    const before = told.get(key);
    if (before !== undefined && event.atMs - before.atMs < QUIET_MS) {
      before.since += 1;
      return;
    }
    let kind = kinds.get(event.kind);
    let untold = 0;
    if (kind === undefined || event.atMs - kind.sinceMs >= QUIET_MS) {
      untold = kind?.untold ?? 0;
      kinds.set(event.kind, (kind = { sinceMs: event.atMs, told: 0, untold: 0 }));
    }
    if (kind.told >= MAX_TOLD_OF_A_KIND) {
      kind.untold += 1;
      return;
    }
    kind.told += 1;
    told.delete(key);
    told.set(key, { atMs: event.atMs, since: 0 });
    const oldest = told.size > MAX_REMEMBERED ? told.keys().next().value : undefined;
    if (oldest !== undefined) told.delete(oldest);
    tell({ ...event, who, topic, text: `${shorten(event.text, 400)}${untold === 0 ? '' : ` Before, ${untold} more events of this kind were not told one by one.`}`, count: 1 + (before?.since ?? 0) });
  };
}
