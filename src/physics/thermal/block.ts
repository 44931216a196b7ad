/**
 * The heat balance of a tank, a quarter of a day at a time: what went in as electrical power, how warm it was inside and outside, and by how much
 * the water warmed. What a fit needs of two weeks fits into three kilobytes this way.
 *
 * Fed sample by sample: each says what holds from its time on. A block counts if nothing disturbed it, at least 90 % of it is covered (no sample stands
 * for longer than 20 min), and the block before it ended in known water. Blocks are aligned to 00, 06, 12 and 18 h UTC.
 */
import { HOUR, MINUTE } from '../../domain/duration.ts';

export const BLOCK_MS = 6 * HOUR;
export const SLOTS = 4;
const HOLD_MS = 20 * MINUTE;
/** The temperature at the end of a block is the mean of its readings in this time: one reading is quantised. */
const TAIL_MS = 15 * MINUTE;
const COVERED = 0.9;

export interface Block {
  readonly fromMs: number;
  /** End of the block against end of the one before, K. */
  readonly riseK: number;
  /** Means over the block. */
  readonly waterC: number;
  /** `null`: not measured for most of the block. */
  readonly roomC: number | null;
  /** Relative, in the room, %; `null`: not measured for most of the block. */
  readonly humidityPercent: number | null;
  readonly heaterWatts: number;
  readonly chillerWatts: number;
  /** Measured lights; 0 where they are not measured. */
  readonly lightWatts: number;
}

export interface Sample {
  readonly atMs: number;
  /** `null`: not known now. The time until the next sample is then not covered. */
  readonly waterC: number | null;
  readonly roomC: number | null;
  readonly humidityPercent: number | null;
  /** Sum over all heaters; 0 where there are none, `null` where one is not known. */
  readonly heaterWatts: number | null;
  readonly chillerWatts: number | null;
  readonly lightWatts: number | null;
  /** Not a quiet tank: a visit, a water change, an outage, a return pump standing, a fault suspected. The whole block is left out. */
  readonly disturbed: boolean;
}

export interface OpenBlock {
  readonly fromMs: number;
  /** End of the block before; `null`: not known. */
  readonly startC: number | null;
  readonly disturbed: boolean;
  readonly last: Sample;
  /** Sums over time, value · h; hours that count. */
  readonly coveredH: number;
  readonly waterCh: number;
  readonly roomH: number;
  readonly roomCh: number;
  readonly humidH: number;
  readonly humidPercentH: number;
  readonly heaterWh: number;
  readonly chillerWh: number;
  readonly lightWh: number;
  readonly tailSumC: number;
  readonly tailCount: number;
}

/** A block as it is kept: 60 of them take 3 kB of text instead of 9. */
export type PackedBlock = readonly [fromMs: number, riseK: number, waterC: number, roomC: number | null, humidityPercent: number | null, heaterWatts: number, chillerWatts: number, lightWatts: number];

export function pack(block: Block): PackedBlock {
  return [block.fromMs, block.riseK, block.waterC, block.roomC, block.humidityPercent, block.heaterWatts, block.chillerWatts, block.lightWatts];
}

export function unpack([fromMs, riseK, waterC, roomC, humidityPercent, heaterWatts, chillerWatts, lightWatts]: PackedBlock): Block {
  return { fromMs, riseK, waterC, roomC, humidityPercent, heaterWatts, chillerWatts, lightWatts };
}

/**
 * Samples older than the last one change nothing; nor do those within a minute of it, unless a draw has changed or something disturbs: the same `open` comes
 * back. @returns the block that is open now, and the one that this sample closed if it counts.
 */
export function takeSample(open: OpenBlock | null, sample: Sample): { readonly open: OpenBlock; readonly closed: Block | null } {
  const fromMs = Math.floor(sample.atMs / BLOCK_MS) * BLOCK_MS;
  if (open === null) return { open: begin(fromMs, null, sample), closed: null };
  if (sample.atMs <= open.last.atMs || (sample.atMs - open.last.atMs < MINUTE && tellsNothing(sample, open.last))) return { open, closed: null };
  if (fromMs === open.fromMs) return { open: tail(hold(open, sample.atMs, sample), sample), closed: null };
  const ended = hold(open, open.fromMs + BLOCK_MS, open.last);
  const isNext = fromMs === open.fromMs + BLOCK_MS;
  const endC = ended.tailCount > 0 ? ended.tailSumC / ended.tailCount : null;
  const started = begin(fromMs, isNext ? endC : null, { ...open.last, atMs: fromMs });
  // What the last sample of the old block says holds on across the border, but no longer than any other.
  const carried = isNext && open.last.atMs + HOLD_MS > fromMs ? hold(started, Math.min(sample.atMs, open.last.atMs + HOLD_MS), sample) : started;
  return { open: tail({ ...carried, last: sample, disturbed: sample.disturbed || open.last.disturbed }, sample), closed: close(ended, endC) };
}

function tellsNothing(sample: Sample, last: Sample): boolean {
  const alike = (a: number | null, b: number | null): boolean => a === b || (a !== null && b !== null && Math.abs(a - b) <= Math.max(5, 0.1 * Math.abs(b)));
  return alike(sample.heaterWatts, last.heaterWatts) && alike(sample.chillerWatts, last.chillerWatts) && alike(sample.lightWatts, last.lightWatts)
    && (sample.waterC === null) === (last.waterC === null) && (last.disturbed || !sample.disturbed);
}

function begin(fromMs: number, startC: number | null, last: Sample): OpenBlock {
  return { fromMs, startC, disturbed: last.disturbed, last, coveredH: 0, waterCh: 0, roomH: 0, roomCh: 0, humidH: 0, humidPercentH: 0, heaterWh: 0, chillerWh: 0, lightWh: 0, tailSumC: 0, tailCount: 0 };
}

/** Counts what the last sample said until `untilMs`; then `next` holds. */
function hold(open: OpenBlock, untilMs: number, next: Sample): OpenBlock {
  const { waterC, roomC, humidityPercent, heaterWatts, chillerWatts, lightWatts } = open.last;
  const disturbed = open.disturbed || next.disturbed;
  if (waterC === null || heaterWatts === null || chillerWatts === null || lightWatts === null) return { ...open, disturbed, last: next };
  const hours = Math.max(0, Math.min(untilMs - open.last.atMs, HOLD_MS)) / HOUR;
  return {
    ...open,
    disturbed,
    last: next,
    coveredH: open.coveredH + hours,
    waterCh: open.waterCh + waterC * hours,
    roomH: open.roomH + (roomC === null ? 0 : hours),
    roomCh: open.roomCh + (roomC === null ? 0 : roomC * hours),
    humidH: open.humidH + (humidityPercent === null ? 0 : hours),
    humidPercentH: open.humidPercentH + (humidityPercent === null ? 0 : humidityPercent * hours),
    heaterWh: open.heaterWh + heaterWatts * hours,
    chillerWh: open.chillerWh + chillerWatts * hours,
    lightWh: open.lightWh + lightWatts * hours,
  };
}

function tail(open: OpenBlock, sample: Sample): OpenBlock {
  if (sample.waterC === null || sample.atMs < open.fromMs + BLOCK_MS - TAIL_MS) return open;
  return { ...open, tailSumC: open.tailSumC + sample.waterC, tailCount: open.tailCount + 1 };
}

function close(block: OpenBlock, endC: number | null): Block | null {
  const { startC, coveredH: hours } = block;
  if (block.disturbed || startC === null || endC === null || hours < (COVERED * BLOCK_MS) / HOUR) return null;
  return {
    fromMs: block.fromMs,
    riseK: round(endC - startC, 3),
    waterC: round(block.waterCh / hours, 3),
    roomC: block.roomH > COVERED * hours ? round(block.roomCh / block.roomH, 3) : null,
    humidityPercent: block.humidH > COVERED * hours ? round(block.humidPercentH / block.humidH, 1) : null,
    heaterWatts: round(block.heaterWh / hours, 1),
    chillerWatts: round(block.chillerWh / hours, 1),
    lightWatts: round(block.lightWh / hours, 1),
  };
}

/** State is kept as text: no more digits than the instruments have. */
const round = (value: number, digits: number): number => Number(value.toFixed(digits)) + 0;
