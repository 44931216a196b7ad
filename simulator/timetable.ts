/** When which fault begins and ends; the demo's own is in `demo-timetable.ts`. */
import type { Fault } from './faults/fault.ts';

export interface Occurrence {
  readonly fault: Fault;
  readonly beginMs: number;
  /** Repaired at this time; `null`: never by itself. */
  readonly endMs: number | null;
}

/** Occurrences that begin in [fromMs, toMs), in any order. Asked for spans that follow one another without a gap. */
export type Timetable = (fromMs: number, toMs: number) => readonly Occurrence[];

export const nothingHappens: Timetable = () => [];

export function listed(occurrences: readonly Occurrence[]): Timetable {
  return (fromMs, toMs) => occurrences.filter(({ beginMs }) => beginMs >= fromMs && beginMs < toMs);
}

/** Both timetables. */
export function together(...timetables: readonly Timetable[]): Timetable {
  return (fromMs, toMs) => timetables.flatMap((timetable) => timetable(fromMs, toMs));
}

/** The same programme again and again from `startMs`; `round` counts up from 0. */
export function looped(startMs: number, periodMs: number, programme: (roundStartMs: number, round: number) => readonly Occurrence[]): Timetable {
  return (fromMs, toMs) => {
    const found: Occurrence[] = [];
    const first = Math.max(0, Math.floor((fromMs - startMs) / periodMs));
    for (let round = first; startMs + round * periodMs < toMs; round += 1) {
      found.push(...listed(programme(startMs + round * periodMs, round))(fromMs, toMs));
    }
    return found;
  };
}
