/** How full a top-off reservoir is, from whatever measures it: fill (%), volume (L) or level (mm). */
import type { Equipment, Point } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';
import type { Latest, Proposal, RuleContext, TankFacts } from './contract.ts';

const measures: readonly Kind[] = ['fill', 'volume', 'level'];

/** One proposal per reservoir. @param title of the alarm, after the reservoir's name. */
export function reservoirProposals(facts: TankFacts, title: string): readonly Proposal[] {
  const reservoirs = facts.equipment.filter(({ kind }) => kind === 'top-off-reservoir');
  return reservoirs.map((reservoir) => {
    const point = gaugeOf(facts, reservoir, reservoirs.length === 1);
    return {
      subject: reservoir.id,
      title: `${reservoir.name} ${title}`,
      roles: point === null ? {} : { gauge: point.id },
      equipment: reservoir,
      missing: point === null ? `no level, fill or volume point on ${reservoir.name}` : missingScale(point, reservoir),
      defaults: {},
    };
  });
}

function gaugeOf(facts: TankFacts, reservoir: Equipment, isOnly: boolean): Point | null {
  for (const kind of measures) {
    const own = facts.points.find((point) => point.kind === kind && point.equipmentId === reservoir.id);
    if (own !== undefined) return own;
  }
  if (!isOnly) return null;
  return facts.points.find(({ kind, place, equipmentId, tankId }) => measures.includes(kind) && place === 'reservoir' && equipmentId === null && tankId === facts.tank.id) ?? null;
}

function missingScale(point: Point, reservoir: Equipment): string | null {
  if (point.kind === 'level' && !isPositive(reservoir.fullMm)) return `${point.name} is a level, and no full level is entered for ${reservoir.name} (full: 400 mm)`;
  if (point.kind === 'volume' && !isPositive(reservoir.capacityLitres)) return `${point.name} is a volume, and no capacity is entered for ${reservoir.name} (capacity: 60 L)`;
  return null;
}

/** Percent of full, for a reading of the gauge. */
export function percentOf(gauge: Latest, context: Pick<RuleContext<unknown>, 'point' | 'equipment'>): number {
  return percentFull(gauge.value, context.point('gauge')?.kind ?? 'fill', context.equipment);
}

/** The same by what is known of the reservoir, for a rule about something else. */
export function percentFull(value: number, kind: Kind, reservoir: Pick<Equipment, 'fullMm' | 'capacityLitres'> | null): number {
  switch (kind) {
    case 'level':
      return (100 * value) / (reservoir?.fullMm ?? Number.NaN);
    case 'volume':
      return (100 * value) / (reservoir?.capacityLitres ?? Number.NaN);
    default:
      return value;
  }
}

/** `18 % (11 L)`. */
export function showFill(percent: number, equipment: Equipment | null): string {
  const fullLitres = equipment?.capacityLitres ?? null;
  const litres = fullLitres === null ? null : (Math.max(0, percent) / 100) * fullLitres;
  return `${Math.max(0, percent).toFixed(0)} %${litres === null ? '' : ` (${litres.toFixed(litres < 10 ? 1 : 0)} L)`}`;
}

/**
 * Empty or not, with hysteresis. Level deadband 2 % of the range: EEMUA 191, as quoted in a consultancy article on alarm deadbands.
 * Shared by `top-off-empty` and `top-off-low`, so that the second falls silent exactly where the first begins.
 */
export function isEmpty(percent: number, emptyPercent: number, wasEmpty: boolean): boolean {
  return percent <= emptyPercent || (wasEmpty && percent < emptyPercent + LEVEL_DEADBAND_PERCENT);
}

export const LEVEL_DEADBAND_PERCENT = 2;

const isPositive = (value: number | null): boolean => value !== null && value > 0;
