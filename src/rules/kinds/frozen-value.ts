/**
 * A value that does not move any more.
 *
 * Problem: a gateway that repeats the last value of a dead probe looks like the calmest tank there is, and every rule is satisfied with it.
 * Method: the value has been the same, to the last digit, for longer than `frozenAfter`; when that is null, four times the longest stillness seen in this very sensor (coarse sensors in calm water do stand
 * still for hours), at least 6 h and at most 3 days; 24 h during the first three days. Looked at by the hour: a value that moved within an hour is alive, and nothing is written for it but that.
 * Temperature, conductivity and pH of water, and the air of the room: what never rests. Levels may rest behind a weir, power at zero.
 *
 * High for the temperature of the water, low for others. Common practice, no source.
 */
import { z } from 'zod';
import { DAY, HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import type { Kind } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import { clear, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Latest, type Proposal, type RuleContext } from '../contract.ts';
import { duration } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { pointById } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';
import { waterTemperaturePoint } from '../water.ts';

const settings = z.strictObject({
  frozenAfter: duration(10 * MINUTE, 14 * DAY).nullable().default(null).describe('Frozen after so long without any change, such as 12h; null: four times the longest stillness seen, 6 h to 3 days.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** Watching since. */
  sinceMs: z.number().nullable(),
  /** The value at the beginning of the present look, and whether it has moved since. */
  fromMs: z.number(),
  value: z.number().nullable(),
  moved: z.boolean(),
  /** Longest stillness that ended by itself, rounded up to the hour of the look. */
  longestMs: z.number(),
});
type State = z.infer<typeof state>;

const LOOK_MS = HOUR;
const LEARN_MS = 3 * DAY;
const restless: ReadonlySet<Kind> = new Set(['temperature', 'conductivity', 'acidity']);

export default defineRule<Settings, State>({
  kind: 'frozen-value',
  watchesFor: 'A sensor that repeats the same value and does not move any more.',
  settings,
  state,
  initial: { sinceMs: null, fromMs: 0, value: null, moved: false, longestMs: 0 },
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },

  apply(facts) {
    const water = waterTemperaturePoint(facts);
    return facts.points.filter(({ kind, place, source }) => restless.has(kind) && place !== 'reservoir' && source !== null).map((point) => proposalFor(point, point === water));
  },

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point === null ? `only points can freeze, and “${subject}” is equipment; write the id of one of its points` : proposalFor(point, point === waterTemperaturePoint(facts));
  },

  step(before, input, context) {
    const value = context.current('value');
    if (value === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'value')) };
    const state = input.type === 'reading' ? follow(before, value, cameBackFromSilence(context, 'value')) : before;
    const stillMs = state.moved || state.value === null ? 0 : context.nowMs - state.fromMs;
    const limitMs = limitOf(state, context);
    return { state, verdict: stillMs > limitMs ? breached(state, value, stillMs, limitMs, context) : clear };
  },

  firstChecks(advice) {
    return [
      'Compare with an independent instrument: the tank may be far from what the sensor repeats.',
      'Restart the gateway or controller that sends it: many go on sending the last value of a probe they have lost.',
      beforeReachingIn(advice),
      'Then the probe: its plug and cable, water in the connector, growth on it. Warm it in the hand: the value must move within a minute.',
      electricalWork,
    ];
  },
});

function proposalFor(point: Point, isWaterTemperature: boolean): Proposal {
  return { subject: point.id, title: `${point.name} frozen`, roles: { value: point.id }, equipment: null, missing: null, defaults: {}, ...(isWaterTemperature ? { policy: { priority: 'high' as const } } : {}) };
}

function follow(before: State, { atMs, value }: Latest, afterSilence: boolean): State {
  if (before.value === null || afterSilence) return { ...before, sinceMs: before.sinceMs ?? atMs, fromMs: atMs, value, moved: false };
  if (before.moved) return atMs - before.fromMs < LOOK_MS ? before : { ...before, fromMs: atMs, value, moved: false };
  if (value === before.value) return before;
  const stillMs = atMs - before.fromMs;
  return { ...before, moved: true, longestMs: stillMs < LOOK_MS || stillMs > LEARN_MS ? before.longestMs : Math.max(before.longestMs, stillMs) };
}

function limitOf({ sinceMs, longestMs }: State, { settings, nowMs }: RuleContext<Settings>): number {
  if (settings.frozenAfter !== null) return settings.frozenAfter;
  const learnt = Math.min(3 * DAY, Math.max(6 * HOUR, 4 * longestMs));
  return sinceMs === null || nowMs - sinceMs < LEARN_MS ? Math.max(DAY, learnt) : learnt;
}

function breached({ fromMs, longestMs }: State, { value }: Latest, stillMs: number, limitMs: number, context: RuleContext<Settings>): Verdict {
  const kind = context.point('value')?.kind ?? 'temperature';
  return {
    state: 'breached',
    summary: `has said ${show(kind, value)} without any change for ${showDuration(stillMs)}; water and air always move a little`,
    evidence: [
      { label: 'Value', value, kind },
      { label: 'The same since', value: showDuration(stillMs), atMs: fromMs },
      { label: 'Frozen after', value: showDuration(limitMs) },
      { label: 'Longest stillness before', value: longestMs === 0 ? 'less than an hour' : showDuration(longestMs) },
    ],
  };
}
