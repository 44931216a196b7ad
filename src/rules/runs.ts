/** Whether a meter shows something running. Thresholds lie above the standby of plugs and controllers: plug meters are good from about 5 W on (common practice). */
import type { EquipmentKind } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';

/** Kinds of point that tell of one piece of equipment whether it runs. An energy counter tells it of an interval only, so it is not among them. */
export const telltales: readonly Kind[] = ['power', 'current', 'switch', 'flow'];

/** Equipment that runs all day: at zero it tells of the supply. Heaters, chillers, lamps and top-off pumps are off by themselves and tell nothing. */
export const runsAllDay: ReadonlySet<EquipmentKind> = new Set(['return-pump', 'circulation-pump', 'skimmer', 'uv']);

const LEAST_WATTS = 2;
const LEAST_AMPERES = 0.02;

/** @param value in the canonical unit of `kind`. @param nameplateWatts a tenth of it is running, where that is more than standby. */
export function shows(kind: Kind, value: number, nameplateWatts: number | null = null): boolean {
  const from = showsFrom(kind, nameplateWatts);
  return kind === 'switch' ? value >= from : value > from;
}

/** The value that parts what runs from what stands. */
export function showsFrom(kind: Kind, nameplateWatts: number | null = null): number {
  switch (kind) {
    case 'power':
      return Math.min(LEAST_WATTS * 10, Math.max(LEAST_WATTS, 0.1 * (nameplateWatts ?? 0)));
    case 'current':
      return LEAST_AMPERES;
    case 'switch':
      return 0.5;
    default:
      return 0;
  }
}
