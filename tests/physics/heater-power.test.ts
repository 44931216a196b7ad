import { expect, it } from 'vitest';
import { soundHeaterWatts, wattsAtVoltage } from '../../src/physics/heater-power.ts';

// P ∝ V² (computed, check values §7.2).
it.each([[114, 0.9025], [126, 1.1025], [110, 0.8403], [127, 1.1201]])('at %d V on a 120 V nameplate: %d of nominal', (volts, share) => {
  expect(Math.abs(wattsAtVoltage(1, 120, volts) - share)).toBeLessThanOrEqual(5e-5 + 1e-12);
});

// IEC 60335-1 Table 1 (from memory) with ANSI C84.1 Range A service voltage (from memory): computed in check values §7.2.
it('a sound heater of 300 W may truthfully draw about 244 to 353 W', () => {
  const { lowWatts, highWatts } = soundHeaterWatts(300, 120, 114, 126);
  expect(lowWatts).toBeCloseTo(244, 0);
  expect(highWatts).toBeCloseTo(353, 0);
});

it('tolerances by size (IEC 60335-1, from memory)', () => {
  expect(soundHeaterWatts(25, 120, 120, 120)).toEqual({ lowWatts: null, highWatts: 30 });
  expect(soundHeaterWatts(200, 120, 120, 120).highWatts).toBeCloseTo(220, 9);
  expect(soundHeaterWatts(1000, 120, 120, 120)).toEqual({ lowWatts: 900, highWatts: 1050 });
});
