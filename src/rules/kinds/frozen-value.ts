/**
 * A value that does not move any more.
 *
 * Problem: a gateway that repeats the last value of a dead probe looks like the calmest tank there is, and every rule is satisfied with it.
 * Method: the value has been the same, to the last digit, for longer than `frozenAfter`; when that is null, four times the longest stillness seen in this very sensor (coarse sensors in calm water do stand
 * still for hours), at least half an hour and twenty readings, at most 3 days; 24 h during the first three days. Four times, because the longest repetition of readings that scatter by themselves grows with
 * the logarithm of their number (Erdős and Rényi, from memory): from three days to ten years it doubles, and water that is calmer than it ever was may double it again.
 * Looked at every few minutes: a value that moved since is alive, and nothing is written for it but that. A stillness between two looks is missed, which is why a look is added to the longest that was seen.
 * Temperature, conductivity and pH of water, and the air of the room: what never rests. Levels may rest behind a weir, power at zero.
 * No other rule believes the point while it is frozen: a heater that seems not to warm the water, or two sensors that part, would be alarms about a number that means nothing. With the first reading that
 * moves it is believed again.
 *
 * High for what is measured of a tank, low for room and site, as with silence. Common practice, no source.
 */
import { z } from 'zod';
import { DAY, HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import type { Kind } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import { clear, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Latest, type Proposal, type Quiet, type RuleContext } from '../contract.ts';
import { duration } from '../settings.ts';
import { cameBackFromSilence } from '../step.ts';
import { pointById, tellsOfTank } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  frozenAfter: duration(10 * MINUTE, 14 * DAY).nullable().default(null).describe('Frozen after so long without any change, such as 12h; null: four times the longest stillness seen, 30 min to 3 days.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** Watching since. */
  sinceMs: z.number().nullable(),
  /** The value at the beginning of the present look, and whether it has moved since. */
  fromMs: z.number(),
  value: z.number().nullable(),
  moved: z.boolean(),
  frozen: z.boolean(),
  /** Longest stillness that ended by itself, as far as looks have seen it. */
  longestMs: z.number(),
});
type State = z.infer<typeof state>;

const LOOK_MS = 5 * MINUTE;
const MOST_LOOK_MS = HOUR;
const LEARN_MS = 3 * DAY;
const TIMES = 4;
const LEAST_MS = 30 * MINUTE;
const LEAST_READINGS = 20;
const restless: ReadonlySet<Kind> = new Set(['temperature', 'conductivity', 'acidity']);

export default defineRule<Settings, State>({
  kind: 'frozen-value',
  watchesFor: 'A sensor that repeats the same value and does not move any more.',
  settings,
  state,
  initial: { sinceMs: null, fromMs: 0, value: null, moved: false, frozen: false, longestMs: 0 },
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },

  apply(facts) {
    return facts.points.filter(({ kind, place, source }) => restless.has(kind) && place !== 'reservoir' && source !== null).map(proposalFor);
  },

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point === null ? `only points can freeze, and “${subject}” is equipment; write the id of one of its points` : proposalFor(point);
  },

  step(before, input, context) {
    const value = context.current('value');
    if (value === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'value')) };
    const followed = input.type === 'reading' ? follow(before, value, everyMsOf(context), cameBackFromSilence(context, 'value')) : before;
    const stillMs = followed.moved || followed.value === null ? 0 : context.nowMs - followed.fromMs;
    const limitMs = limitOf(followed, context);
    const frozen = followed.frozen || stillMs > limitMs;
    const state = frozen === followed.frozen ? followed : { ...followed, frozen };
    return { state, verdict: frozen ? breached(state, value, stillMs, limitMs, context) : clear, quiet: quietOf(state, context) };
  },

  doubts: ({ frozen }) => (!frozen ? {} : { value: 'it says the same value over and over, so that nothing is known' }),

  surelyAfterMs(settings, { points, state }) {
    const everyMs = points.get('value')?.everyMs ?? 0;
    return (settings.frozenAfter ?? learntMs(state, everyMs)) + lookMsOf(state, everyMs);
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

function proposalFor(point: Point): Proposal {
  return { subject: point.id, title: `${point.name} frozen`, roles: { value: point.id }, equipment: null, missing: null, defaults: {}, ...(tellsOfTank(point) ? { policy: { priority: 'high' as const } } : {}) };
}

const everyMsOf = (context: RuleContext<Settings>): number => context.point('value')?.everyMs ?? 0;

/** The longer it is used to be still, the less often it needs to be looked at. */
const lookMsOf = ({ longestMs }: State, everyMs: number): number => Math.max(LOOK_MS, 2 * everyMs, Math.min(MOST_LOOK_MS, longestMs / 4));

function follow(before: State, { atMs, value }: Latest, everyMs: number, afterSilence: boolean): State {
  const { sinceMs, frozen, longestMs } = before;
  if (before.value === null || afterSilence) return { sinceMs: sinceMs ?? atMs, fromMs: atMs, value, moved: false, frozen: false, longestMs };
  if (before.moved) return atMs - before.fromMs < lookMsOf(before, everyMs) ? before : { sinceMs, fromMs: atMs, value, moved: false, frozen, longestMs };
  if (value === before.value) return before;
  const stillMs = atMs - before.fromMs;
  // Somewhat beyond what was allowed it was calm water; far beyond it was a fault, which is nothing to get used to.
  const isFault = frozen && stillMs > 2 * learntMs(before, everyMs);
  return { sinceMs, fromMs: before.fromMs, value: before.value, moved: true, frozen: false, longestMs: isFault || stillMs > LEARN_MS ? longestMs : Math.max(longestMs, stillMs) };
}

/** One that has moved is looked at again after a while; one that has not, when it moves, or has been still for long. */
function quietOf(state: State, context: RuleContext<Settings>): Quiet | undefined {
  const { moved, value, fromMs } = state;
  if (state.frozen || value === null) return undefined;
  const everyMs = everyMsOf(context);
  return moved ? { untilMs: fromMs + lookMsOf(state, everyMs) } : { untilMs: fromMs + (context.settings.frozenAfter ?? learntMs(state, everyMs)), within: { value: [value, value] } };
}

function limitOf(state: State, context: RuleContext<Settings>): number {
  if (context.settings.frozenAfter !== null) return context.settings.frozenAfter;
  const learnt = learntMs(state, everyMsOf(context));
  return state.sinceMs === null || context.nowMs - state.sinceMs < LEARN_MS ? Math.max(DAY, learnt) : learnt;
}

function learntMs(state: State, everyMs: number): number {
  return Math.min(3 * DAY, Math.max(LEAST_MS, LEAST_READINGS * everyMs, TIMES * (state.longestMs + lookMsOf(state, everyMs))));
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
      { label: 'Longest stillness before', value: longestMs < LOOK_MS ? 'a few minutes at most' : showDuration(longestMs) },
    ],
  };
}
