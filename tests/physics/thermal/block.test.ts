import { describe, expect, it } from 'vitest';
import { type Block, type OpenBlock, pack, type Sample, takeSample, unpack } from '../../../src/physics/thermal/block.ts';

const MINUTE = 60_000;
const HOUR = 60 * MINUTE;
const quiet: Omit<Sample, 'atMs'> = { waterC: 25, roomC: 21, humidityPercent: null, heaterWatts: 0, chillerWatts: 0, lightWatts: 0, disturbed: false };

function feed(hours: readonly [number, number], everyMin: number, of: (hour: number) => Partial<Sample> | null, open: OpenBlock | null = null) {
  const blocks: Block[] = [];
  let now = open;
  for (let atMs = hours[0] * HOUR; atMs < hours[1] * HOUR; atMs += everyMin * MINUTE) {
    const sample = of(atMs / HOUR);
    if (sample === null) continue;
    const step = takeSample(now, { ...quiet, atMs, ...sample });
    now = step.open;
    if (step.closed !== null) blocks.push(step.closed);
  }
  return { open: now, blocks };
}

describe('the heat balance of a quarter day', () => {
  it('means, and the rise from end to end', () => {
    // A heater of 300 W, 20 min of each hour; the water rises by 0.1 K/h.
    const { blocks } = feed([0, 19], 2, (hour) => ({ heaterWatts: hour % 1 < 1 / 3 - 1e-9 ? 300 : 0, waterC: 25 + 0.1 * hour, roomC: 21 + 0.1 * hour, humidityPercent: 40 }));
    // The first block has no block before it.
    expect(blocks.map(({ fromMs }) => fromMs / HOUR)).toEqual([6, 12]);
    const [block] = blocks;
    expect(block?.heaterWatts).toBeCloseTo(100, 1);
    expect(block?.riseK).toBeCloseTo(0.6, 3);
    expect(block?.waterC).toBeCloseTo(25.9, 1);
    expect(block?.roomC).toBeCloseTo(21.9, 1);
    expect(block?.humidityPercent).toBe(40);
  });

  it('is the same at any cadence', () => {
    const at = (everyMin: number) => feed([0, 13], everyMin, (hour) => ({ heaterWatts: Math.floor(hour * 3) % 2 === 0 ? 300 : 0, waterC: 25 + 0.1 * hour })).blocks[0];
    expect(at(0.25)?.heaterWatts).toBeCloseTo(at(2)?.heaterWatts ?? Number.NaN, 0);
    expect(at(5)?.heaterWatts).toBeCloseTo(at(2)?.heaterWatts ?? Number.NaN, 0);
    expect(at(0.25)?.riseK).toBeCloseTo(at(5)?.riseK ?? Number.NaN, 1);
  });

  it('a silence of an hour, a water temperature that is not known, or a visit leaves the block out, and only it', () => {
    const hours = (of: (hour: number) => Partial<Sample> | null) => feed([0, 25], 2, of).blocks.map(({ fromMs }) => fromMs / HOUR);
    expect(hours(() => ({}))).toEqual([6, 12, 18]);
    expect(hours((hour) => (hour > 13 && hour < 14.2 ? null : {}))).toEqual([6, 18]);
    expect(hours((hour) => ({ waterC: hour > 13 && hour < 14.2 ? null : 25 }))).toEqual([6, 18]);
    expect(hours((hour) => ({ disturbed: hour > 13 && hour < 13.1 }))).toEqual([6, 18]);
    // Nobody knows where the water stood when the second began.
    expect(hours((hour) => (hour > 11 && hour < 12.2 ? null : {}))).toEqual([18]);
    expect(hours((hour) => (hour > 5 && hour < 12.1 ? null : {}))).toEqual([18]);
  });

  it('a room that is not measured is not known, never taken for zero', () => {
    const { blocks } = feed([0, 13], 2, () => ({ roomC: null }));
    expect(blocks[0]?.roomC).toBeNull();
    expect(blocks[0]?.humidityPercent).toBeNull();
  });

  it('late, repeated and idle samples come back as they were', () => {
    const { open } = feed([0, 1], 2, () => ({}));
    if (open === null) throw new Error('nothing is open');
    expect(takeSample(open, { ...quiet, atMs: 30 * MINUTE }).open).toBe(open);
    expect(takeSample(open, { ...quiet, atMs: open.last.atMs + 30_000, waterC: 25.1 }).open).toBe(open);
    expect(takeSample(open, { ...quiet, atMs: open.last.atMs + 30_000, heaterWatts: 300 }).open).not.toBe(open);
    expect(takeSample(open, { ...quiet, atMs: open.last.atMs + 30_000, disturbed: true }).open.disturbed).toBe(true);
  });

  it('packs and unpacks', () => {
    const { blocks } = feed([0, 13], 2, () => ({ humidityPercent: 41 }));
    const [block] = blocks;
    if (block === undefined) throw new Error('no block');
    expect(unpack(pack(block))).toEqual(block);
  });
});
