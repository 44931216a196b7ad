/** Makes a checked fleet file the one in force, once: what changed is journaled with who, when, old and new. */
import type { Fleet } from '../domain/fleet.ts';
import type { JournalEntry } from '../domain/journal.ts';
import type { FleetStore } from '../store/contract.ts';
import { fleetChanges, type FleetChange } from './changes.ts';

/**
 * A file that means the same as the one in force, whatever its comments and order, changes nothing and writes nothing.
 * @param before the fleet in force; `null` for a new store.
 * @param by person, or `tankbell` when the service found the file changed at its start.
 * @returns the changes made.
 * @throws StoreError
 */
export async function applyFleet(store: FleetStore, text: string, fleet: Fleet, before: Fleet | null, by: string, nowMs: number): Promise<readonly FleetChange[]> {
  const changes = fleetChanges(before, fleet);
  if (changes.length === 0) return changes;
  await store.putFleet(text, changes.map((change) => entryOf(change, by, nowMs)));
  return changes;
}

function entryOf({ what, thing, id, siteId, tankId, key, from, to, text }: FleetChange, by: string, nowMs: number): JournalEntry {
  return { atMs: nowMs, kind: 'fleet', siteId, tankId, alarmId: null, by, text, detail: { what, thing, id, key, from, to } };
}
