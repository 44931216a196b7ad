/** Every site and tank of a fleet, stepped together. */
import type { Equipment, Fleet } from '../../src/domain/fleet.ts';
import { HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import { randomSequence, streamKey, uniformAt } from '../random.ts';
import type { Appliance } from './appliance.ts';
import { Chiller } from './chiller.ts';
import { designTank, usualC } from './design.ts';
import { Heater } from './heater.ts';
import { type Happening, Life } from './life.ts';
import { Light } from './light.ts';
import { Motor } from './motor.ts';
import { Reservoir } from './reservoir.ts';
import { calmSite, type SiteHabits, SiteWorld } from './site.ts';
import { TankWorld } from './tank.ts';
import { Thermostat } from './thermostat.ts';

/** The step of integration. */
export const STEP_MS = 10 * SECOND;

/** Counters of energy meters started here, so that one never begins at zero and grows whenever a run begins. */
const METERS_SINCE_MS = Date.UTC(2024, 0, 1);

/** Draw where the fleet file names no nameplate, W. */
const usualWatts: Record<Equipment['kind'], number> = {
  heater: 300, chiller: 400, 'return-pump': 60, 'circulation-pump': 30, 'top-off-pump': 12, 'top-off-reservoir': 0, skimmer: 30, light: 200, fan: 15, uv: 40, other: 20,
};
/** Share of the time each kind runs, for the start of its energy counter only. */
const usualDuty: Partial<Record<Equipment['kind'], number>> = { heater: 0.35, chiller: 0.25, light: 0.4, 'top-off-pump': 0.01 };

/**
 * `calm`: tanks are visited once a week and otherwise left alone. `messy`: people feed, open lids, pause pumps, change water, wipe probes and refill
 * when they think of it; afternoons are hot, weekends uncooled, doors open, and the mains blink. Nothing of it is a fault.
 */
export type Habits = 'calm' | 'messy';

const messySite: SiteHabits = { hotAfternoonShare: 0.35, hotAfternoonK: 2.5, weekendK: 1, draughtSpread: 0.03 };
/** Of all half hours, those in which the lamps flicker: once in three weeks. */
const BLINK_SHARE = 1 / 1000;
const BLINK_SLOT_MS = HOUR / 2;

export class World {
  readonly sites: ReadonlyMap<string, SiteWorld>;
  readonly tanks: ReadonlyMap<string, TankWorld>;
  readonly seed: number;
  nowMs: number;
  /** What people did, in order of planning; empty in a calm world. */
  readonly happenings: Happening[] = [];
  readonly #lives: readonly Life[];
  readonly #blinks: readonly { readonly site: SiteWorld; readonly key: number }[];

  constructor(fleet: Fleet, seed: number, startMs: number, habits: Habits = 'calm') {
    this.seed = seed;
    this.nowMs = startMs;
    const siteHabits = habits === 'messy' ? messySite : calmSite;
    this.sites = new Map(fleet.sites.map((site) => [site.id, new SiteWorld(site, seed, startMs, siteHabits)]));
    const tanks = fleet.tanks.map((tank): [string, TankWorld] => {
      const equipment = fleet.equipment.filter((piece) => piece.tankId === tank.id);
      const built = new TankWorld(designTank(tank, equipment, seed), found(this.sites, tank.siteId, 'site'));
      for (const piece of equipment) install(built, piece, seed, startMs);
      return [tank.id, built];
    });
    this.tanks = new Map(tanks);
    this.#lives = habits === 'messy' ? tanks.map(([, tank]) => new Life(tank, seed, this.happenings)) : [];
    this.#blinks = habits === 'messy' ? [...this.sites.values()].map((site) => ({ site, key: streamKey(seed, `blinks ${site.id}`) })) : [];
  }

  /** One `STEP_MS` forward. */
  step(): void {
    const dtS = STEP_MS / SECOND;
    const nextMs = this.nowMs + STEP_MS;
    for (const site of this.sites.values()) site.step(nextMs, dtS);
    for (const life of this.#lives) life.step(nextMs, dtS);
    for (const { site, key } of this.#blinks) site.blinking = blinks(key, nextMs);
    for (const tank of this.tanks.values()) tank.step(dtS);
    if (this.#lives.length === 0 && Math.floor(nextMs / HOUR) !== Math.floor(this.nowMs / HOUR)) for (const tank of this.tanks.values()) this.#visitIfDue(tank);
    this.nowMs = nextMs;
  }

  /** @throws Error naming what there is. So do all below. */
  site(id: string): SiteWorld {
    return found(this.sites, id, 'site');
  }

  tank(id: string): TankWorld {
    return found(this.tanks, id, 'tank');
  }

  tankOf(partId: string): TankWorld {
    return this.tank(partId.split('/')[0] ?? partId);
  }

  heater(id: string): Heater {
    return this.#appliance(id, 'heater', (piece) => piece instanceof Heater ? piece : null);
  }

  chiller(id: string): Chiller {
    return this.#appliance(id, 'chiller', (piece) => piece instanceof Chiller ? piece : null);
  }

  motor(id: string): Motor {
    return this.#appliance(id, 'pump', (piece) => piece instanceof Motor ? piece : null);
  }

  appliance(id: string): Appliance {
    return this.#appliance(id, 'appliance', (piece) => piece);
  }

  reservoir(id: string): Reservoir {
    return found(this.tankOf(id).reservoirs, id, 'reservoir');
  }

  #appliance<Piece>(id: string, word: string, as: (piece: Appliance) => Piece | null): Piece {
    const piece = as(found(this.tankOf(id).appliances, id, word));
    if (piece === null) throw new Error(`${id} is no ${word}`);
    return piece;
  }

  /** Every tank is visited once a week, on a working day of its own, between nine and three. */
  #visitIfDue(tank: TankWorld): void {
    const key = streamKey(this.seed, `visits ${tank.id}`);
    const { hour, weekday } = tank.site.local;
    if (weekday === 1 + Math.floor(5 * uniformAt(key, 1)) && Math.floor(hour) === 9 + Math.floor(6 * uniformAt(key, 2))) tank.visit();
  }
}

/** Is this one of the ten to thirty seconds in which the mains are away, in a slot that has such? */
function blinks(key: number, atMs: number): boolean {
  const slot = Math.floor(atMs / BLINK_SLOT_MS);
  if (uniformAt(key, slot) >= BLINK_SHARE) return false;
  const beginMs = slot * BLINK_SLOT_MS + uniformAt(key ^ 1, slot) * (BLINK_SLOT_MS - MINUTE);
  return atMs >= beginMs && atMs < beginMs + (10 + 20 * uniformAt(key ^ 2, slot)) * SECOND;
}

function install(tank: TankWorld, piece: Equipment, seed: number, startMs: number): void {
  const key = streamKey(seed, `equipment nature ${piece.id}`);
  const watts = piece.nameplateWatts ?? usualWatts[piece.kind];
  const waterC = tank.design.startC;
  const thermostat = (calls: 'below' | 'above', defaultC: number): Thermostat =>
    new Thermostat({ calls, setpointC: piece.setpointC ?? defaultC, bandK: piece.bandK ?? 0.5, lagS: 60, errorK: 0.1 * (uniformAt(key, 1) - 0.5), waterC });
  if (piece.kind === 'top-off-reservoir') {
    tank.reservoirs.set(piece.id, new Reservoir(piece.id, piece.capacityLitres ?? 40, piece.fullMm ?? 400, 0.5 + 0.5 * uniformAt(key, 2)));
    return;
  }
  const appliance = ((): Appliance => {
    switch (piece.kind) {
      case 'heater': return new Heater(piece.id, watts, 0.96 + 0.06 * uniformAt(key, 3), thermostat('below', usualC[tank.design.water]));
      case 'chiller': return new Chiller(piece.id, watts, thermostat('above', usualC[tank.design.water] + 1), randomSequence(key));
      case 'light': return new Light(piece.id, watts, 8 + 2 * uniformAt(key, 4), 18.5 + 2 * uniformAt(key, 5));
      case 'fan': return new Motor(piece.id, 'fan', watts, piece.setpointC === null ? null : thermostat('above', piece.setpointC));
      default: return new Motor(piece.id, piece.kind, watts);
    }
  })();
  appliance.energyKWh = Math.max(0, (startMs - METERS_SINCE_MS) / HOUR) * (watts / 1000) * (usualDuty[piece.kind] ?? 0.92);
  appliance.circuit = piece.circuit;
  tank.add(appliance);
}

function found<Thing>(map: ReadonlyMap<string, Thing>, id: string, word: string): Thing {
  const thing = map.get(id);
  if (thing === undefined) throw new Error(`no ${word} "${id}" in the simulated fleet; there are: ${[...map.keys()].join(', ')}`);
  return thing;
}
