/**
 * What people do at a tank that is well: feed, pause pumps meanwhile, visit, change water, wipe probes, refill. Planned day by day from the tank's own
 * stream of chance. How often and how long is common practice, no source.
 */
import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import { normalAt, streamKey, uniformAt } from '../random.ts';
import type { Motor } from './motor.ts';
import type { TankWorld } from './tank.ts';

export interface Happening {
  readonly what: 'feeding' | 'visit' | 'refill';
  readonly tankId: string;
  readonly beginMs: number;
  readonly endMs: number;
}

/** Something that lasts: begun once, run every step while it lasts, ended once. */
interface Deed {
  readonly beginMs: number;
  readonly endMs: number;
  begin(): void;
  during?(dtS: number): void;
  end(): void;
}

/** Draws addressed by day and number, so that one habit changes no other. */
type Draw = (number: number) => number;
const DRAWS_A_DAY = 64;

export class Life {
  readonly #tank: TankWorld;
  readonly #happenings: Happening[];
  readonly #key: number;
  readonly #visitDay: number;
  readonly #visitHour: number;
  readonly #pausesPump: boolean;
  #planned = -1;
  #waiting: Deed[] = [];
  #running: Deed[] = [];

  constructor(tank: TankWorld, seed: number, happenings: Happening[]) {
    this.#tank = tank;
    this.#happenings = happenings;
    this.#key = streamKey(seed, `life ${tank.id}`);
    const nature = streamKey(seed, `visits ${tank.id}`);
    this.#visitDay = 1 + Math.floor(5 * uniformAt(nature, 1));
    this.#visitHour = 9 + Math.floor(6 * uniformAt(nature, 2));
    this.#pausesPump = tank.hasSump && uniformAt(nature, 3) < 0.4;
  }

  step(nowMs: number, dtS: number): void {
    const day = Math.floor(this.#tank.site.local.dayOfYear);
    if (day !== this.#planned) {
      this.#planned = day;
      this.#planDay(nowMs);
    }
    if (this.#waiting.length === 0 && this.#running.length === 0) return;
    const due = this.#waiting.filter(({ beginMs }) => beginMs <= nowMs);
    if (due.length > 0) {
      this.#waiting = this.#waiting.filter(({ beginMs }) => beginMs > nowMs);
      for (const deed of due) deed.begin();
      this.#running.push(...due);
    }
    for (const deed of this.#running) {
      if (deed.endMs <= nowMs) deed.end();
      else deed.during?.(dtS);
    }
    if (this.#running.some(({ endMs }) => endMs <= nowMs)) this.#running = this.#running.filter(({ endMs }) => endMs > nowMs);
  }

  #planDay(nowMs: number): void {
    const { hour, weekday } = this.#tank.site.local;
    const midnightMs = nowMs - hour * HOUR;
    const day = Math.round(midnightMs / (24 * HOUR));
    const draw: Draw = (number) => uniformAt(this.#key, day * DRAWS_A_DAY + number);
    const at = (localHour: number): number => midnightMs + localHour * HOUR;
    const visitMs = at(this.#visitHour + draw(0));
    if (weekday === this.#visitDay && visitMs > nowMs) this.#visit(visitMs, draw, day);
    else {
      if (at(9 + 2 * draw(1)) > nowMs) this.#feed(at(9 + 2 * draw(1)), draw(2));
      if (draw(3) < 0.5 && at(16 + 2 * draw(4)) > nowMs) this.#feed(at(16 + 2 * draw(4)), draw(5));
      if (at(10 + 6 * draw(6)) > nowMs) this.#refillIfLow(at(10 + 6 * draw(6)), 0.3 + 0.3 * draw(7));
    }
  }

  #feed(beginMs: number, chance: number): void {
    const tank = this.#tank;
    const endMs = beginMs + (3 + 5 * chance) * MINUTE;
    this.#tell('feeding', beginMs, endMs);
    this.#plan({ beginMs, endMs, begin: () => void (tank.lidOpen = true), end: () => void (tank.lidOpen = false) });
    if (this.#pausesPump) this.#switchOff(this.#motors('return-pump'), beginMs, beginMs + (6 + 4 * chance) * MINUTE);
  }

  /** The people of the house see a reservoir that is half empty, and pour some in. */
  #refillIfLow(beginMs: number, share: number): void {
    const endMs = beginMs + 2 * MINUTE;
    this.#plan({
      beginMs, endMs,
      begin: () => {
        for (const reservoir of this.#tank.reservoirs.values()) {
          if (reservoir.forgotten || reservoir.shareFull > 0.5) continue;
          this.#tell('refill', beginMs, endMs);
          reservoir.setTo(Math.min(reservoir.capacityKg, reservoir.waterKg + share * reservoir.capacityKg));
        }
      },
      end: () => undefined,
    });
  }

  /** A technician: equipment off, hands in, every other week some water changed, reservoir filled. */
  #visit(beginMs: number, draw: Draw, day: number): void {
    const tank = this.#tank;
    const lastsMs = (25 + 35 * draw(10)) * MINUTE;
    const endMs = beginMs + lastsMs;
    // Mostly as long as it takes; now and then everything stays off until the bag is packed.
    const offMs = draw(11) < 0.25 ? lastsMs - 4 * MINUTE : (6 + 6 * draw(11)) * MINUTE;
    this.#tell('visit', beginMs, endMs);
    this.#plan({ beginMs, endMs, begin: () => void (tank.lidOpen = true), end: () => void (tank.lidOpen = false) });
    const offAtMs = beginMs + 2 * MINUTE;
    this.#switchOff([...tank.appliances.values()].filter(({ kind }) => kind !== 'light' && kind !== 'chiller'), offAtMs, offAtMs + offMs);
    if (draw(12) < 0.5) this.#plan({ beginMs: offAtMs, endMs: offAtMs + (2 + 2 * draw(13)) * MINUTE, begin: () => void (tank.probesOut = true), end: () => void (tank.probesOut = false) });
    if (Math.floor(day / 7) % 2 === 0) this.#changeWater(offAtMs + MINUTE, offMs - 2 * MINUTE, 0.05 + 0.05 * draw(14), normalAt(this.#key, day * DRAWS_A_DAY + 15), normalAt(this.#key, day * DRAWS_A_DAY + 17));
    const filledMs = endMs - 3 * MINUTE;
    this.#plan({ beginMs: filledMs, endMs, begin: () => tank.visit(), end: () => undefined });
  }

  /** Out over the first half, in over the second, mixed and warmed about right and aimed at what is missing. */
  #changeWater(beginMs: number, lastsMs: number, share: number, warmth: number, mixing: number): void {
    const tank = this.#tank;
    const { design } = tank;
    const halfS = lastsMs / 2000;
    let wantedKg = 0;
    let takenKg = 0;
    let returnedKg = 0;
    let salinity = design.salinity;
    this.#plan({
      beginMs, endMs: beginMs + lastsMs / 2,
      begin: () => {
        wantedKg = share * tank.totalKg;
      },
      during: (dtS) => {
        takenKg += tank.takeOut(Math.min(wantedKg - takenKg, (wantedKg * dtS) / halfS), 'display');
      },
      end: () => {
        const short = 2 * (design.salinity - tank.display.salinity);
        if (design.salinity > 5) salinity = design.salinity + Math.max(-1.5, Math.min(1.5, short)) + 0.2 * mixing;
      },
    });
    const pour = (kg: number): void => {
      tank.pourIn(kg, design.startC + 0.7 * warmth, salinity, 'display');
      returnedKg += kg;
    };
    this.#plan({
      beginMs: beginMs + lastsMs / 2, endMs: beginMs + lastsMs,
      begin: () => undefined,
      during: (dtS) => pour(Math.min(takenKg - returnedKg, (takenKg * dtS) / halfS)),
      end: () => pour(takenKg - returnedKg),
    });
  }

  #switchOff(appliances: readonly { unplugged: boolean }[], beginMs: number, endMs: number): void {
    const set = (unplugged: boolean) => (): void => {
      for (const appliance of appliances) appliance.unplugged = unplugged;
    };
    this.#plan({ beginMs, endMs, begin: set(true), end: set(false) });
  }

  #motors(kind: Motor['kind']): readonly { unplugged: boolean }[] {
    return [...this.#tank.appliances.values()].filter((appliance) => appliance.kind === kind);
  }

  #plan(deed: Deed): void {
    this.#waiting.push(deed);
  }

  #tell(what: Happening['what'], beginMs: number, endMs: number): void {
    this.#happenings.push({ what, tankId: this.#tank.id, beginMs, endMs });
  }
}
