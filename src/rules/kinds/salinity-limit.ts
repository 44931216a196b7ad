/**
 * Water that is too salt or not salt enough.
 *
 * Method. Practical salinity (PSS-78) from conductivity and temperature, wherever both are measured; with hysteresis of 0.3. Where no temperature is measured the
 * conductivity is judged as if the water were at 25 °C, the limits are widened by 1.5 on either side, and the summary says so.
 * By itself: reef 33–37, fish-only marine 28–37; cold water counts as marine when it is at least half as salt, and is otherwise unknown until limits are
 * written. Common practice keeps reefs at 34–36 and fish-only tanks at 30–35; a hobby probe is good to 1–2 % (0.3–0.7), which these limits leave room for.
 *
 * What must not ring: a probe in the air for the minutes of a visit and a water change that is still mixing (on-delay 30 min), noise at the limit (hysteresis).
 * Sources: salinity and rapid change as harmful as a wrong value: Hadfield, "Water Quality", Clinical Guide to Fish Medicine, excerpt; the rest common practice.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import type { Water } from '../../domain/fleet.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork, husbandry } from '../cautions.ts';
import { defineRule, type Quiet, type RuleContext } from '../contract.ts';
import { quietWithin } from '../quiet.ts';
import { checkTheProbe, compensation, nearby, readSalinity, ROUGH_PSU, type Salinity, salinityEvidence, salinityProposals, SEAWATER_FROM_PSU, showPsu, slowSalinity } from '../salinity.ts';
import { unknown } from '../unknown.ts';

const settings = z.strictObject({
  low: z.number().min(0).max(42).nullable().default(null).describe('Lowest practical salinity allowed; null: by kind of water (reef 33, marine 28).'),
  high: z.number().min(0).max(42).nullable().default(null).describe('Highest practical salinity allowed; null: by kind of water (37).'),
  compensation,
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ side: z.enum(['low', 'high']).nullable(), sinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

const DEADBAND_PSU = 0.3;

/** Common practice, no source. `null`: not known whether it is seawater. */
const usualLimits: Readonly<Record<Water, { readonly low: number; readonly high: number } | null>> = {
  reef: { low: 33, high: 37 },
  marine: { low: 28, high: 37 },
  cold: null,
  fresh: null,
};

export default defineRule<Settings, State>({
  kind: 'salinity-limit',
  watchesFor: 'Water that is too salt or not salt enough.',
  settings,
  state,
  initial: { side: null, sinceMs: null },
  policy: { priority: 'high', onDelayMs: 30 * MINUTE, offDelayMs: 15 * MINUTE },

  apply: (facts) => salinityProposals(facts, 'out of limits'),

  objection({ low, high }) {
    return low !== null && high !== null && low >= high ? { key: 'low', message: `low (${low}) must be below high (${high})` } : null;
  },

  step(before, _input, context) {
    const salinity = readSalinity(context);
    if (!salinity.known) return { state: before, verdict: unknown(salinity.why) };
    const limits = limitsOf(context, salinity.psu);
    if (limits === null) return { state: before, verdict: unknown('its water is not known to be seawater; write low and high') };
    const side = sideOf(before.side, salinity, limits);
    const state = side === before.side ? before : { side, sinceMs: side === null ? null : salinity.atMs };
    return { state, verdict: side === null ? clear : breached(state, salinity, limits, context.nowMs), quiet: side === null ? quietOf(salinity, limits, context) : undefined };
  },

  firstChecks(advice) {
    return [
      checkTheProbe,
      'Too low: top-off running on, a siphon through its line, an overflowing skimmer or a leak made up with fresh water, a water change mixed too weak. Too high: top-off empty, stopped or its line shut.',
      beforeReachingIn(advice),
      'See that the probe hangs in moving water, free of bubbles, and away from where fresh water runs in.',
      slowSalinity,
      electricalWork,
      husbandry,
    ];
  },
});

interface SalinityLimits {
  readonly low: number;
  readonly high: number;
}

function limitsOf({ settings, tank }: RuleContext<Settings>, psu: number): SalinityLimits | null {
  const usual = usualLimits[tank.water] ?? (psu >= SEAWATER_FROM_PSU ? usualLimits.marine : null);
  if (usual === null && (settings.low === null || settings.high === null)) return settings.low === null && settings.high === null ? null : { low: settings.low ?? Number.NEGATIVE_INFINITY, high: settings.high ?? Number.POSITIVE_INFINITY };
  return { low: settings.low ?? usual?.low ?? Number.NEGATIVE_INFINITY, high: settings.high ?? usual?.high ?? Number.POSITIVE_INFINITY };
}

type Known = Extract<Salinity, { readonly known: true }>;

function quietOf(salinity: Known, limits: SalinityLimits, context: RuleContext<Settings>): Quiet | undefined {
  const near = nearby(salinity, 0.02, 0.5, context);
  // Where the kind of water does not say it, the salinity tells whether it is seawater.
  if (near === null || (usualLimits[context.tank.water] === null && near.leastPsu < SEAWATER_FROM_PSU)) return undefined;
  const staysInside = [near.leastPsu, near.mostPsu].every((psu) => sideOf(null, { ...salinity, psu }, limits) === null);
  return staysInside ? quietWithin(near.within) : undefined;
}

function sideOf(was: State['side'], { psu, rough }: Known, { low, high }: SalinityLimits): State['side'] {
  const margin = rough ? ROUGH_PSU : 0;
  if (psu > high + margin - (was === 'high' ? DEADBAND_PSU : 0)) return 'high';
  if (psu < low - margin + (was === 'low' ? DEADBAND_PSU : 0)) return 'low';
  return null;
}

function breached({ side, sinceMs }: State, salinity: Known, { low, high }: SalinityLimits, nowMs: number): Verdict {
  const limit = side === 'high' ? high : low;
  const heldMs = nowMs - (sinceMs ?? nowMs);
  const evidence: Evidence[] = [
    ...salinityEvidence(salinity, 'Salinity'),
    { label: side === 'high' ? 'Upper limit' : 'Lower limit', value: showPsu(limit) },
    ...(salinity.rough ? [{ label: 'Widened, for want of a temperature, by', value: showPsu(ROUGH_PSU) }] : []),
    { label: 'Outside since', value: showDuration(heldMs), atMs: sinceMs ?? nowMs },
  ];
  const held = heldMs >= MINUTE ? ` for ${showDuration(heldMs - (heldMs % MINUTE))}` : '';
  const how = salinity.rough ? ` (from ${salinity.conductivity.value.toFixed(1)} mS/cm, as if the water were at 25 °C)` : '';
  return { state: 'breached', summary: `salinity ${showPsu(salinity.psu)}${how}${held}, ${side === 'high' ? 'upper' : 'lower'} limit ${showPsu(limit)}`, evidence, ...(side === null ? {} : { side }) };
}
