/**
 * What a meter that only counts up has counted: the increments between its readings, also where it was reset or rolled over.
 *
 * - Up, and by no more than can be drawn in the time: counted.
 * - Down for one reading and then on from where it was: that reading was a slip, and is left out.
 * - Down from close below the width of the meter to close above zero: it rolled over, and has counted across. Widths: 2^16 and 2^32 counts (meters with
 *   registers of 16 or 32 bits), 10^4 to 10^9 counts (dials and displays); a count is the meter's last digit, from 1 down to 0.001.
 *   "Close" means no more than can be drawn in the time between the two readings.
 * - Down to close above zero from anywhere else: it was reset. What it shows has been counted since; what was between its last reading
 *   and the reset is lost, so the increment is a lower bound.
 * - Anything else (a meter exchanged, an error code): not known, never guessed.
 *
 * Order and repetition of readings do not matter: they are sorted, and one time counts once.
 */
export interface Count {
  readonly atMs: number;
  readonly value: number;
}

export interface Increment {
  readonly fromMs: number;
  readonly toMs: number;
  /** `null`: not known. */
  readonly by: number | null;
  readonly how: 'counted' | 'rolled-over' | 'reset' | 'unknown';
}

/** @param mostPerHour no meter of this kind can count faster, in the unit of the values. */
export function increments(readings: readonly Count[], mostPerHour: number): readonly Increment[] {
  const sorted = inOrder(readings);
  const found: Increment[] = [];
  let last = sorted[0];
  for (let at = 1; at < sorted.length && last !== undefined; at += 1) {
    const next: Count | undefined = sorted[at];
    if (next === undefined || isSlip(last, next, sorted[at + 1], mostPerHour)) continue;
    found.push({ fromMs: last.atMs, toMs: next.atMs, ...between(last, next, mostPerHour) });
    last = next;
  }
  return found;
}

/** From one reading to the next, without knowing what comes after. */
export function between(before: Count, after: Count, mostPerHour: number): Pick<Increment, 'by' | 'how'> {
  // One count may fall at any instant of the interval.
  const most = (mostPerHour * (after.atMs - before.atMs)) / HOUR_MS + countOf(after.value);
  const by = after.value - before.value;
  if (by >= 0) return by <= most ? { by: tidy(by), how: 'counted' } : unknown;
  const width = widths(Math.min(countOf(before.value), countOf(after.value))).find((one) => one > before.value && one - before.value + after.value <= most);
  if (width !== undefined) return { by: tidy(width - before.value + after.value), how: 'rolled-over' };
  return after.value >= 0 && after.value <= most ? { by: after.value, how: 'reset' } : unknown;
}

/** Smallest step a counter shows, by the decimals it sends: 12.34 counts 0.01. */
export function countOf(value: number): number {
  const text = String(value);
  if (text.includes('e')) return 0;
  const dot = text.indexOf('.');
  return dot < 0 ? 1 : 10 ** -(text.length - dot - 1);
}

export interface StepCount {
  readonly fromMs: number;
  /** Counted in this step; what an interval across its border counted is shared out by time. `null`: not known for a part of it. */
  readonly by: number | null;
}

/** Step by step over [fromMs, toMs), hours unless told otherwise; steps that readings do not cover in full are left out. */
export function countedPer(counted: readonly Increment[], fromMs: number, toMs: number, stepMs = HOUR_MS): readonly StepCount[] {
  const steps = new Map<number, { covered: number; by: number; known: boolean }>();
  for (const one of counted) {
    const lengthMs = one.toMs - one.fromMs;
    for (let step = Math.floor(one.fromMs / stepMs) * stepMs; step < one.toMs; step += stepMs) {
      const shareMs = Math.min(one.toMs, step + stepMs) - Math.max(one.fromMs, step);
      const sum = steps.get(step) ?? { covered: 0, by: 0, known: true };
      sum.covered += shareMs;
      if (one.by === null) sum.known = false;
      else sum.by += (one.by * shareMs) / lengthMs;
      steps.set(step, sum);
    }
  }
  return [...steps].filter(([step, { covered }]) => step >= fromMs && step + stepMs <= toMs && covered >= stepMs - 1)
    .sort(([a], [b]) => a - b).map(([step, { by, known }]) => ({ fromMs: step, by: known ? tidy(by) : null }));
}

const HOUR_MS = 3_600_000;
const unknown = { by: null, how: 'unknown' } as const;

function inOrder(readings: readonly Count[]): readonly Count[] {
  const byTime = new Map<number, Count>();
  for (const reading of readings) if (!byTime.has(reading.atMs)) byTime.set(reading.atMs, reading);
  return [...byTime.values()].sort((a, b) => a.atMs - b.atMs);
}

/** Away from where the meter stands for a single reading, and back on its way with the next. */
function isSlip(before: Count, slip: Count, after: Count | undefined, mostPerHour: number): boolean {
  if (after === undefined || between(before, slip, mostPerHour).how === 'counted') return false;
  return after.value >= before.value && between(before, after, mostPerHour).how === 'counted' && between(slip, after, mostPerHour).how !== 'counted';
}

/** From the narrowest: the first that fits is the one with the least to explain. A value may hide digits that happen to be zero, so finer counts fit, too. */
function widths(shownCount: number): readonly number[] {
  const steps = [1, 0.1, 0.01, 0.001].filter((step) => step <= shownCount * 1.001);
  return [2 ** 16, 2 ** 32, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9].flatMap((counts) => steps.map((step) => counts * step)).sort((a, b) => a - b);
}

/** Twelve significant digits: sums of decimals stay decimals. */
const tidy = (value: number): number => Number(value.toPrecision(12));
