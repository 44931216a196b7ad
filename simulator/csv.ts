/** Readings as CSV, one to a line: `time,series,value,unit`, times in UTC, values and units as the sensor sends them. */
import type { Fleet } from '../src/domain/fleet.ts';
import { kinds } from '../src/domain/kinds.ts';
import type { Arrival } from './trial.ts';

export const csvHeader = 'time,series,value,unit\n';

/** @returns lines for what arrived; the series is the id of the point. */
export function csvWriter(fleet: Fleet): (arrivals: readonly Arrival[]) => string {
  const tails = new Map(fleet.points.map((point) => [point.id, cell(point.unit ?? kinds[point.kind].unit)]));
  return (arrivals) => {
    let text = '';
    for (const { samples } of arrivals) {
      for (const { pointId, atMs, value } of samples) text += `${new Date(atMs).toISOString()},${pointId},${value},${tails.get(pointId) ?? ''}\n`;
    }
    return text;
  };
}

const cell = (text: string): string => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
