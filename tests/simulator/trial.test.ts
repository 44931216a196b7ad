import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { makeTrial, type Trial, type TrialOptions } from '../../simulator/trial.ts';
import { trialFleet } from './trial-fleet.ts';

const fleet = trialFleet('small-reef');

function trialOf(options: Partial<TrialOptions>): Trial {
  const trial = makeTrial({ fleet, seed: 1, fault: null, settleMs: DAY / 2, ...options });
  if (trial === null) throw new Error('no trial');
  return trial;
}

const readings = (trial: Trial, sliceMs?: number): string => [...trial.run().slices(sliceMs)].flat().map(({ arrivedMs, samples }) => `${arrivedMs} ${JSON.stringify(samples)}`).join('\n');
const afterMs = (trial: Trial): number => (trial.departure()?.atMs ?? Number.NaN) - (trial.truth?.beginMs ?? 0);

describe('a trial', () => {
  it('is the same for the same options, run twice or in other slices, and another for another seed', () => {
    const trial = trialOf({ fault: 'pump-restarting', watchMs: 3 * HOUR });
    const first = readings(trial);
    expect(first.length).toBeGreaterThan(100_000);
    expect(readings(trial, 7 * MINUTE)).toBe(first);
    expect(readings(trialOf({ fault: 'pump-restarting', watchMs: 3 * HOUR, seed: 2 }))).not.toBe(first);
  });

  it('says the truth: what, when, in words, and what should name it', () => {
    const { truth, startMs, endMs } = trialOf({ fault: 'leak', watchMs: 2 * DAY });
    expect(truth?.name).toBe('leak');
    expect(truth?.does).toMatch(/^the sump of tank loses [\d.]+ L an hour, unseen$/);
    expect(truth?.names).toContain('leak');
    expect([(truth?.beginMs ?? 0) - startMs, endMs - (truth?.beginMs ?? 0)]).toEqual([DAY / 2, 2 * DAY]);
    expect(trialOf({ fault: null }).truth).toBeNull();
  });

  it('begins in the season of its fault', () => {
    const months = (kind: 'large-reef' | 'small-reef', fault: string) => [1, 2, 3, 4, 5, 6].map((seed) => new Date(trialOf({ fleet: trialFleet(kind), fault, seed }).truth?.beginMs ?? 0).getUTCMonth());
    for (const month of months('large-reef', 'chiller-not-cooling')) expect([5, 6, 7]).toContain(month);
    for (const month of months('small-reef', 'room-cold')) expect([0, 1]).toContain(month);
  });

  it('is not made for what cannot happen to a tank, and refuses what does not exist by name', () => {
    expect(makeTrial({ fleet, seed: 1, fault: 'chiller-not-cooling' })).toBeNull();
    expect(() => makeTrial({ fleet, seed: 1, fault: 'lek' })).toThrow('no fault "lek"; there are: chiller-losing-capacity,');
    expect(() => makeTrial({ fleet, seed: 1, fault: 'leak', tankId: 'tnk' })).toThrow('no tank "tnk" in the fleet; there are: tank');
  });
});

describe('the departure from the healthy twin', () => {
  it.each([['gateway-silent', 'missing'], ['sensor-silent', 'missing'], ['wrong-clock', 'stamp'], ['voltage-sag', 'value'], ['salinity-step', 'value']])('is at once for %s: %s', (fault, how) => {
    const trial = trialOf({ fault, watchMs: 3 * HOUR });
    expect(trial.departure()?.how).toBe(how);
    expect(afterMs(trial)).toBeGreaterThanOrEqual(0);
    expect(afterMs(trial)).toBeLessThan(15 * MINUTE);
  });

  it('is hours later for what creeps, and on the point that creeps', () => {
    const trial = trialOf({ fault: 'thermometer-drifting', watchMs: 3 * DAY });
    expect(trial.departure()?.pointId).toBe('tank/display-temperature');
    // At 0.12 to 0.3 K a day it takes hours to leave the few tenths in which a thermostat swings.
    expect(afterMs(trial)).toBeGreaterThan(3 * HOUR);
    expect(afterMs(trial)).toBeLessThan(2 * DAY);
  });

  it('of a value that stands still is a run of readings longer than any of the twin', () => {
    const trial = trialOf({ fault: 'frozen-value', watchMs: 6 * HOUR });
    expect(trial.departure()?.how).toBe('run-length');
    expect(afterMs(trial)).toBeLessThan(2 * HOUR);
  });

  it('is the same of a run that somebody has watched', () => {
    const trial = trialOf({ fault: 'thermometer-drifting', settleMs: 1.5 * DAY, watchMs: 1.5 * DAY });
    const run = trial.run();
    for (const slice of run.slices(15 * MINUTE)) expect(slice.length).toBeGreaterThan(0);
    expect(run.departure()).toEqual(trial.departure());
    expect(run.departure()?.pointId).toBe('tank/display-temperature');
  });

  it('is none for a healthy life, nor for a fault too small to see', () => {
    expect(trialOf({ fault: null, watchMs: DAY }).departure()).toBeNull();
    // Ten minutes of a clog that takes days.
    expect(trialOf({ fault: 'pump-clogging', watchMs: 10 * MINUTE }).departure()).toBeNull();
  });
});
