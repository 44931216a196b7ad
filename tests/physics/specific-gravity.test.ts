import { describe, expect, it } from 'vitest';
import { freezingPointC } from '../../src/physics/seawater.ts';
import { checkedDensityKgPerM3, referencePairs, salinityOfGravity, specificGravity } from '../../src/physics/specific-gravity.ts';

const sg = (salinity: number, pair: keyof typeof referencePairs): number => {
  const gravity = specificGravity(salinity, referencePairs[pair]);
  return gravity.known ? gravity.value : Number.NaN;
};
const back = (gravity: number, pair: keyof typeof referencePairs): number => {
  const salinity = salinityOfGravity(gravity, referencePairs[pair]);
  return salinity.known ? salinity.value : Number.NaN;
};

describe('specific gravity at the pair printed on the instrument', () => {
  // Computed from EOS-80 (UNESCO TP44 p. 17) with t as ITS-90: check values §2.2.
  it.each([
    [0, { '60/60 °F': 1, '20/20 °C': 1, '25/25 °C': 1, '20/4 °C': 0.99823, '25/4 °C': 0.99707, '77/60 °F': 0.99803 }],
    [20, { '60/60 °F': 1.01533, '20/20 °C': 1.01518, '25/25 °C': 1.01505, '20/4 °C': 1.01339, '25/4 °C': 1.01207, '77/60 °F': 1.01305 }],
    [35, { '60/60 °F': 1.02686, '20/20 °C': 1.0266, '25/25 °C': 1.02637, '20/4 °C': 1.02479, '25/4 °C': 1.02337, '77/60 °F': 1.02435 }],
  ])('S = %d', (salinity, row) => {
    for (const [pair, expected] of Object.entries(row)) {
      expect(Math.abs(sg(salinity, pair as keyof typeof referencePairs) - expected), pair).toBeLessThanOrEqual(5e-6 + 1e-12);
    }
  });

  // Computed: check values §2.2.
  it.each([['60/60 °F', 32.59], ['25/25 °C', 33.19], ['20/20 °C', 32.9]] as const)('1.025 at %s', (pair, salinity) => {
    expect(Math.abs(back(1.025, pair) - salinity)).toBeLessThanOrEqual(0.005 + 1e-9);
  });

  it('0.001 are about 1.32 in salinity at 25/25 (computed), and the two readings of "1.023" lie 4 apart', () => {
    expect(back(1.0265, '25/25 °C') - back(1.0255, '25/25 °C')).toBeCloseTo(1.32, 2);
    expect(back(1.02637, '25/25 °C') - back(1.02337, '25/25 °C')).toBeCloseTo(4, 1);
  });

  it('is its own inverse', () => {
    for (let salinity = 0.5; salinity < 42; salinity += 1.7) expect(back(sg(salinity, '20/4 °C'), '20/4 °C')).toBeCloseTo(salinity, 9);
  });

  it('says why there is no answer', () => {
    expect(salinityOfGravity(1.05, referencePairs['25/25 °C'])).toMatchObject({ known: false, why: expect.stringMatching(/specific gravity is 1\.05/) });
    expect(salinityOfGravity(0.99, referencePairs['25/25 °C']).known).toBe(false);
    expect(specificGravity(43, referencePairs['25/25 °C']).known).toBe(false);
    expect(checkedDensityKgPerM3(35, 41)).toMatchObject({ known: false, why: 'the water is 41 °C, and the formula holds from -2 to 40 °C' });
  });
});

// UNESCO TP44 p. 29.
it('S = 40 freezes at -2.588567 °C under 500 dbar', () => {
  expect(Math.abs(freezingPointC(40, 500) + 2.588567)).toBeLessThanOrEqual(5e-7 + 1e-12);
});
