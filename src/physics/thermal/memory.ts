/**
 * What a tank remembers of its heat balance: the last fortnight block by block, and what those before told, fading by half in sixty days. So a fit
 * follows a changed tank slowly, and does not forget in a quiet fortnight what a cold week once showed.
 *
 * State is plain JSON of at most some 6 kB. Start afresh (`thermalStart`) when volumes, heaters or pumps are changed.
 */
import { DAY } from '../../domain/duration.ts';
import type { Prior } from '../statistics/huber.ts';
import { addOuter } from '../statistics/linear-system.ts';
import { type Block, type OpenBlock, pack, type PackedBlock, type Sample, takeSample, unpack } from './block.ts';
import { fitThermal, observe, type Past, regress, type ThermalFit, usableBlocks } from './fit.ts';
import { scaled, scaleOf } from './scale.ts';
import type { Known } from '../known.ts';
import { type ThermalFacts, UNKNOWNS } from './prior.ts';

export interface ThermalMemory {
  readonly open: OpenBlock | null;
  /** Oldest first. */
  readonly blocks: readonly PackedBlock[];
  readonly past: Past | null;
}

export const thermalStart: ThermalMemory = { open: null, blocks: [], past: null };

/** Of so many, the oldest are folded into the past, several at once: each time costs a fit. */
export const BLOCKS_KEPT = 64;
const FOLDED_AT_ONCE = 8;
const HALF_LIFE_MS = 60 * DAY;

/** One sample; whenever one closes a block that counts, that is remembered. */
export function rememberSample(memory: ThermalMemory, sample: Sample, facts: ThermalFacts): ThermalMemory {
  const { open, closed } = takeSample(memory.open, sample);
  if (open === memory.open) return memory;
  return closed === null ? { ...memory, open } : { ...rememberBlock(memory, closed, facts), open };
}

/** For whoever makes blocks himself, e.g. from stored history; oldest first. */
export function rememberBlock(memory: ThermalMemory, block: Block, facts: ThermalFacts): ThermalMemory {
  const before = memory.blocks.at(-1)?.[0];
  const blocks = [...memory.blocks, pack(block)];
  const past = before === undefined ? memory.past : faded(memory.past, block.fromMs - before);
  if (blocks.length <= BLOCKS_KEPT) return { ...memory, blocks, past };
  return { ...memory, blocks: blocks.slice(FOLDED_AT_ONCE), past: folded(past, blocks.map(unpack), facts) };
}

/** The fit of what is remembered now. Some milliseconds: ask for it when a block has closed, not with every reading. */
export function fitMemory(memory: ThermalMemory, facts: ThermalFacts): Known<ThermalFit> {
  return fitThermal(memory.blocks.map(unpack), memory.past, facts);
}

/** Adds what the oldest blocks tell, weighed as the fit of all weighs them. */
function folded(past: Past | null, blocks: readonly Block[], facts: ThermalFacts): Past | null {
  const usable = usableBlocks(blocks, facts);
  const fit = regress(usable, past, facts);
  if (fit === null) return past;
  const scale = scaleOf(usable);
  const oldest = new Set(blocks.slice(0, FOLDED_AT_ONCE));
  let { precision, weighted } = past?.[scale] ?? nothing;
  usable.forEach((block, n) => {
    if (!oldest.has(block)) return;
    const weight = fit.weights[n] ?? 0;
    const { x, y } = scaled(observe(block, facts), scale);
    precision = addOuter(precision, x, weight);
    weighted = weighted.map((value, i) => value + weight * (x[i] ?? 0) * y);
  });
  return { ...past, [scale]: { precision: precision.map((row) => row.map(short)), weighted: weighted.map(short) } };
}

function faded(past: Past | null, byMs: number): Past | null {
  if (past === null) return null;
  const share = 2 ** (-Math.max(0, byMs) / HALF_LIFE_MS);
  const fade = ({ precision, weighted }: Prior): Prior => ({ precision: precision.map((row) => row.map((value) => short(value * share))), weighted: weighted.map((value) => short(value * share)) });
  return { ...(past.heated === undefined ? {} : { heated: fade(past.heated) }), ...(past.cooled === undefined ? {} : { cooled: fade(past.cooled) }) };
}

const nothing: Prior = {
  precision: Array.from({ length: UNKNOWNS }, () => new Array<number>(UNKNOWNS).fill(0)),
  weighted: new Array<number>(UNKNOWNS).fill(0),
};

/** Nine digits: enough for a sum, half the text. */
const short = (value: number): number => Number(value.toPrecision(9));
