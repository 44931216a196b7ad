/** A tank on the bench: every number given, the room held still. */
import type { Site } from '../../src/domain/fleet.ts';
import { SiteWorld } from '../../simulator/world/site.ts';
import { type TankDesign, TankWorld } from '../../simulator/world/tank.ts';

const site: Site = {
  id: 'bench', clientId: 'bench', name: 'Bench (invented)', timeZone: 'America/Denver', address: null, contacts: [], access: null, breaker: null,
  waterShutOff: null, topics: 'bench/', account: null, httpTokenEnv: null,
};

const plain: TankDesign = {
  id: 'bench-tank', water: 'reef', displayLitres: 200, sumpLitres: 0, displaySurfaceM2: 0.4, sumpSurfaceM2: 0, openShare: 0, displayLossWPerK: 0,
  sumpLossWPerK: 0, rockJPerK: 0, returnKgPerS: 0, drainBackKg: 0, topOffKgPerS: 0.02, floatPlayKg: 0.5, sumpHoldsLitres: 1e6, displayHoldsLitres: 1e6,
  skimKgPerDay: 0, salinity: 35, startC: 25,
};

/** Loses nothing to anybody unless the design says so. */
export function benchTank(design: Partial<TankDesign> = {}, roomC = 22): TankWorld {
  const world = new SiteWorld(site, 1, Date.UTC(2026, 0, 5, 12));
  world.roomC = roomC;
  world.supplyVolts = world.nominalVolts;
  return new TankWorld({ ...plain, ...design }, world);
}

export function run(tank: TankWorld, hours: number, eachStep: (second: number) => void = () => undefined, dtS = 10): void {
  for (let second = 0; second < hours * 3600; second += dtS) {
    tank.step(dtS);
    eachStep(second + dtS);
  }
}
