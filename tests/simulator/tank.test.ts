import { describe, expect, it } from 'vitest';
import { randomSequence } from '../../simulator/random.ts';
import { Chiller } from '../../simulator/world/chiller.ts';
import { Heater } from '../../simulator/world/heater.ts';
import { Light } from '../../simulator/world/light.ts';
import { Motor } from '../../simulator/world/motor.ts';
import { Reservoir } from '../../simulator/world/reservoir.ts';
import type { TankDesign, TankWorld } from '../../simulator/world/tank.ts';
import { Thermostat } from '../../simulator/world/thermostat.ts';
import { benchTank, run } from './bench-tank.ts';

const GALLON = 3.785411784;

const thermostat = (calls: 'below' | 'above', setpointC: number, bandK: number, waterC: number): Thermostat =>
  new Thermostat({ calls, setpointC, bandK, lagS: 60, errorK: 0, waterC });

function heaterOf(watts: number, setpointC: number, waterC: number): Heater {
  return new Heater('bench-tank/heater', watts, 1, thermostat('below', setpointC, 0.3, waterC));
}

const whole: Partial<TankDesign> = {
  displayLitres: 850, sumpLitres: 150, displaySurfaceM2: 1.6, sumpSurfaceM2: 0.5, openShare: 0.8, displayLossWPerK: 35, sumpLossWPerK: 8, rockJPerK: 80_000,
  returnKgPerS: 1.1, drainBackKg: 18,
};

function equipped(): TankWorld {
  const tank = benchTank(whole, 20);
  tank.add(heaterOf(900, 25.5, 25));
  tank.add(new Motor('bench-tank/return-pump', 'return-pump', 90));
  tank.add(new Motor('bench-tank/stream', 'circulation-pump', 50));
  tank.add(new Light('bench-tank/light', 300, 9, 19));
  tank.add(new Motor('bench-tank/top-off-pump', 'top-off-pump', 12));
  tank.reservoirs.set('bench-tank/reservoir', new Reservoir('bench-tank/reservoir', 80, 400, 1));
  return tank;
}

describe('what is conserved', () => {
  it('heat in is heat stored and lost, within 0.1 %', () => {
    const tank = equipped();
    const before = tank.heatJ;
    run(tank, 72, (second) => {
      // A room that moves, and a pump that stops for an hour: balances hold through all of it.
      tank.site.roomC = 20 + 3 * Math.sin(second / 9000);
      const pump = tank.appliances.get('bench-tank/return-pump');
      if (pump instanceof Motor) pump.stopped = second > 40_000 && second < 43_600;
    });
    // Heat in from the electricity meters: all of the heater's, and the shares of pumps and lamps that reach the water (motor.ts, light.ts).
    const meter = (id: string): number => (tank.appliances.get(`bench-tank/${id}`)?.energyKWh ?? Number.NaN) * 3.6e6;
    const inJ = meter('heater') + 0.75 * meter('return-pump') + 0.9 * meter('stream') + 0.28 * meter('light') + tank.ledger.carriedInJ;
    const outJ = tank.ledger.lostToRoomJ + tank.ledger.latentJ + tank.ledger.carriedOutJ;
    const storedJ = tank.heatJ - before;
    expect(inJ).toBeGreaterThan(5e7);
    expect(Math.abs(inJ - outJ - storedJ) / inJ).toBeLessThan(0.001);
  });

  it('water and salt balance to rounding', () => {
    const tank = equipped();
    const { totalKg, saltKg } = tank;
    const reservoir = tank.reservoirs.get('bench-tank/reservoir');
    run(tank, 72);
    const { evaporatedKg, toppedOffKg } = tank.ledger;
    expect(evaporatedKg).toBeGreaterThan(10);
    expect(toppedOffKg).toBeGreaterThan(10);
    expect(tank.totalKg - (totalKg + toppedOffKg - evaporatedKg)).toBeCloseTo(0, 6);
    expect(tank.saltKg - saltKg).toBeCloseTo(0, 8);
    expect(reservoir?.waterKg).toBeCloseTo(80 - toppedOffKg, 6);
  });

  it('what is poured in or leaks out by hand is in the balance too', () => {
    const tank = equipped();
    const { totalKg, saltKg, heatJ } = tank;
    tank.pourIn(5, 20);
    expect(tank.takeOut(10, 'sump')).toBeCloseTo(10, 9);
    expect(tank.totalKg).toBeCloseTo(totalKg - 5, 9);
    expect(tank.saltKg).toBeLessThan(saltKg);
    expect(tank.heatJ - heatJ).toBeCloseTo(tank.ledger.carriedInJ - tank.ledger.carriedOutJ, 3);
  });
});

describe('heat', () => {
  // Newton's law for a tank: 200 US gal of S = 35 (860.3 Wh/K), UA = 50 W/K, from 26 °C in a 20 °C room (computed from T = Ta + (T0 − Ta)e^(−kt)):
  // 24 °C after 6.98 h, first-hour rate 0.349 K/h.
  const newton: Partial<TankDesign> = { displayLitres: 200 * GALLON, displayLossWPerK: 50, startC: 26 };

  it('cools as the analytic solution says', () => {
    const tank = benchTank(newton, 20);
    const tauH = (tank.display.kg * 3998) / 3600 / 50;
    expect(Math.abs(tauH / 17.2 - 1)).toBeLessThan(0.005);
    run(tank, 1);
    expect(26 - tank.display.waterC).toBeCloseTo(6 * (1 - Math.exp(-1 / tauH)), 3);
    run(tank, 5.98);
    expect(Math.abs(tank.display.waterC - 24)).toBeLessThan(0.01);
    expect(tank.display.waterC).toBeCloseTo(20 + 6 * Math.exp(-6.98 / tauH), 3);
  });

  // Same tank, 500 W without a stop, room 22 °C: towards 32 °C, from 26 to 28 °C in 6.98 h (computed, same law).
  it('with a heater stuck on goes towards its limit', () => {
    const tank = benchTank(newton, 22);
    const heater = heaterOf(500, 25.5, 26);
    heater.condition = 'stuck-on';
    tank.add(heater);
    run(tank, 6.98);
    expect(Math.abs(tank.display.waterC - 28)).toBeLessThan(0.01);
    run(tank, 300);
    expect(tank.display.waterC).toBeCloseTo(32, 2);
  });

  // Loss-free bounds at 300 W, K/h, computed from EOS-80 density and TP44 specific heat.
  it.each([
    [100, 0, 2.592], [200, 0, 1.296], [200, 35, 1.32], [100 * GALLON, 35, 0.697], [200 * GALLON, 35, 0.349], [300 * GALLON, 35, 0.232],
  ])('%d L of S = %d warm no faster than the bound', (displayLitres, salinity, boundKPerH) => {
    const heated = (design: Partial<TankDesign>): number => {
      const tank = benchTank({ displayLitres, salinity, ...design }, 20);
      const heater = heaterOf(300, 25, 25);
      heater.condition = 'stuck-on';
      tank.add(heater);
      run(tank, 1);
      return tank.display.waterC - 25;
    };
    expect(Math.abs(heated({}) / boundKPerH - 1)).toBeLessThan(0.005);
    expect(heated({ displayLossWPerK: 10, openShare: 1 })).toBeLessThan(boundKPerH);
  });

  it('a thermostat keeps the water within its band and a little lag', () => {
    const tank = equipped();
    run(tank, 24);
    let lowest = Infinity;
    let highest = -Infinity;
    let switches = 0;
    let was = false;
    run(tank, 48, () => {
      const { waterC } = tank.sump;
      lowest = Math.min(lowest, waterC);
      highest = Math.max(highest, waterC);
      const now = tank.appliances.get('bench-tank/heater')?.running ?? false;
      if (now !== was) switches += 1;
      was = now;
    });
    expect(switches).toBeGreaterThan(4);
    expect(lowest).toBeGreaterThan(25.5 - 0.3 - 0.15);
    expect(highest).toBeLessThan(25.5 + 0.3 + 0.15);
  });

  // P ∝ V²: 114 and 126 V on a 120 V nameplate give 0.9025 and 1.1025 (arithmetic).
  it.each([[114, 0.9025], [126, 1.1025]])('a heater at %d V', (volts, share) => {
    const tank = benchTank();
    const heater = heaterOf(300, 25, 25);
    heater.condition = 'stuck-on';
    tank.add(heater);
    tank.site.supplyVolts = volts;
    tank.step(10);
    expect(heater.drawWatts).toBeCloseTo(300 * share, 6);
  });

  it('a chiller rests three minutes between runs and takes out two to three times its draw', () => {
    const tank = benchTank({ displayLitres: 60, displayLossWPerK: 20, startC: 15 }, 30);
    const chiller = new Chiller('bench-tank/chiller', 400, thermostat('above', 14, 0.1, 15), randomSequence(1));
    tank.add(chiller);
    const rests: number[] = [];
    let offSince: number | null = null;
    let fullRatio = 0;
    run(tank, 24, (second) => {
      if (chiller.running && offSince !== null) {
        rests.push(second - offSince);
        offSince = null;
      } else if (!chiller.running && offSince === null && chiller.starts > 0) offSince = second;
      if (chiller.running) fullRatio = Math.max(fullRatio, chiller.coolingWatts / chiller.drawWatts);
    });
    expect(rests.length).toBeGreaterThan(10);
    expect(Math.min(...rests)).toBeGreaterThanOrEqual(180);
    expect(fullRatio).toBeGreaterThan(1.9);
    expect(fullRatio).toBeLessThan(3.2);
    expect(tank.display.waterC).toBeLessThan(14.6);
  });
});

describe('water', () => {
  it('stands in the sump what drains down when the return pump stops, and comes back', () => {
    const tank = equipped();
    run(tank, 1);
    const running = tank.sumpLevelMm;
    const pump = tank.appliances.get('bench-tank/return-pump');
    if (!(pump instanceof Motor)) throw new Error('no pump');
    pump.stopped = true;
    run(tank, 0.25);
    // 18 kg over 0.5 m² are 35 mm.
    expect(Math.abs(tank.sumpLevelMm - running - 35)).toBeLessThan(2);
    expect(tank.returnFlow).toBe(0);
    pump.stopped = false;
    run(tank, 0.25);
    expect(Math.abs(tank.sumpLevelMm - running)).toBeLessThan(4);
  });

  it('without circulation the display cools while the heater keeps the sump', () => {
    const tank = equipped();
    run(tank, 12);
    const pump = tank.appliances.get('bench-tank/return-pump');
    if (!(pump instanceof Motor)) throw new Error('no pump');
    expect(Math.abs(tank.display.waterC - tank.sump.waterC)).toBeLessThan(0.35);
    pump.stopped = true;
    run(tank, 6);
    expect(tank.sump.waterC - tank.display.waterC).toBeGreaterThan(0.5);
  });

  it('missing after evaporation shows in the sump, not in the display, and the salt gets stronger', () => {
    const tank = equipped();
    tank.reservoirs.clear();
    run(tank, 1);
    const sump = tank.sumpLevelMm;
    const display = tank.displayLevelMm;
    const { salinity } = tank.display;
    const { evaporatedKg } = tank.ledger;
    run(tank, 48);
    const lostKg = tank.ledger.evaporatedKg - evaporatedKg;
    // What left was fresh water; 0.5 m² of sump.
    expect(Math.abs((sump - tank.sumpLevelMm) / (lostKg / 0.5) - 1)).toBeLessThan(0.05);
    expect(Math.abs(display - tank.displayLevelMm)).toBeLessThan(1);
    expect(tank.display.salinity).toBeGreaterThan(salinity * (1 + (0.9 * lostKg) / tank.totalKg));
  });

  it('a dry reservoir gives nothing, and its pump runs light', () => {
    const tank = equipped();
    const reservoir = tank.reservoirs.get('bench-tank/reservoir');
    const pump = tank.appliances.get('bench-tank/top-off-pump');
    if (reservoir === undefined || pump === undefined) throw new Error('not equipped');
    let wet = 0;
    run(tank, 24, () => {
      wet = Math.max(wet, pump.drawWatts);
    });
    reservoir.setTo(0);
    run(tank, 24);
    const { toppedOffKg } = tank.ledger;
    run(tank, 12);
    expect(tank.ledger.toppedOffKg).toBe(toppedOffKg);
    expect(tank.floatDown).toBe(true);
    expect(pump.drawWatts).toBeGreaterThan(0);
    expect(pump.drawWatts).toBeLessThan(0.8 * wet);
  });
});
