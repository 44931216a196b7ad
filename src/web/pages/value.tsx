/** @jsxRuntime automatic @jsxImportSource preact */
/** A present value: number, unit and where it stands between its limits; or plainly unknown. */
import { kinds } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import type { Present } from '../present.ts';
import { showAge } from '../times.ts';
import { words } from '../words.ts';
import { Shape } from '../shapes.tsx';

export function Value({ present, nowMs }: { present: Present; nowMs: number }) {
  const { kind } = present.point;
  if (present.state === 'never') return <span class="value unknown"><Shape mark="unknown" />{words.value.never}</span>;
  if (present.state === 'stale') {
    return <span class="value unknown"><Shape mark="unknown" />{words.value.stale(show(kind, present.value), showAge(present.atMs, nowMs))}</span>;
  }
  return (
    <span class={`value${present.outside === null ? '' : ' outside'}`}>
      <b>{show(kind, present.value)}</b>
      {present.outside !== null && <em>{` ${words.value[present.outside]}`}</em>}
    </span>
  );
}

/** What its gateway says of itself, where that is why nothing is known. */
export function OfflineWhy({ present: { offlineWhy } }: { present: Present }) {
  return offlineWhy === null ? null : <p class="unknown-why">{words.value.offline(offlineWhy)}</p>;
}

/** `23.0 – 28.0 °C`; `null` when there are none. */
export function limitsText({ point, limits }: Present): string | null {
  const text = (value: number | null): string | null => (value === null ? null : `${value.toFixed(Math.min(1, kinds[point.kind].decimals))}`);
  const low = text(limits.low);
  const high = text(limits.high);
  const { unit } = kinds[point.kind];
  return low === null && high === null ? null : `${words.value.limits(low, high)} ${unit}`;
}

const STRIP_WIDTH = 96;
const STRIP_MARGIN = 20;

/** A strip with the span between the limits and a tick where the value stands; only where both limits are known. */
export function LimitStrip({ present }: { present: Present }) {
  const { low, high } = present.limits;
  if (low === null || high === null || high <= low || present.state !== 'current') return null;
  const inner = STRIP_WIDTH - 2 * STRIP_MARGIN;
  const at = STRIP_MARGIN + ((present.value - low) / (high - low)) * inner;
  const x = Math.min(STRIP_WIDTH - 3, Math.max(3, at));
  return (
    <svg class={`strip${present.outside === null ? '' : ' outside'}`} viewBox={`0 0 ${STRIP_WIDTH} 14`} width={STRIP_WIDTH} height="14" aria-hidden="true" focusable="false">
      <rect class="all" x="0" y="6" width={STRIP_WIDTH} height="2" />
      <rect class="within" x={STRIP_MARGIN} y="4" width={inner} height="6" />
      <path class="tick" d={`M${x.toFixed(1)} 1V13`} />
    </svg>
  );
}
