/**
 * A point that says what cannot be true.
 *
 * Problem: a broken wire, a probe that is not plugged in, a wrong unit or an error code arrives as a number (−127 °C and 85 °C are what common digital thermometers say then). Such readings are kept and flagged
 * and never judged, so that by themselves they ring nothing; and a point of which one reading in three is nonsense is neither silent nor calm.
 * Method: `readings` of them within an hour, each outside of what its kind of quantity can be (`src/domain/kinds.ts`). One alone is a glitch of a long cable. Over when an hour has passed without.
 *
 * High for what is measured of a tank, low for room and site, as with silence. Common practice, no source.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { kinds } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import { clear, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Proposal, quietForever, type RuleContext } from '../contract.ts';
import { pointById, tellsOfTank } from '../subject.ts';

const settings = z.strictObject({
  readings: z.int().min(1).max(20).default(3).describe('So many impossible readings within an hour are told. Default 3.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** Impossible readings of the last hour, oldest first; once there are enough, one in ten minutes is noted. */
  seenMs: z.array(z.number()).max(20),
  sinceMs: z.number().nullable(),
  value: z.number().nullable(),
});
type State = z.infer<typeof state>;

const none: State = { seenMs: [], sinceMs: null, value: null };
const NOTE_EVERY_MS = 10 * MINUTE;

export default defineRule<Settings, State>({
  kind: 'impossible-value',
  watchesFor: 'A point whose readings cannot be true.',
  settings,
  state,
  initial: none,
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },
  hearsImpossible: true,

  apply(facts) {
    return facts.points.filter(({ source, kind }) => source !== null && kind !== 'switch').map(proposalFor);
  },

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point === null ? `only points can say what is impossible, and “${subject}” is equipment; write the id of one of its points` : proposalFor(point);
  },

  step(before, input, context) {
    if (input.type === 'reading' && before.seenMs.length === 0) return { state: before, verdict: clear, quiet: quietForever };
    const state = input.type === 'impossible' ? note(before, input.atMs, input.value, context) : forget(before, context.nowMs);
    const verdict = state.sinceMs === null ? clear : breached(state, state.sinceMs, context);
    const last = state.seenMs.at(-1);
    return state === before && input.type !== 'wake' ? { state, verdict } : { state, verdict, wakeAtMs: last === undefined ? null : last + HOUR };
  },

  surelyAfterMs: ({ readings }, { points }) => readings * (points.get('value')?.everyMs ?? 0),

  firstChecks(advice) {
    return [
      'Compare with an independent instrument: of the water itself nothing is known from this point.',
      'Always the same impossible number: a broken wire, a probe that is not connected, or an error code that its gateway sends on. A number that would be right in another unit: the unit in the fleet file.',
      beforeReachingIn(advice),
      'Then the plug, the cable and water in its joints; change the probe if it stays.',
      electricalWork,
    ];
  },
});

function proposalFor(point: Point): Proposal {
  return { subject: point.id, title: `${point.name} impossible`, roles: { value: point.id }, equipment: null, missing: null, defaults: {}, ...(tellsOfTank(point) ? { policy: { priority: 'high' as const } } : {}) };
}

function note(before: State, atMs: number, value: number, { settings: { readings } }: RuleContext<Settings>): State {
  const last = before.seenMs.at(-1);
  if (before.sinceMs !== null && last !== undefined && atMs - last < NOTE_EVERY_MS) return before;
  const seenMs = [...before.seenMs.filter((seen) => seen > atMs - HOUR), atMs].slice(-20);
  return { seenMs, sinceMs: before.sinceMs ?? (seenMs.length >= readings ? (seenMs[0] ?? atMs) : null), value };
}

/** Over when an hour has passed without one. What is noted only now and then is not counted on. */
function forget(before: State, nowMs: number): State {
  const last = before.seenMs.at(-1);
  return last === undefined || nowMs - last >= HOUR ? (before.seenMs.length === 0 ? before : none) : before;
}

function breached({ value, seenMs }: State, sinceMs: number, context: RuleContext<Settings>): Verdict {
  const point = context.point('value');
  const kind = point?.kind ?? 'temperature';
  const { name, unit, range } = kinds[kind];
  const latest = context.latest('value');
  const lastMs = seenMs.at(-1) ?? sinceMs;
  const saying = value === null ? 'what cannot be true' : show(kind, value);
  return {
    state: 'breached',
    summary: `says ${saying}, and a ${name} lies between ${range[0]} and ${range[1]} ${unit}: a broken wire, a missing probe, an error code or a wrong unit`,
    evidence: [
      ...(value === null ? [] : [{ label: 'Says', value, kind, atMs: lastMs }]),
      { label: 'Impossible readings since', value: `${showDuration(Math.max(0, context.nowMs - sinceMs))} ago`, atMs: sinceMs },
      { label: 'Told from', value: `${context.settings.readings} within an hour` },
      latest === null ? { label: 'Last reading that could be true', value: 'never' } : { label: 'Last reading that could be true', value: latest.value, kind, atMs: latest.atMs },
    ],
  };
}
