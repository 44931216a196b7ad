/** A messy life is a healthy one: people come and go, and the water stays what it should be. */
import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { tankKinds, type TankKind } from '../../simulator/tank-kinds.ts';
import { makeTrial } from '../../simulator/trial.ts';
import { trialFleet } from './trial-fleet.ts';

/** Well inside of where livestock is at risk (common practice; see `src/rules/water.ts` for limits at which anybody is paged). */
const bandsC: Readonly<Record<TankKind, readonly [number, number]>> = { 'small-reef': [24, 28], 'large-reef': [23.8, 27], 'planted-fresh': [23, 28], 'cold-marine': [12, 15] };

function live(kind: TankKind, seed: number, startMs: number, days: number) {
  const trial = makeTrial({ fleet: trialFleet(kind), seed, fault: null, startMs, settleMs: 0, watchMs: days * DAY });
  if (trial === null) throw new Error(kind);
  const run = trial.run();
  const tank = run.scenario.world.tank('tank');
  return { run, tank, startMs: trial.startMs };
}

describe('a messy life', () => {
  it.each(tankKinds.flatMap((kind) => ([[kind, 'winter', Date.UTC(2026, 0, 5), 1], [kind, 'summer', Date.UTC(2026, 6, 13), 2]] as const)))(
    'of %s in %s keeps within its bands (start %d, seed %d)',
    (kind, _season, startMs, seed) => {
      const { run, tank } = live(kind, seed, startMs, 15);
      const [lowC, highC] = bandsC[kind];
      for (let atMs = run.scenario.nowMs + HOUR; atMs <= startMs + 15 * DAY; atMs += HOUR) {
        run.scenario.skip(atMs);
        const { waterC, salinity } = tank.display;
        if (!(waterC > lowC && waterC < highC)) expect.fail(`${waterC} °C at ${new Date(run.scenario.nowMs).toISOString()}`);
        if (tank.design.water !== 'fresh' && Math.abs(salinity / tank.design.salinity - 1) > 0.03) expect.fail(`salinity ${salinity}, filled with ${tank.design.salinity}`);
        for (const { shareFull } of tank.reservoirs.values()) if (shareFull < 0.25) expect.fail(`reservoir at ${shareFull}`);
        if (tank.padWet) expect.fail('wet floor');
      }
      const { happenings } = run;
      const count = (what: string): number => happenings.filter((one) => one.what === what).length;
      expect(count('visit')).toBeGreaterThanOrEqual(2);
      expect(count('visit')).toBeLessThanOrEqual(3);
      expect(count('feeding')).toBeGreaterThan(10);
      for (const { beginMs, endMs } of happenings) {
        expect(endMs - beginMs).toBeGreaterThanOrEqual(2 * MINUTE);
        expect(endMs - beginMs).toBeLessThanOrEqual(60 * MINUTE);
      }
    },
  );

  it('shows in the readings: equipment off and lids open at a visit, water changed, probes wiped, the gateway away for minutes', () => {
    const { run, tank, startMs } = live('large-reef', 4, Date.UTC(2026, 2, 2), 21);
    const power = new Map<number, number>();
    const arrivals: number[] = [];
    let dry = 0;
    let changedKg = 0;
    let lidOpen = 0;
    for (const slice of run.slices(5 * MINUTE)) {
      for (const { arrivedMs, samples } of slice) {
        arrivals.push(arrivedMs);
        for (const { pointId, value } of samples) {
          if (pointId === 'tank/return-pump-power') power.set(arrivedMs, value);
          if (pointId === 'tank/conductivity' && value < 20) dry += 1;
        }
      }
      if (tank.lidOpen) lidOpen += 1;
      changedKg = Math.max(changedKg, tank.missingKg);
    }
    const visits = run.happenings.filter(({ what }) => what === 'visit');
    const off = [...power].filter(([, value]) => value === 0).map(([atMs]) => atMs);
    for (const { beginMs, endMs } of visits) expect(off.filter((atMs) => atMs > beginMs && atMs < endMs).length).toBeGreaterThanOrEqual(4);
    expect(lidOpen).toBeGreaterThan(20);
    expect(dry).toBeGreaterThan(0);
    expect(dry).toBeLessThan(30);
    // Five to ten percent of it were out; looked at every five minutes, the most is not always seen.
    expect(changedKg / tank.totalKg).toBeGreaterThan(0.03);
    expect(changedKg / tank.totalKg).toBeLessThan(0.12);
    const gaps = arrivals.slice(1).map((atMs, index) => atMs - (arrivals[index] ?? startMs)).filter((gapMs) => gapMs > 55_000);
    expect(gaps.length).toBeGreaterThan(1);
    expect(Math.max(...gaps)).toBeLessThan(5 * MINUTE);
  });

  it('is hotter on some summer afternoons and at weekends than a calm one, and the air is never still', () => {
    const room = (habits: 'calm' | 'messy'): { readonly hottest: number; readonly evaporatedKg: number } => {
      const trial = makeTrial({ fleet: trialFleet('planted-fresh'), seed: 6, fault: null, startMs: Date.UTC(2026, 6, 6), settleMs: 0, watchMs: 8 * DAY, habits });
      const run = trial?.run();
      let hottest = 0;
      for (const _slice of run?.slices(HOUR) ?? []) hottest = Math.max(hottest, run?.scenario.world.site('trial-site').roomC ?? 0);
      return { hottest, evaporatedKg: run?.scenario.world.tank('tank').ledger.evaporatedKg ?? 0 };
    };
    const [calm, messy] = [room('calm'), room('messy')];
    expect(messy.hottest - calm.hottest).toBeGreaterThan(0.5);
    expect(messy.evaporatedKg).not.toBeCloseTo(calm.evaporatedKg, 2);
  });
});
