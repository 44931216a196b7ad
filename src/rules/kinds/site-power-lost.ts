/**
 * A site without mains, told by a gateway that goes on from its battery.
 *
 * Problem: everything stops at once; oxygen falls within hours in a heavily stocked marine tank (1–4 h without circulation: common practice), temperature more slowly.
 * A dozen alarms would ring for it, and none would say so.
 * Method, the best evidence that is there:
 *   1. a voltage point: below half of the nominal voltage is no supply, anything above is;
 *   2. a switch of the site whose id or name says mains, supply or power: off;
 *   3. the meters of all equipment that runs all day, of all tanks of the site (two at least): all at zero, having fallen within a minute and their cadence of each other.
 *      Equipment switched off one by one does not count, nor does what was never seen running. While any other metered piece still draws, there is mains.
 * Urgent. On-delay 3 min, so that a blink rings nobody; 15 min where meters are all there is: on a visit somebody may pull the plug of everything at once.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Quiet, type RuleContext } from '../contract.ts';
import { allOff, type Fallen, fellTogether, followPieces, meteredOnSite, piecesState, piecesStay, rolesOf } from '../pieces.ts';
import { between } from '../quiet.ts';
import { runsAllDay, shows } from '../runs.ts';
import { LEAST_SUPPLY_VOLTS, NO_SUPPLY_SHARE, nominalVoltsOf } from '../supply.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  nominal: z.number().min(90).max(300).nullable().default(null).describe('Nominal voltage in V; null: 120 or 230, whichever the first reading is nearer to.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ nominal: z.number().nullable(), pieces: piecesState, lostSinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

const METERS_WATCHED = 12;

export default defineRule<Settings, State>({
  kind: 'site-power-lost',
  watchesFor: 'A site without mains: no voltage, or everything that runs all day at zero at once.',
  settings,
  state,
  initial: { nominal: null, pieces: {}, lostSinceMs: null },
  policy: { priority: 'urgent', onDelayMs: 3 * MINUTE, offDelayMs: 5 * MINUTE },

  apply(facts) {
    const { site } = facts;
    const volts = facts.points.find(({ kind }) => kind === 'voltage');
    const mains = facts.points.find(({ kind, tankId, id, name }) => kind === 'switch' && tankId === null && /mains|supply|power/i.test(`${id} ${name}`));
    const metered = meteredOnSite(facts);
    const steady = metered.filter(({ equipment }) => runsAllDay.has(equipment.kind)).slice(0, METERS_WATCHED);
    if (volts === undefined && mains === undefined && steady.length < 2) return [];
    const others = metered.filter((one) => !steady.includes(one)).slice(0, METERS_WATCHED);
    return [{
      subject: `${site.id}/mains`,
      title: `${site.name}: mains lost`,
      roles: { ...(volts === undefined ? {} : { volts: volts.id }), ...(mains === undefined ? {} : { mains: mains.id }), ...rolesOf('steady', steady), ...rolesOf('other', others) },
      equipment: null,
      missing: null,
      defaults: {},
      ...(volts === undefined && mains === undefined ? { policy: { onDelayMs: 15 * MINUTE } } : {}),
    }];
  },

  step(before, input, context) {
    const followed = follow(before, input, context);
    const found = judge(followed, context);
    if (found.lost === null) return { state: followed, verdict: unknown(found.why) };
    if (!found.lost) return { state: followed.lostSinceMs === null ? followed : { ...followed, lostSinceMs: null }, verdict: clear, quiet: quietOf(followed, found.by, context) };
    const state = followed.lostSinceMs === null ? { ...followed, lostSinceMs: context.nowMs } : followed;
    return { state, verdict: breached(state, found.by, context) };
  },

  firstChecks(advice) {
    return [
      'Ring the site: is the street dark, the building, or only this room? Ask the utility when it will be back.',
      'Only this room: the main breaker of the room, or its residual-current device (GFCI/RCD). If it has tripped, something may be live and wet: nobody reaches in, and nobody resets it before the reason is known.',
      'Oxygen goes first: battery air pumps into display and sump, or a bucket of tank water poured back from a height every few minutes. Feed nothing.',
      'Keep lids closed and the tank wrapped; a large body of water loses less than a degree in an hour.',
      beforeReachingIn(advice),
      'When the mains come back: see that return pump, skimmer, heaters and top-off start again, that nothing has run over, and that timers and controllers have the right time.',
      electricalWork,
      husbandry,
    ];
  },
});

function follow(before: State, input: Parameters<typeof followPieces>[1], context: RuleContext<Settings>): State {
  const pieces = followPieces(before.pieces, input, 'steady', context);
  const nominal = before.nominal === null && input.type === 'reading' && input.role === 'volts' && input.value >= LEAST_SUPPLY_VOLTS ? nominalVoltsOf(input.value) : before.nominal;
  return pieces === before.pieces && nominal === before.nominal ? before : { ...before, pieces, nominal };
}

type Found = { readonly lost: boolean; readonly by: 'volts' | 'mains' | readonly Fallen[] } | { readonly lost: null; readonly why: string };

function judge(state: State, context: RuleContext<Settings>): Found {
  const volts = context.current('volts');
  const nominal = context.settings.nominal ?? state.nominal;
  if (volts !== null && nominal !== null) return { lost: volts.value < NO_SUPPLY_SHARE * nominal, by: 'volts' };
  const mains = context.current('mains');
  if (mains !== null) return { lost: mains.value < 0.5, by: 'mains' };
  const off = allOff(state.pieces, 'steady', context);
  if (off === null) return { lost: false, by: [] };
  if (off.length < 2) return { lost: null, why: whyUnknown(context) };
  if (anyDraws(context)) return { lost: false, by: [] };
  const together = fellTogether(off);
  return { lost: together.length >= 2 && together.length === off.filter(({ sinceMs }) => sinceMs !== null).length, by: off };
}

/** A voltage that is there, or, where none is measured, one piece that runs. */
function quietOf(state: State, by: 'volts' | 'mains' | readonly Fallen[], context: RuleContext<Settings>): Quiet | undefined {
  const volts = context.current('volts');
  const nominal = context.settings.nominal ?? state.nominal;
  if (by === 'volts' && volts !== null && nominal !== null && state.nominal !== null) {
    return { untilMs: Number.POSITIVE_INFINITY, within: { ...piecesStay(state.pieces, ['steady'], context), volts: between(volts.value, NO_SUPPLY_SHARE * nominal) } };
  }
  const metersOnly = context.point('volts') === null && context.point('mains') === null;
  return metersOnly && allOff(state.pieces, 'steady', context) === null ? { untilMs: Number.POSITIVE_INFINITY, within: piecesStay(state.pieces, ['steady'], context) } : undefined;
}

function whyUnknown(context: RuleContext<Settings>): string {
  const role = ['volts', 'mains', 'steady-1'].find((one) => context.point(one) !== null) ?? 'volts';
  return context.current(role) === null ? whyNotCurrent(context, role) : role === 'volts' ? 'no supply has been seen yet, so that its nominal voltage is not known; enter it (nominal: 120)' : 'fewer than two meters of equipment that runs all day deliver';
}

function anyDraws(context: RuleContext<Settings>): boolean {
  for (let index = 1; index <= METERS_WATCHED; index += 1) {
    const point = context.point(`other-${index}`);
    if (point === null) return false;
    const now = context.current(`other-${index}`);
    if (now !== null && shows(point.kind, now.value)) return true;
  }
  return false;
}

function breached({ lostSinceMs, nominal }: State, by: 'volts' | 'mains' | readonly Fallen[], context: RuleContext<Settings>): Verdict {
  const since = lostSinceMs ?? context.nowMs;
  const evidence: Evidence[] = [];
  const volts = context.current('volts');
  const expected = context.settings.nominal ?? nominal;
  if (volts !== null) evidence.push({ label: 'Supply', value: volts.value, kind: 'voltage', atMs: volts.atMs });
  if (by === 'volts' && expected !== null) evidence.push({ label: 'No supply below', value: NO_SUPPLY_SHARE * expected, kind: 'voltage' });
  const mains = context.current('mains');
  if (mains !== null) evidence.push({ label: context.point('mains')?.name ?? 'Mains', value: mains.value >= 0.5 ? 'on' : 'off', atMs: mains.atMs });
  for (const { point, sinceMs } of typeof by === 'string' ? [] : by.slice(0, 6)) evidence.push({ label: point.name, value: 'at zero', ...(sinceMs === null ? {} : { atMs: sinceMs }) });
  evidence.push({ label: 'For', value: showDuration(Math.max(0, context.nowMs - since)), atMs: since });
  const what = by === 'volts' ? `the supply is at ${(volts?.value ?? Number.NaN).toFixed(0)} V where ${(expected ?? Number.NaN).toFixed(0)} V belong`
    : by === 'mains' ? `${context.point('mains')?.name ?? 'the mains'} is off`
      : `all ${by.length} metered pieces of equipment that run all day fell to zero at once, and nothing else draws`;
  return { state: 'breached', summary: `no mains: ${what}`, evidence };
}
