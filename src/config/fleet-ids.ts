/** Ids must be unique: everything stored hangs on them. */
import type { FleetReadingState } from './fleet-reading.ts';
import type { Path } from './yaml-document.ts';

export interface IdLedger {
  /** Notes a mistake, naming both places, when the id is taken. */
  claim(id: string | null, what: string, path: Path): void;
}

/** @param scope where the ids must differ: `in the whole file`, `in the tank "lobby-reef"`. */
export function idLedger(state: FleetReadingState, scope: string): IdLedger {
  const taken = new Map<string, { readonly what: string; readonly path: Path }>();
  return {
    claim(id, what, path) {
      if (id === null) return;
      const earlier = taken.get(id);
      if (earlier === undefined) {
        taken.set(id, { what, path });
        return;
      }
      const { line } = state.document.placeOf([...earlier.path, 'id']);
      state.findings.at([...path, 'id'], `the id "${id}" of this ${what} is taken by the ${earlier.what} on line ${line}`, `write another id, like "${id}-2": ids differ ${scope}`);
    },
  };
}
