/**
 * A pump that stops and starts again and again.
 *
 * Problem: a thermal cut-out, a failing controller or a loose plug stops a pump for a minute every few minutes. No pause is long enough to ring as a stop, the water moves less than half of the time,
 * and one of the starts will be the last.
 * Method: starts (from standing to running, told from power, current or switch) in the last 60 min, breached from `starts` on, or from one less on within 20 min: nobody feeds or primes a pump at that pace, and
 * meanwhile the water stands half of the time. Clear when fewer than half are left. Starts after a silence are not
 * counted. Readings come once a minute or so: short stops between two are missed, so that what is counted is a lower bound.
 * Feeding and visits make one or two starts an hour; five are the default. Common practice, no source.
 *
 * Return pumps, and circulation pumps where there is no return pump (the filter pump of a tank without a sump); stream pumps that pulse by design are watched only when the fleet file says so.
 */
import { z } from 'zod';
import { HOUR, MINUTE, showDuration } from '../../domain/duration.ts';
import type { Equipment } from '../../domain/fleet.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Proposal, type Quiet, type RuleContext, type TankFacts } from '../contract.ts';
import { between, quietWithin } from '../quiet.ts';
import { shows, showsFrom, telltales } from '../runs.ts';
import { cameBackFromSilence } from '../step.ts';
import { equipmentById } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  starts: z.int().min(3).max(60).default(5).describe('So many starts within 60 minutes are too many; one less is, within 20. Default 5.'),
});
type Settings = z.infer<typeof settings>;

const STARTS_KEPT = 64;

const state = z.strictObject({ on: z.boolean().nullable(), startsMs: z.array(z.number()).max(STARTS_KEPT), breached: z.boolean() });
type State = z.infer<typeof state>;

export default defineRule<Settings, State>({
  kind: 'pump-restarting',
  watchesFor: 'A pump that stops and starts again and again.',
  settings,
  state,
  initial: { on: null, startsMs: [], breached: false },
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 15 * MINUTE },

  apply(facts) {
    const returns = facts.equipment.filter(({ kind }) => kind === 'return-pump');
    const pumps = returns.length > 0 ? returns : facts.equipment.filter(({ kind }) => kind === 'circulation-pump');
    return pumps.map((pump) => proposalFor(pump, facts));
  },

  applyTo(facts, subject) {
    const pump = equipmentById(facts, subject);
    return pump !== null && /pump|skimmer/.test(pump.kind) ? proposalFor(pump, facts) : `only pumps and skimmers can be watched for restarting, and “${subject}” is neither`;
  },

  step(before, input, context) {
    if (context.current('runs') === null) return { state: before.on === null ? before : { ...before, on: null }, verdict: unknown(whyNotCurrent(context, 'runs')) };
    const state = input.type === 'reading' && input.role === 'runs' ? follow(before, input.value, input.atMs, context) : before;
    const starts = countLastHour(state.startsMs, context.nowMs);
    const most = context.settings.starts;
    const tooMany = starts >= (state.breached ? most / 2 : most) || isQuick(state.startsMs, most, context.nowMs);
    const next = tooMany === state.breached ? state : { ...state, breached: tooMany };
    return { state: next, verdict: tooMany ? breached(next, starts, context) : clear, quiet: quietOf(next, context) };
  },

  // It speaks of an hour, or of twenty minutes where they were enough.
  surelyAfterMs: ({ starts }, { state: { startsMs } }) => (isQuick(startsMs, starts, startsMs.at(-1) ?? 0) ? QUICK_MS : HOUR),

  firstChecks(advice) {
    const name = advice.equipment?.name ?? 'the pump';
    return [
      'Ask the site whether somebody switches it, and listen: a motor that hums before it starts is about to seize.',
      beforeReachingIn(advice),
      `Check the plug of ${name} and the socket for scorch marks and a loose fit, then its controller and any float that switches it.`,
      'Let it cool: a motor that has tripped its thermal cut-out is blocked or runs too warm. Clean impeller and intake, and see that it is under water.',
      'Have a spare at hand before leaving it running overnight.',
      electricalWork,
    ];
  },
});

/** While it goes on doing what it does: starts only grow old. */
function quietOf({ on }: State, context: RuleContext<Settings>): Quiet | undefined {
  const now = context.current('runs');
  const kind = context.point('runs')?.kind ?? 'power';
  const nameplateWatts = context.equipment?.nameplateWatts ?? null;
  return now === null || shows(kind, now.value, nameplateWatts) !== on ? undefined : quietWithin({ runs: between(now.value, showsFrom(kind, nameplateWatts)) });
}

function proposalFor(pump: Equipment, facts: TankFacts): Proposal {
  const own = telltales.flatMap((kind) => facts.points.filter((point) => point.kind === kind && point.equipmentId === pump.id));
  const meter = own.find(({ kind }) => kind !== 'flow') ?? own[0];
  return {
    subject: pump.id,
    title: `${pump.name} restarting`,
    roles: meter === undefined ? {} : { runs: meter.id },
    equipment: pump,
    missing: meter === undefined ? `no power, current, switch or flow point on ${pump.name}` : null,
    defaults: {},
  };
}

function follow(before: State, value: number, atMs: number, context: RuleContext<Settings>): State {
  const on = shows(context.point('runs')?.kind ?? 'power', value, context.equipment?.nameplateWatts ?? null);
  if (cameBackFromSilence(context, 'runs')) return before.on === on ? before : { ...before, on };
  if (on === before.on) return before;
  if (!on || before.on === null) return { ...before, on };
  return { ...before, on, startsMs: [...before.startsMs.filter((startMs) => startMs > atMs - HOUR), atMs].slice(-STARTS_KEPT) };
}

const QUICK_MS = 20 * MINUTE;

/** One less than too many, all of them of the last 20 min. */
function isQuick(startsMs: readonly number[], most: number, nowMs: number): boolean {
  const first = startsMs.at(1 - most);
  return first !== undefined && first > nowMs - QUICK_MS;
}

function countLastHour(startsMs: readonly number[], nowMs: number): number {
  let count = 0;
  for (const startMs of startsMs) if (startMs > nowMs - HOUR) count += 1;
  return count;
}

function breached({ on, startsMs }: State, starts: number, context: RuleContext<Settings>): Verdict {
  const last = startsMs.at(-1) ?? context.nowMs;
  const most = context.settings.starts;
  const quick = starts < most && isQuick(startsMs, most, context.nowMs);
  const evidence: Evidence[] = [
    { label: 'Starts in the last hour, at least', value: String(starts) },
    { label: 'Too many from', value: `${most} in an hour, ${most - 1} in ${showDuration(QUICK_MS)}` },
    { label: 'Last start', value: context.nowMs - last < MINUTE ? 'just now' : `${showDuration(context.nowMs - last)} ago`, atMs: last },
    { label: 'Now', value: on === true ? 'running' : 'standing' },
  ];
  return { state: 'breached', summary: `${context.equipment?.name ?? 'the pump'} has started ${quick ? `${most - 1} times within ${showDuration(QUICK_MS)}` : `${starts} times in the last hour`}`, evidence };
}
