/**
 * Reads a `.story` file: one line, one thing that happens or is expected. See tests/stories/README.md for the words.
 */
import { parseDuration } from '../../src/domain/duration.ts';

export interface Feed {
  readonly line: number;
  readonly fromMs: number;
  readonly everyMs: number;
  readonly point: string;
  /** `null`: nothing is sent in that turn. */
  readonly values: readonly (number | null)[];
  /** The readings reach Tankbell this much later than they were taken. */
  readonly lateMs: number;
  /** They are kept where they were taken and come all at once, in order; `null`: each by itself. */
  readonly storedUntilMs: number | null;
}

export type Doing =
  | { readonly type: 'expect-alarm'; readonly rule: string; readonly state: string }
  | { readonly type: 'expect-unknown'; readonly rule: string }
  | { readonly type: 'expect-page'; readonly person: string; readonly reason: string | null; readonly rule: string | null }
  | { readonly type: 'expect-behind'; readonly rule: string; readonly cause: string }
  | { readonly type: 'expect-no-page' }
  | { readonly type: 'expect-journal' | 'expect-no-journal'; readonly text: string }
  | { readonly type: 'acknowledge'; readonly rule: string; readonly by: string }
  | { readonly type: 'shelve'; readonly rule: string; readonly forMs: number; readonly by: string }
  | { readonly type: 'unshelve' | 'out-of-service' | 'return-to-service'; readonly rule: string; readonly by: string }
  | { readonly type: 'restart'; readonly downMs: number };

export interface Action {
  readonly line: number;
  readonly atMs: number;
  readonly doing: Doing;
}

export interface Story {
  readonly title: string;
  readonly startMs: number;
  readonly feeds: readonly Feed[];
  readonly actions: readonly Action[];
}

export function parseStory(text: string): Story {
  const lines = text.split('\n').map((raw, index) => ({ text: raw.replace(/#.*$/, '').trim(), line: index + 1 }));
  const title = /^#\s*(.+)$/m.exec(text)?.[1] ?? 'a story without a title';
  let startMs = Date.parse('2026-03-03T20:00:00Z');
  const feeds: Feed[] = [];
  const actions: Action[] = [];
  for (const { text: said, line } of lines) {
    if (said === '') continue;
    const start = /^starts\s+(\S+)$/.exec(said);
    const feed = /^(?:from\s+(\S+)\s+)?every\s+(\S+)\s+(\S+)\s+(.+?)(?:\s+late\s+(\S+)|\s+stored until\s+(\S+))?$/.exec(said);
    const action = /^at\s+(\S+)\s+(.+)$/.exec(said);
    if (start?.[1] !== undefined) {
      startMs = Date.parse(start[1]);
      if (Number.isNaN(startMs)) throw new Error(`line ${line}: "${start[1]}" is no RFC 3339 time`);
    } else if (feed !== null) {
      feeds.push({
        line, fromMs: time(feed[1] ?? '0s', line), everyMs: time(feed[2] ?? '', line), point: feed[3] ?? '',
        values: (feed[4] ?? '').split(',').flatMap((part) => values(part.trim(), line)), lateMs: time(feed[5] ?? '0s', line), storedUntilMs: feed[6] === undefined ? null : time(feed[6], line),
      });
    } else if (action !== null) {
      actions.push({ line, atMs: time(action[1] ?? '', line), doing: doing(action[2] ?? '', line) });
    } else {
      throw new Error(`line ${line}: not understood: ${said}`);
    }
  }
  return { title, startMs, feeds, actions };
}

function time(text: string, line: number): number {
  const ms = parseDuration(text);
  if (ms === null) throw new Error(`line ${line}: "${text}" is no duration`);
  return ms;
}

/** `25.4`, `25.4 x10`, `25.0..29.0 x30` (a ramp), `- x20` (nothing sent). */
function values(part: string, line: number): (number | null)[] {
  const match = /^(-|-?[\d.]+?)(?:\.\.(-?[\d.]+))?(?:\s+x(\d+))?$/.exec(part);
  if (match === null) throw new Error(`line ${line}: "${part}" is no value; write 25.4, 25.4 x10, 25.0..29.0 x30 or - x20`);
  const count = Number(match[3] ?? 1);
  if (match[1] === '-') return Array.from({ length: count }, () => null);
  const first = Number(match[1]);
  const last = match[2] === undefined ? first : Number(match[2]);
  return Array.from({ length: count }, (_, i) => Number((count === 1 ? last : first + ((last - first) * i) / (count - 1)).toFixed(4)));
}

function doing(said: string, line: number): Doing {
  const patterns: readonly [RegExp, (m: readonly string[]) => Doing][] = [
    [/^expect alarm (\S+)\s+(\S+)$/, ([, rule = '', state = '']) => ({ type: 'expect-alarm', rule, state })],
    [/^expect unknown (\S+)$/, ([, rule = '']) => ({ type: 'expect-unknown', rule })],
    [/^expect no page$/, () => ({ type: 'expect-no-page' })],
    [/^expect page (\S+)(?: (\S+))??(?: about (\S+))?$/, ([, person = '', reason, rule]) => ({ type: 'expect-page', person, reason: reason ?? null, rule: rule ?? null })],
    [/^expect alarm (\S+) behind (\S+)$/, ([, rule = '', cause = '']) => ({ type: 'expect-behind', rule, cause })],
    [/^expect journal "(.+)"$/, ([, text = '']) => ({ type: 'expect-journal', text })],
    [/^expect no journal "(.+)"$/, ([, text = '']) => ({ type: 'expect-no-journal', text })],
    [/^acknowledge (\S+) by (\S+)$/, ([, rule = '', by = '']) => ({ type: 'acknowledge', rule, by })],
    [/^shelve (\S+) for (\S+) by (\S+)$/, ([, rule = '', forText = '', by = '']) => ({ type: 'shelve', rule, forMs: time(forText, line), by })],
    [/^unshelve (\S+) by (\S+)$/, ([, rule = '', by = '']) => ({ type: 'unshelve', rule, by })],
    [/^out of service (\S+) by (\S+)$/, ([, rule = '', by = '']) => ({ type: 'out-of-service', rule, by })],
    [/^return to service (\S+) by (\S+)$/, ([, rule = '', by = '']) => ({ type: 'return-to-service', rule, by })],
    [/^restart(?: after (\S+))?$/, ([, down]) => ({ type: 'restart', downMs: down === undefined ? 0 : time(down, line) })],
  ];
  for (const [pattern, make] of patterns) {
    const match = pattern.exec(said.replaceAll(/\s+/g, ' '));
    if (match !== null) return make(match);
  }
  throw new Error(`line ${line}: not understood: ${said}`);
}
