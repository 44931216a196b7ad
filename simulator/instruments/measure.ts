/** What a point's sensor stands in: the true value, in the canonical unit of its kind. */
import type { Fleet, Point } from '../../src/domain/fleet.ts';
import type { Appliance } from '../world/appliance.ts';
import { Light } from '../world/light.ts';
import type { SiteWorld } from '../world/site.ts';
import type { TankWorld } from '../world/tank.ts';
import { conductivity } from '../world/water.ts';
import type { World } from '../world/world.ts';

export type Measure = () => number;

/** @throws Error for a point that nothing in the simulated world answers to. */
export function measureOf(point: Point, fleet: Fleet, world: World): Measure {
  const site = world.site(point.siteId);
  if (point.tankId === null) return siteMeasure(point, site, [...world.tanks.values()].filter((tank) => tank.site === site));
  const tank = world.tank(point.tankId);
  const piece = point.equipmentId === null ? null : fleet.equipment.find((one) => one.id === point.equipmentId);
  const reservoir = piece?.kind === 'top-off-reservoir' ? world.reservoir(piece.id) : (tank.reservoirs.values().next().value ?? null);
  const appliance = point.equipmentId === null ? null : (tank.appliances.get(point.equipmentId) ?? null);
  const body = point.place === 'sump' || (point.place === 'equipment' && tank.hasSump) ? tank.sump : tank.display;
  const impossible = (): never => {
    throw new Error(`point ${point.id}: the simulator has nothing to measure ${point.kind} at place "${point.place}" with`);
  };
  switch (point.kind) {
    case 'temperature':
      if (point.place === 'room') return () => site.roomC;
      if (point.place === 'reservoir') return reservoir === null ? impossible() : () => reservoir.waterC;
      return () => (tank.probesOut ? site.roomC : body.waterC);
    case 'conductivity': return () => (tank.probesOut ? 0 : conductivity(body.salinity, body.waterC));
    case 'level':
      if (point.place === 'reservoir') return reservoir === null ? impossible() : () => reservoir.shareFull * reservoir.fullMm;
      return point.place === 'sump' ? () => tank.sumpLevelMm : () => tank.displayLevelMm;
    case 'fill': return reservoir === null ? impossible() : () => 100 * reservoir.shareFull;
    case 'volume': return point.place === 'reservoir' ? (reservoir === null ? impossible() : () => reservoir.waterKg) : () => body.litres;
    case 'power': return appliance === null ? () => tank.drawWatts : () => appliance.drawWatts;
    case 'current': return appliance === null ? () => amperes(site, tank.appliances.values()) : () => amperes(site, [appliance]);
    case 'energy': return appliance === null ? () => sum(tank.appliances.values(), (one) => one.energyKWh) : () => appliance.energyKWh;
    case 'voltage': return () => site.volts;
    case 'flow': return () => tank.returnFlow * 3600;
    case 'humidity': return () => site.humidityPercent;
    case 'acidity': return acidityOf(tank);
    case 'switch': return appliance === null ? switchAt(point, tank) : () => Number(appliance.running);
  }
}

function siteMeasure(point: Point, site: SiteWorld, tanks: readonly TankWorld[]): Measure {
  switch (point.kind) {
    case 'temperature': return () => site.roomC;
    case 'humidity': return () => site.humidityPercent;
    case 'voltage': return () => site.volts;
    case 'power': return () => sum(tanks, (tank) => tank.drawWatts);
    case 'switch': return () => (site.mainsLost ? 0 : 1);
    default: throw new Error(`point ${point.id}: the simulator has nothing to measure ${point.kind} of a whole site with`);
  }
}

/**
 * A switch without equipment. In the sump: a float, which closes at high water if the point's name says "high", and otherwise is that of the
 * top-off, which hangs when the sump wants water. Anywhere else: a leak pad on the floor.
 */
function switchAt(point: Point, tank: TankWorld): Measure {
  if (point.place !== 'sump') return () => Number(tank.padWet);
  return /high/i.test(point.id) ? () => Number(tank.sump.litres > HIGH_FLOAT_SHARE * tank.design.sumpHoldsLitres) : () => Number(tank.floatDown);
}

/** A high-water float hangs close under the rim. */
const HIGH_FLOAT_SHARE = 0.96;

function amperes(site: SiteWorld, appliances: Iterable<Appliance>): number {
  return site.volts <= 0 ? 0 : sum(appliances, (one) => one.drawWatts / (site.volts * one.powerFactor));
}

/** Higher by day where light drives photosynthesis; only good enough to look at. */
function acidityOf(tank: TankWorld): Measure {
  const resting = tank.design.water === 'fresh' ? 6.9 : 8.05;
  const lights = [...tank.appliances.values()].filter((one) => one instanceof Light);
  return () => resting + 0.12 * Math.sin(((tank.site.local.hour - 11) / 24) * 2 * Math.PI) * (lights.length > 0 ? 1 : 0.4);
}

function sum<Thing>(things: Iterable<Thing>, of: (thing: Thing) => number): number {
  let total = 0;
  for (const thing of things) total += of(thing);
  return total;
}
