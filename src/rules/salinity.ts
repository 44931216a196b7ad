/**
 * How salt the water is, from whatever is installed: practical salinity (PSS-78) from conductivity and temperature; where no temperature is
 * measured, as if the water were at 25 °C, and said so.
 */
import { z } from 'zod';
import type { Point } from '../domain/fleet.ts';
import { show } from '../domain/units.ts';
import type { Evidence } from '../domain/verdict.ts';
import { type Compensation, practicalSalinity, SALINITY_RANGE } from '../physics/salinity.ts';
import type { Band, Latest, Proposal, RuleContext, TankFacts } from './contract.ts';
import { whyNotCurrent } from './unknown.ts';

/** What a probe does before it shows a value; the same in every rule about salinity. */
export const compensation = z.enum(['none', 'linear', 'seawater']).default('none')
  .describe('What the conductivity probe does: none (shows what it measures), linear (2.0 %/K to 25 °C, as most that compensate), seawater (to 25 °C by the curve of seawater). Its manual says. Default none.');

type ProbeSettings = { readonly compensation: 'none' | 'linear' | 'seawater' };

export type Salinity =
  | { readonly known: true; readonly psu: number; readonly atMs: number; /** Without a temperature: good to some psu only. */ readonly rough: boolean; readonly conductivity: Latest; readonly temperature: Latest | null }
  | { readonly known: false; readonly why: string };

/** Without a temperature the salinity is off by 0.76 for each kelvin that the water is from 25 °C (computed, reference table). */
export const ROUGH_PSU = 1.5;

/** Below this the water is not seawater, and practical salinity means little for it. */
export const SEAWATER_FROM_PSU = 15;

/** One proposal for a tank of seawater, or of cold water that may be; none for fresh water. @param title after the point's name. */
export function salinityProposals(facts: TankFacts, title: string, more: (point: Point) => Readonly<Record<string, string>> = () => ({})): readonly Proposal[] {
  const { tank } = facts;
  if (tank.water === 'fresh') return [];
  const probe = inWater(facts, 'conductivity')[0] ?? null;
  if (probe === null) {
    // Cold water may be fresh: nothing is missed there.
    if (tank.water === 'cold') return [];
    return [{ subject: `${tank.id}/conductivity`, title: `Salinity ${title}`, roles: {}, equipment: null, missing: 'no conductivity point in the display or the sump', defaults: {} }];
  }
  const thermometers = inWater(facts, 'temperature');
  const beside = thermometers.find(({ place }) => place === probe.place) ?? thermometers[0];
  return [{
    subject: probe.id,
    title: `Salinity ${title}`,
    roles: { conductivity: probe.id, ...(beside === undefined ? {} : { temperature: beside.id }), ...more(probe) },
    equipment: null,
    missing: null,
    defaults: {},
  }];
}

function inWater(facts: TankFacts, kind: 'conductivity' | 'temperature'): readonly Point[] {
  const there = facts.points.filter((point) => point.kind === kind && point.tankId === facts.tank.id && (point.place === 'display' || point.place === 'sump'));
  return [...there].sort((a, b) => Number(b.place === 'display') - Number(a.place === 'display'));
}

export function readSalinity(context: RuleContext<ProbeSettings>): Salinity {
  const conductivity = context.current('conductivity');
  if (conductivity === null) return { known: false, why: whyNotCurrent(context, 'conductivity') };
  const hasThermometer = context.point('temperature') !== null;
  const temperature = context.current('temperature');
  if (hasThermometer && temperature === null) return { known: false, why: whyNotCurrent(context, 'temperature') };
  const found = practicalSalinity(conductivity.value, temperature?.value ?? 25, probes[context.settings.compensation]);
  if (!found.known) return { known: false, why: found.why };
  return { known: true, psu: found.value, atMs: conductivity.atMs, rough: temperature === null, conductivity, temperature };
}

/** What the salinity can be while conductivity and temperature stay near the present ones. */
export interface Nearby {
  readonly within: Readonly<Record<string, Band>>;
  readonly leastPsu: number;
  readonly mostPsu: number;
}

/** @param share of the conductivity, and @param kelvin: how near. @returns `null` where it may leave what is known. */
export function nearby({ conductivity, temperature }: Extract<Salinity, { readonly known: true }>, share: number, kelvin: number, context: RuleContext<ProbeSettings>): Nearby | null {
  const conductivities: Band = [conductivity.value * (1 - share), conductivity.value * (1 + share)];
  const celsius: Band = temperature === null ? [25, 25] : [temperature.value - kelvin, temperature.value + kelvin];
  const corners = conductivities.flatMap((shown) => celsius.map((warm) => practicalSalinity(shown, warm, probes[context.settings.compensation])));
  const psus = corners.flatMap((corner) => (corner.known ? [corner.value] : []));
  const [leastPsu, mostPsu] = [Math.min(...psus) - CURVED_PSU, Math.max(...psus) + CURVED_PSU];
  if (psus.length < corners.length || leastPsu < SALINITY_RANGE.low || mostPsu > SALINITY_RANGE.high) return null;
  return { within: { conductivity: conductivities, ...(temperature === null ? {} : { temperature: celsius }) }, leastPsu, mostPsu };
}

/** By more than it can be beyond what it is at the corners of a small field, where a probe that compensates has it bend. */
const CURVED_PSU = 0.1;

/** What the present conductivity would mean at another temperature; `null`: not known. Tells a thermometer that has jumped from salt that has. */
export function psuAt(conductivity: Latest, celsius: number, context: RuleContext<ProbeSettings>): number | null {
  const found = practicalSalinity(conductivity.value, celsius, probes[context.settings.compensation]);
  return found.known ? found.value : null;
}

const probes: Readonly<Record<ProbeSettings['compensation'], Compensation>> = {
  none: { kind: 'none' },
  linear: { kind: 'linear', percentPerK: 2, referenceC: 25 },
  seawater: { kind: 'seawater', referenceC: 25 },
};

export const showPsu = (psu: number): string => psu.toFixed(1);

/** Where a salinity comes from, so that it can be checked by hand. */
export function salinityEvidence(salinity: Extract<Salinity, { readonly known: true }>, label: string): readonly Evidence[] {
  const { conductivity, temperature } = salinity;
  return [
    { label, value: `${showPsu(salinity.psu)} (practical salinity)${salinity.rough ? ', as if the water were at 25 °C' : ''}`, atMs: salinity.atMs },
    { label: 'Conductivity', value: conductivity.value, kind: 'conductivity', atMs: conductivity.atMs },
    temperature === null
      ? { label: 'Temperature at the probe', value: 'not measured: add a temperature point in the same place' }
      : { label: 'Temperature at the probe', value: show('temperature', temperature.value), atMs: temperature.atMs },
  ];
}

export const checkTheProbe =
  'Check with an independent instrument (refractometer set with a 35 standard, or a second meter) before changing anything: probes foul downwards by 0.5–2 % a month, and bubbles or a probe in the air read low (common practice).';
export const slowSalinity = 'Change salinity back by no more than 1 a day (common practice); for reef animals a fast correction is as harmful as a wrong value.';
