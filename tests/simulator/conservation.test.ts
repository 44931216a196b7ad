/** Whatever people and faults do to a tank, energy, water and salt are accounted for, close to rounding. */
import { expect, it } from 'vitest';
import { DAY, HOUR } from '../../src/domain/duration.ts';
import { faultKinds } from '../../simulator/faults/all.ts';
import { chanceOf, Target } from '../../simulator/faults/target.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { tankKinds } from '../../simulator/tank-kinds.ts';
import { listed, type Occurrence } from '../../simulator/timetable.ts';
import { specificHeat } from '../../simulator/world/water.ts';
import { trialFleet } from './trial-fleet.ts';

const startMs = Date.UTC(2026, 6, 6);

it.each(tankKinds)('%s: ten messy days with one fault after the other', (kind) => {
  const fleet = trialFleet(kind);
  const target = new Target(fleet, 'tank');
  const faults = faultKinds.flatMap(({ name, plan }) => plan(target, chanceOf(7, name)) ?? []);
  const occurrences: Occurrence[] = faults.map((fault, index) => ({ fault, beginMs: startMs + DAY + index * 6 * HOUR, endMs: startMs + DAY + index * 6 * HOUR + 9 * HOUR }));
  const scenario = makeScenario({ fleet, seed: 7, startMs, habits: 'messy', timetable: listed(occurrences) });
  const tank = scenario.world.tank('tank');
  const before = { heatJ: tank.heatJ, kg: tank.totalKg, saltKg: tank.saltKg, energies: [...tank.appliances.values()].map(({ energyKWh }) => energyKWh) };
  const reservoirs = [...tank.reservoirs.values()].map((reservoir) => ({ reservoir, kg: reservoir.waterKg }));
  scenario.skip(startMs + 10 * DAY);

  const { ledger } = tank;
  // Something has crossed every border that this kind of tank has.
  expect(ledger.evaporatedKg).toBeGreaterThan(0.5);
  expect(ledger.lostKg).toBeGreaterThan(2);
  expect(Math.abs(ledger.byHandKg) + Math.abs(ledger.byHandSaltKg)).toBeGreaterThan(0.1);
  if (reservoirs.length > 0) expect(ledger.toppedOffKg).toBeGreaterThan(3);
  expect(scenario.world.happenings.length).toBeGreaterThan(8);

  expect(Math.abs(tank.totalKg - before.kg - (ledger.toppedOffKg + ledger.byHandKg - ledger.evaporatedKg - ledger.lostKg)) / before.kg).toBeLessThan(1e-11);
  expect(Math.abs(tank.saltKg - before.saltKg - (ledger.byHandSaltKg - ledger.lostSaltKg)) / before.saltKg).toBeLessThan(1e-11);
  const inJ = ledger.applianceJ + ledger.carriedInJ;
  const outJ = ledger.lostToRoomJ + ledger.latentJ + ledger.carriedOutJ;
  expect(Math.abs(tank.heatJ - before.heatJ - (inJ - outJ)) / before.heatJ).toBeLessThan(1e-11);
  for (const { reservoir, kg } of reservoirs) expect(reservoir.waterKg).toBeCloseTo(kg + reservoir.filledKg - ledger.toppedOffKg, 6);

  // Against what the ledger did not write: heat stored in the water by its own temperature, and no more from appliances than their meters turned.
  const heatPerKgK = specificHeat(tank.design.salinity);
  const waterJ = tank.display.kg * heatPerKgK * tank.display.waterC + (tank.hasSump ? tank.sump.kg * heatPerKgK * tank.sump.waterC : 0);
  expect(Math.abs(tank.heatJ - waterJ) / tank.heatJ).toBeLessThan(0.05);
  const meteredJ = [...tank.appliances.values()].reduce((sum, { energyKWh }, index) => sum + (energyKWh - (before.energies[index] ?? 0)) * 3.6e6, 0);
  expect(ledger.applianceJ).toBeLessThan(meteredJ);
  expect(tank.display.kg).toBeGreaterThan(0);
  expect(tank.sump.kg).toBeGreaterThan(0);
});
