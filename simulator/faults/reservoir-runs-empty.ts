import { DAY } from '../../src/domain/duration.ts';
import type { Fault, FaultKind } from './fault.ts';

/**
 * The refill of a top-off reservoir was forgotten. `leftLitres` says how much is left when we begin to look (as though the forgotten visit
 * lay that far back); `null` leaves what is there, and it empties in its own time. Repaired by a refill.
 */
export function reservoirRunsEmpty(params: { readonly reservoirId: string; readonly leftLitres: number | null }): Fault {
  return {
    name: 'reservoir-runs-empty',
    does: `nobody refills ${params.reservoirId}: it runs dry, then the sump falls and the salinity climbs`,
    params,
    apply: ({ world }) => {
      const reservoir = world.reservoir(params.reservoirId);
      reservoir.forgotten = true;
      if (params.leftLitres !== null) reservoir.setTo(Math.min(params.leftLitres, reservoir.waterKg));
    },
    undo: ({ world }) => {
      const reservoir = world.reservoir(params.reservoirId);
      reservoir.forgotten = false;
      reservoir.setTo(reservoir.capacityKg);
    },
  };
}

export default {
  name: 'reservoir-runs-empty',
  gradual: true,
  watchMs: 26 * DAY,
  season: 'winter',
  plan: (target) => {
    const reservoir = target.piece('top-off-reservoir');
    return reservoir === null ? null : reservoirRunsEmpty({ reservoirId: reservoir.id, leftLitres: null });
  },
} satisfies FaultKind;
