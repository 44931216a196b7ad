/** Is a sealed day whole: do its bytes decode, and do its row and the hours counted of it say the same as its readings? */
import { type Columns, DamagedDayError, decodeDay, showDay } from './codec.ts';
import { rollupOf, usableOf } from './rollup.ts';

export interface ChunkRow {
  readonly series: number;
  readonly day: number;
  readonly n: number;
  readonly usable: number;
  readonly first_ms: number;
  readonly last_ms: number;
  readonly data: Uint8Array;
  readonly hours: Uint8Array | null;
}

/** Every sealed day with the hours counted of it. */
export const CHUNK_ROWS = 'SELECT chunk.*, rollup.hours FROM chunk LEFT JOIN rollup USING (series, day)';

/** @returns each fault in a sentence; none when the day is whole. */
export function faultsOfDay(row: ChunkRow): readonly string[] {
  const { series, day, data, hours } = row;
  const where = `${showDay(day)} of series ${series}`;
  let readings: Columns;
  try {
    readings = decodeDay(series, day, data);
  } catch (error) {
    if (!(error instanceof DamagedDayError)) throw error;
    return [error.message];
  }
  const faults: string[] = [];
  const { atMs } = readings;
  const told = [row.n, row.usable, row.first_ms, row.last_ms];
  const found = [atMs.length, usableOf(readings).atMs.length, atMs[0], atMs.at(-1)];
  if (told.some((value, i) => value !== found[i])) faults.push(`${where}: the row says ${told.join(', ')}, its readings say ${found.join(', ')}`);
  if (hours === null || !Buffer.from(hours).equals(rollupOf(readings))) faults.push(`${where}: the hours counted of it are not those of its readings (charts over months may be wrong there)`);
  return faults;
}
