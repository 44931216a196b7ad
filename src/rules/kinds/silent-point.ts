/**
 * A point from which nothing comes any more.
 *
 * Problem: a dead sensor looks like a calm tank. Every other rule turns to unknown without readings; this one says so aloud.
 * Method: breached when the latest reading is older than the point's `silentAfter` (by default five cadences, at least five minutes). It tells
 * apart a point that never delivered since it is watched and one that stopped. One that still delivers, but nothing that can be true, is not silent: `impossible-value` says what it says.
 * The wake-up is set when it fires, not moved with every reading.
 * Messages that arrive with stamps of another time come from a wrong clock, not from silence: while that is being decided (`wrong-clock`) the point has not stopped.
 * That is granted for ten cadences, at least ten minutes: a source that always sends late and never a value of now is silent all the same.
 *
 * High: without a value nothing is known to be wrong, but a tank is no longer watched in that respect, and somebody is to know in the morning. What measures the room or the site: low.
 * Source: none; common practice.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { show } from '../../domain/units.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Proposal, quietForever, type RuleContext } from '../contract.ts';
import { silentAtMs } from '../step.ts';
import { pointById, tellsOfTank } from '../subject.ts';

const settings = z.strictObject({});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({
  /** When this rule first looked: from then on a point that never delivered counts as silent. */
  watchedSinceMs: z.number().nullable(),
  silent: z.boolean(),
});
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'silent-point',
  watchesFor: 'A point from which no reading comes any more.',
  settings,
  state,
  initial: { watchedSinceMs: null, silent: false },
  policy: { priority: 'low', onDelayMs: 0, offDelayMs: 0 },
  hearsImpossible: true,

  apply(facts) {
    // A point without a source is fed by hand or by file: there is no cadence to hold it to.
    return facts.points.filter(({ source }) => source !== null).map(proposalFor);
  },

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point === null ? `only points fall silent, and “${subject}” is equipment; write the id of one of its points` : proposalFor(point);
  },

  step(before, input, context) {
    const { nowMs } = context;
    const watchedSinceMs = before.watchedSinceMs ?? nowMs;
    const point = context.point('value');
    if (point === null) throw new Error('silent-point is bound to no point');
    const latest = context.latest('value');
    const saidMs = Math.max(latest?.atMs ?? watchedSinceMs, context.lastStampMs('value') ?? 0);
    const silentAt = silentFromMs(point, saidMs, context.heardMs('value'));
    const silent = nowMs >= silentAt;
    const state = before.silent === silent && before.watchedSinceMs !== null ? before : { watchedSinceMs, silent };
    const verdict = silent ? breached(watchedSinceMs, point, context) : clear;
    // Until then it is heard: another reading says nothing new.
    const quiet = silent ? undefined : quietForever;
    // A reading needs to set the wake-up only when none is set: the first time, and after a silence.
    if (input.type !== 'wake' && before.watchedSinceMs !== null && !before.silent) return { state, verdict, quiet };
    return { state, verdict, wakeAtMs: silent ? null : silentAt, quiet };
  },

  surelyAfterMs: (_settings, { points }) => points.get('value')?.silentAfterMs ?? 0,

  firstChecks(advice) {
    return [
      'See whether other points of the site are silent too: then it is the gateway, the network or the power there, not this sensor.',
      'Ring the site and ask whether the tank is lit and the water moves: without readings nobody knows.',
      beforeReachingIn(advice),
      'On site: power and status lamp of the gateway and the sensor, then its cable, plug and battery.',
      electricalWork,
    ];
  },
});

/** When it counts as silent, with what is granted to one whose messages come with stamps of another time. */
function silentFromMs(point: Point, saidMs: number, heardMs: number | null): number {
  const silentAt = silentAtMs(point, { atMs: saidMs, value: Number.NaN });
  if (heardMs === null || heardMs <= saidMs) return silentAt;
  return Math.min(silentAt + Math.max(CLOCK_DECIDED_MS, CLOCK_DECIDED_CADENCES * point.everyMs), heardMs + point.silentAfterMs + 1);
}

/** Six messages and three cadences decide over a clock (`src/ingest/source-clock.ts`); some are lost. */
const CLOCK_DECIDED_CADENCES = 10;
const CLOCK_DECIDED_MS = 10 * MINUTE;

function proposalFor(point: Point): Proposal {
  return {
    subject: point.id,
    title: `${point.name} silent`,
    roles: { value: point.id },
    equipment: null,
    missing: null,
    defaults: {},
    ...(tellsOfTank(point) ? { policy: { priority: 'high' as const } } : {}),
  };
}

function breached(watchedSinceMs: number, point: Point, context: RuleContext<Settings>): Verdict {
  const latest = context.latest('value');
  const expected: Evidence = { label: 'Expected', value: `every ${showDuration(point.everyMs)}` };
  const silentAfter = showDuration(point.silentAfterMs);
  const last: Evidence = latest === null
    ? { label: 'Last usable reading', value: 'never', atMs: watchedSinceMs }
    : { label: 'Last usable reading', value: latest.value, kind: point.kind, atMs: latest.atMs };
  const offline = context.offline('value');
  const because = offline === null ? '' : `; ${offline}`;
  const summary = latest === null
    ? `has never delivered: nothing for ${silentAfter}, expected every ${showDuration(point.everyMs)}${because}`
    : `stopped: nothing for ${silentAfter}, expected every ${showDuration(point.everyMs)}; the last was ${show(point.kind, latest.value)}${because}`;
  return { state: 'breached', summary, evidence: [last, expected] };
}
