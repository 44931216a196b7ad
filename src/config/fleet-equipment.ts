/** What hangs on a tank, with its nameplate data. */
import type { Equipment, EquipmentKind } from '../domain/fleet.ts';
import { equipmentKinds } from '../domain/fleet.ts';
import { type FleetReadingState, fieldOf, nameFromId } from './fleet-reading.ts';
import { fleetShapes } from './fleet-shapes.ts';
import type { Path } from './yaml-document.ts';

const thermostats: readonly EquipmentKind[] = ['heater', 'chiller', 'fan'];
const reservoirs: readonly EquipmentKind[] = ['top-off-reservoir'];
const onlyFor: Readonly<Record<string, readonly EquipmentKind[]>> = { setpoint: thermostats, band: thermostats, capacity: reservoirs, full: reservoirs };
/** Common practice: half a kelvin to each side, as most thermostats leave the maker. */
const defaultBandK = 0.5;

/**
 * One `equipment:` entry.
 * @param onlyOfItsKind no other of its kind hangs on the tank: then the kind is name enough.
 * @returns `null` when it has mistakes (noted).
 */
export function readEquipment(state: FleetReadingState, tankId: string, value: unknown, path: Path, onlyOfItsKind: boolean): Equipment | null {
  const parsed = state.findings.shape(fleetShapes.equipment, path, value);
  const kind = equipmentKindOf(value);
  if (kind !== null) {
    for (const [key, kinds] of Object.entries(onlyFor)) {
      if (fieldOf(value, key) !== undefined && !kinds.includes(kind)) {
        state.findings.atKey([...path, key], `"${key}" means nothing for kind: ${kind}`, `remove it; it belongs to kind: ${kinds.join(', ')}`);
      }
    }
  }
  if (parsed === null) return null;
  const { setpoint = null } = parsed;
  return {
    id: `${tankId}/${parsed.id}`,
    tankId,
    kind: parsed.kind,
    name: parsed.name ?? nameFromId(onlyOfItsKind ? parsed.kind : parsed.id),
    nameplateWatts: parsed.nameplate ?? null,
    setpointC: setpoint,
    bandK: parsed.band ?? (thermostats.includes(parsed.kind) ? defaultBandK : null),
    capacityLitres: parsed.capacity ?? null,
    fullMm: parsed.full ?? null,
    circuit: parsed.circuit ?? null,
  };
}

/** The kind as written, even where the rest of the block is wrong. */
export function equipmentKindOf(value: unknown): EquipmentKind | null {
  const written = fieldOf(value, 'kind');
  return equipmentKinds.find((kind) => kind === written) ?? null;
}
