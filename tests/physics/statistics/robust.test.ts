import { describe, expect, it } from 'vitest';
import { spikes } from '../../../src/physics/statistics/hampel.ts';
import { halfWidth, huber } from '../../../src/physics/statistics/huber.ts';
import { mannKendall } from '../../../src/physics/statistics/mann-kendall.ts';
import { MAD_TO_SIGMA, mad, median, quantile, robustSigma } from '../../../src/physics/statistics/median.ts';
import { normalCdf, normalQuantile, studentQuantile } from '../../../src/physics/statistics/normal.ts';
import { type Pair, theilSen } from '../../../src/physics/statistics/theil-sen.ts';

describe('median and MAD', () => {
  it('the factor is 1/Φ⁻¹(0.75) = 1.482602218505602', () => {
    expect(1 / normalQuantile(0.75)).toBeCloseTo(MAD_TO_SIGMA, 13);
  });

  // Well-known example, from memory; arithmetic.
  it('MAD of {1,1,2,2,4,6,9} is 1', () => {
    expect(median([1, 1, 2, 2, 4, 6, 9])).toBe(2);
    expect(mad([1, 1, 2, 2, 4, 6, 9])).toBe(1);
    expect(robustSigma([9, 1, 6, 1, 4, 2, 2])).toBeCloseTo(1.4826, 4);
  });

  it('of none there is none', () => {
    expect([median([]), mad([]), robustSigma([]), quantile([], 0.1)]).toEqual([null, null, null, null]);
    expect([quantile([3, 1, 2], 0), quantile([3, 1, 2], 1), quantile([1, 2], 0.25)]).toEqual([1, 3, 1.25]);
  });
});

describe('quantiles', () => {
  // Tables of every statistics book (from memory): 1.95996; t(0.975) of 3, 10 and 30 degrees of freedom 3.182, 2.228, 2.042; of 1 and 2 12.706, 4.303.
  it('normal', () => {
    expect(normalQuantile(0.975)).toBeCloseTo(1.959964, 6);
    expect(normalCdf(1)).toBeCloseTo(0.8413447, 7);
    expect(normalQuantile(0.1)).toBeCloseTo(-normalQuantile(0.9), 12);
  });

  it.each([[1, 12.706], [2, 4.303], [3, 3.182], [10, 2.228], [30, 2.042]])('Student, %d degrees', (degrees, t) => {
    expect(Math.abs(studentQuantile(0.975, degrees) / t - 1)).toBeLessThan(0.01);
  });
});

describe('Hampel filter', () => {
  // Computed (check values §5.5): half-window 3, 3 · 1.4826 · MAD flags index 5 only.
  const data = [25.0, 25.1, 25.0, 24.9, 25.1, 31.7, 25.0, 24.9, 25.1, 25.0, 25.1];

  it('flags index 5 only', () => {
    expect(spikes(data, { halfWindow: 3, width: 3, leastSigma: 0 })).toEqual([5]);
  });

  it('a flat sensor: nothing to judge by, unless the resolution is known', () => {
    const flat = [25, 25, 25, 25, 25.1, 25, 25, 29, 25, 25];
    expect(spikes(flat, { halfWindow: 3, width: 3, leastSigma: 0 })).toEqual([]);
    expect(spikes(flat, { halfWindow: 3, width: 3, leastSigma: 0.1 })).toEqual([7]);
  });
});

const against = (values: readonly number[]): Pair[] => values.map((y, i) => ({ x: i + 1, y }));
const nist = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

// NIST Statistical Reference Datasets, Norris (as reprinted in statistics-package certification tests): y, x.
const norris: Pair[] = [
  [0.1, 0.2], [338.8, 337.4], [118.1, 118.2], [888.0, 884.6], [9.2, 10.1], [228.1, 226.5], [668.5, 666.3], [998.5, 996.3], [449.1, 448.6], [778.9, 777.0], [559.2, 558.2],
  [0.3, 0.4], [0.1, 0.6], [778.1, 775.5], [668.8, 666.9], [339.3, 338.0], [448.9, 447.5], [10.8, 11.6], [557.7, 556.0], [228.3, 228.1], [998.0, 995.8], [888.8, 887.6],
  [119.6, 120.2], [0.3, 0.3], [0.6, 0.3], [557.6, 556.8], [339.3, 339.1], [888.0, 887.2], [998.5, 999.0], [778.9, 779.0], [10.2, 11.1], [117.6, 118.3], [228.9, 229.2],
  [668.4, 669.1], [449.2, 448.9], [0.2, 0.5],
].map(([y, x]) => ({ x: x ?? Number.NaN, y: y ?? Number.NaN }));

describe('Theil–Sen and Mann–Kendall', () => {
  // Teaching example after Helsel & Hirsch (from memory; arithmetic checked); intervals computed with scipy (check values §5.6).
  it('one wild value of seven does not move it', () => {
    const points = against([1, 2, 3, 4, 5, 16, 7]);
    const line = theilSen(points);
    expect(line).toMatchObject({ slope: 1, intercept: 0, pairs: 21 });
    expect([line?.low, line?.high]).toEqual([1, 3.5]);
    const trend = mannKendall(points);
    expect(trend.s).toBe(19);
    expect(trend.varianceS).toBeCloseTo(44.3333, 4);
    expect(trend.z).toBeCloseTo(2.70338, 5);
    expect(trend.tau).toBeCloseTo(0.904762, 6);
  });

  // The NIST EWMA data against 1..20, computed (check values §5.6); intercept after Conover.
  it('the NIST data', () => {
    const line = theilSen(against(nist));
    expect(line?.slope).toBeCloseTo(0.13541667, 8);
    expect(line?.intercept).toBeCloseTo(49.328125, 6);
    expect(line?.pairs).toBe(190);
    expect(line?.low).toBeCloseTo(-0.02857, 5);
    expect(line?.high).toBeCloseTo(0.28667, 5);
    const trend = mannKendall(against(nist));
    expect([trend.s, trend.varianceS]).toEqual([55, 947]);
    expect(trend.z).toBeCloseTo(1.754764, 6);
    expect(trend.tau).toBeCloseTo(0.291786, 6);
  });

  it('Norris, equal x skipped', () => {
    const line = theilSen(norris);
    expect(line?.slope).toBeCloseTo(1.0021968366, 9);
    expect(line?.intercept).toBeCloseTo(-0.0640158, 6);
    expect(line?.pairs).toBe(629);
  });

  it('one point is no line', () => {
    expect(theilSen([{ x: 1, y: 2 }])).toBeNull();
    expect(theilSen([{ x: 1, y: 2 }, { x: 1, y: 3 }])).toBeNull();
  });
});

describe('Huber regression', () => {
  const observations = norris.map(({ x, y }) => ({ x: [1, x], y }));

  // NIST Statistical Reference Datasets, Norris: certified values of least squares. Plain doubles keep ten digits of them through the normal equations.
  it('without tuning it is least squares: the certified values of Norris', () => {
    const fit = huber(observations, { tuning: Number.POSITIVE_INFINITY });
    const relative = (value: number | undefined, certified: number): number => Math.abs((value ?? Number.NaN) / certified - 1);
    expect(relative(fit?.coefficients[0], -0.262323073774029)).toBeLessThan(1e-9);
    expect(relative(fit?.coefficients[1], 1.00211681802045)).toBeLessThan(1e-12);
    expect(relative(Math.sqrt(fit?.covariance[0]?.[0] ?? Number.NaN), 0.232818234301152)).toBeLessThan(1e-9);
    expect(relative(Math.sqrt(fit?.covariance[1]?.[1] ?? Number.NaN), 0.429796848199937e-3)).toBeLessThan(1e-9);
    expect(relative(fit?.residualSigma, 0.884796396144373)).toBeLessThan(1e-9);
    expect(fit?.degrees).toBe(34);
  });

  // Least squares gives 1.714286 on this example (check values §5.6).
  it('bends less for a wild value than least squares', () => {
    const points = against([1, 2, 3, 4, 5, 16, 7]).map(({ x, y }) => ({ x: [1, x], y }));
    expect(huber(points, { tuning: Number.POSITIVE_INFINITY })?.coefficients[1]).toBeCloseTo(1.714286, 6);
    expect(huber(points, { leastSigma: 0.01 })?.coefficients[1]).toBeLessThan(1.1);
  });

  it('its 80 % interval holds the truth in about 80 % of the seeds, with one value in ten wild', () => {
    let seed = 3;
    const random = (): number => (seed = (Math.imul(seed, 1_664_525) + 1_013_904_223) >>> 0) / 2 ** 32;
    const normal = (): number => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
    let held = 0;
    const runs = 400;
    for (let run = 0; run < runs; run += 1) {
      const points = Array.from({ length: 40 }, (_, i) => ({ x: [1, i / 10], y: 2 + 3 * (i / 10) + normal() * (random() < 0.1 ? 8 : 1) }));
      const fit = huber(points);
      if (fit !== null && Math.abs((fit.coefficients[1] ?? Number.NaN) - 3) <= halfWidth(fit, 1, 0.8)) held += 1;
    }
    expect(held / runs).toBeGreaterThan(0.74);
    expect(held / runs).toBeLessThan(0.88);
  });

  it('a prior holds what data leave open, and gives way to data', () => {
    const prior = { precision: [[1 / 4, 0], [0, 1 / 0.01]], weighted: [10 / 4, 5 / 0.01] };
    const alike = Array.from({ length: 10 }, (_, i) => ({ x: [1, 2], y: 20 + (i % 2) }));
    expect(huber(alike)).toBeNull();
    const held = huber(alike, { prior });
    expect(held?.coefficients[1]).toBeCloseTo(5, 1);
    expect((held?.coefficients[0] ?? Number.NaN) + 2 * (held?.coefficients[1] ?? Number.NaN)).toBeCloseTo(20.5, 1);
    const varied = Array.from({ length: 200 }, (_, i) => ({ x: [1, i], y: 1 + 2 * i + (i % 3) * 0.01 }));
    expect(huber(varied, { prior })?.coefficients[1]).toBeCloseTo(2, 2);
  });

  it('says nothing of too few', () => {
    expect(huber([{ x: [1, 1], y: 1 }, { x: [1, 2], y: 2 }])).toBeNull();
    expect(huber([])).toBeNull();
  });
});
