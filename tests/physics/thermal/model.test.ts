/**
 * The thermal model against tanks of known truth, integrated by `house.ts`: offsets, noise and tenths of a kelvin in the probes, lights that nobody measures,
 * evaporation by its own formula, weekends, weather. None of the figures of the model was chosen with the seeds used here.
 */
import { beforeAll, describe, expect, it } from 'vitest';
import type { Known } from '../../../src/physics/known.ts';
import { unpack } from '../../../src/physics/thermal/block.ts';
import { fitThermal, type ThermalFit } from '../../../src/physics/thermal/fit.ts';
import { expectedDuty, expectedRate, hoursUntil, restingTemperature } from '../../../src/physics/thermal/forecast.ts';
import type { Situation } from '../../../src/physics/thermal/likely-tanks.ts';
import { fitMemory, rememberSample, thermalStart, type ThermalMemory } from '../../../src/physics/thermal/memory.ts';
import { likelyCapacityWhPerK, type ThermalFacts } from '../../../src/physics/thermal/prior.ts';
import { anyHouse, type House, measure, type Mode, Random, Run } from './house.ts';

const LIKELY = 800;
const SEEDS = Array.from({ length: 40 }, (_, i) => 20_001 + i);

interface Lived {
  readonly seed: number;
  readonly house: House;
  readonly run: Run;
  readonly facts: ThermalFacts;
  readonly memory: ThermalMemory;
  readonly random: Random;
}

function live(seed: number, days: number, options: { room?: boolean; linear?: boolean; topOff?: boolean; change?: Partial<House> } = {}): Lived {
  const { room = true, linear = false, topOff = false, change = {} } = options;
  const random = new Random(seed);
  const house = { ...anyHouse(random, LIKELY, linear), ...change };
  const run = new Run(house, new Random(seed + 50_000));
  const instruments = new Random(seed + 90_000);
  // 28.2 W for each litre a day; the difference of vapour pressures is 2.2 kPa or so.
  const litres = topOff ? ((house.evaporationWPerPa * 2170) / 28.2) * (1 + 0.1 * random.normal()) : null;
  const facts = { capacityWhPerK: LIKELY, pumpWatts: house.pumpWatts, insulated: false, evaporationLitresPerDay: litres, roomMeasured: room };
  let memory = thermalStart;
  const endH = days * 24 + random.within(0, 24);
  for (let minute = 0; run.hour < endH; minute += 1) {
    const now = run.step('normal');
    if (minute % 2 === 0) memory = rememberSample(memory, measure(now, house, instruments, { room, light: false }), facts);
  }
  return { seed, house, run, facts, memory, random };
}

function value<T>(known: Known<T>): T {
  if (!known.known) throw new Error(known.why);
  return known.value;
}
const fitOf = ({ memory, facts }: Lived): ThermalFit => value(fitMemory(memory, facts));
const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1] ?? Number.NaN;
const share = (flags: readonly boolean[]): number => flags.filter(Boolean).length / flags.length;

function situation(lived: Lived, waterC: number, roomC: number, atH: number, mode: Mode): Situation {
  const { house, random } = lived;
  // One reading of each, as in `measure`: noise and tenths.
  const tenths = (celsius: number): number => Math.round(celsius * 10) / 10;
  return {
    atMs: Math.round(atH * 3_600_000),
    waterC: tenths(waterC + house.waterOffsetK + 0.04 * random.normal()),
    roomC: tenths(roomC + house.roomOffsetK + 0.1 * random.normal()),
    heaterWatts: mode === 'outage' ? 0 : house.heaterWatts,
    chillerWatts: 0,
    lightWatts: 0,
    pumpsRun: mode !== 'outage',
  };
}

interface Score {
  readonly error: number;
  readonly held: boolean;
}

/** Forecasts of one tank, made at a share of the way, against what then happened. */
function forecasts(lived: Lived, fit: ThermalFit, wayDone: number): Score[] {
  const scores: Score[] = [];
  for (const mode of ['outage', 'heater-stuck'] as const) {
    const { house, random } = lived;
    const limitC = mode === 'outage' ? house.setpointC - random.within(2, 3) : house.setpointC + random.within(2, 3.5);
    const future = lived.run.fork(lived.seed + 777);
    const startH = future.hour;
    const path: { waterC: number; roomC: number }[] = [];
    while (path.length < 72 * 60 && (mode === 'outage' ? future.waterC > limitC : future.waterC < limitC)) {
      path.push({ waterC: future.waterC, roomC: future.roomC });
      future.step(mode);
    }
    // Some rooms are too warm, and some heaters too weak: then there is no hour to forecast.
    if (path.length >= 72 * 60) continue;
    const done = Math.floor(wayDone * path.length);
    const here = path[done];
    const start = path[0];
    if (here === undefined || start === undefined) continue;
    const from = situation(lived, start.waterC, start.roomC, startH, mode);
    const now = situation(lived, here.waterC, here.roomC, startH + done / 60, mode);
    const known = hoursUntil(fit, done === 0 ? now : { ...now, seen: { hours: done / 60, fromC: from.waterC } }, mode === 'outage' ? 'below' : 'above', limitC + house.waterOffsetK);
    const truth = (path.length - done) / 60;
    const { value: likely, low, high } = value(known);
    scores.push({ error: Math.abs(likely / truth - 1), held: truth >= low && truth <= high });
  }
  return scores;
}

describe('a fortnight of forty tanks', () => {
  let tanks: { readonly lived: Lived; readonly fit: ThermalFit }[] = [];
  beforeAll(() => {
    tanks = SEEDS.map((seed) => live(seed, 14)).map((lived) => ({ lived, fit: fitOf(lived) }));
  });

  it('the loss is found within 20 % in most, and lies in its 80 % range in at least about as many as that says', () => {
    const known = tanks.filter(({ fit }) => fit.doubt === null);
    expect(known.length).toBeGreaterThanOrEqual(34);
    // By how much the loss changes with a kelvin of the water: walls, and 200 Pa/K around 26 °C.
    const truth = ({ house }: Lived): number => house.wallWPerK + house.evaporationWPerPa * 200;
    const errors = known.map(({ lived, fit }) => Math.abs(fit.lossWPerK.value / truth(lived) - 1));
    expect(median(errors)).toBeLessThan(0.1);
    expect(share(errors.map((error) => error < 0.2))).toBeGreaterThan(0.85);
    const held = share(known.map(({ lived, fit }) => fit.lossWPerK.low <= truth(lived) && truth(lived) <= fit.lossWPerK.high));
    // Evaporation is only known beforehand to a half, so the range is rather too wide than too narrow.
    expect(held).toBeGreaterThan(0.75);
    // A range that says nothing would hold everything.
    expect(median(known.map(({ fit }) => (fit.lossWPerK.high - fit.lossWPerK.low) / fit.lossWPerK.value))).toBeLessThan(0.5);
  });

  it('the heat capacity, too, though the volumes were off by as much as 14 %', () => {
    const errors = tanks.map(({ lived, fit }) => fit.capacityWhPerK.value / lived.house.capacityWhPerK - 1);
    expect(median(errors.map(Math.abs))).toBeLessThan(0.06);
    expect(share(tanks.map(({ lived, fit }) => fit.capacityWhPerK.low <= lived.house.capacityWhPerK && lived.house.capacityWhPerK <= fit.capacityWhPerK.high))).toBeGreaterThan(0.7);
  });

  // The aim of the scorecard: made one third of the way there, median error <= 20 %, and the 80 % range covers 75-90 %.
  it('forecasts of an outage and of a stuck heater, one third of the way there', () => {
    const scores = tanks.flatMap(({ lived, fit }) => forecasts(lived, fit, 1 / 3));
    expect(scores.length).toBeGreaterThan(60);
    expect(median(scores.map(({ error }) => error))).toBeLessThan(0.2);
    const held = share(scores.map((score) => score.held));
    // These tanks are the balance itself. The range also allows for what a real one has beside it (`MODEL_ERROR`), so here it holds more than four in five; that the aim is met is the scorecard's to say.
    expect(held).toBeGreaterThanOrEqual(0.8);
    expect(held).toBeLessThanOrEqual(0.98);
  });

  it('forecasts at the moment it begins', () => {
    const scores = tanks.flatMap(({ lived, fit }) => forecasts(lived, fit, 0));
    expect(median(scores.map(({ error }) => error))).toBeLessThan(0.2);
    expect(share(scores.map((score) => score.held))).toBeGreaterThanOrEqual(0.75);
  });

  it('the duty of the heater of the next day', () => {
    const errors = tanks.map(({ lived, fit }) => {
      const next = lived.run.fork(lived.seed + 333);
      let on = 0;
      let room = 0;
      let water = 0;
      for (let minute = 0; minute < 24 * 60; minute += 1) {
        const now = next.step('normal');
        on += now.heaterWatts > 0 ? 1 : 0;
        room += now.roomC;
        water += now.waterC;
      }
      const minutes = 24 * 60;
      const { house } = lived;
      // The mean room of the day is put in as the room of a moment: its usual course is taken out by asking for each quarter.
      const asked = [0, 6, 12, 18].map((hour) => {
        const atMs = (Math.floor(next.hour / 24) * 24 + hour) * 3_600_000;
        const usual = fit.roomBySlotC[hour / 6] ?? Number.NaN;
        const mean = fit.roomBySlotC.reduce((sum: number, one) => sum + (one ?? Number.NaN), 0) / 4;
        const roomC = room / minutes + house.roomOffsetK + usual - mean;
        return value(expectedDuty(fit, { atMs, waterC: water / minutes + house.waterOffsetK, roomC, chillerWatts: 0, lightWatts: 0 }, house.heaterWatts)).value;
      });
      return Math.abs(asked.reduce((sum, one) => sum + one, 0) / 4 - on / minutes);
    });
    // A day may begin and end anywhere in the half kelvin of the thermostat: that alone is up to 0.5 · 800 Wh / 24 h / 600 W = 0.028.
    expect(median(errors)).toBeLessThan(0.028);
    expect(Math.max(...errors)).toBeLessThan(0.12);
  });

  it('the rate at which it warms with the heater on, and that it tells a heater of half the power', () => {
    const rates = tanks.map(({ lived, fit }) => {
      const next = lived.run.fork(lived.seed + 444);
      next.waterC = lived.house.setpointC - 1;
      const before = next.waterC;
      const { roomC } = next;
      const asked = value(expectedRate(fit, situation(lived, before, roomC, next.hour, 'heater-stuck')));
      for (let minute = 0; minute < 60; minute += 1) next.step('heater-stuck');
      return { asked, truth: next.waterC - before };
    });
    expect(median(rates.map(({ asked, truth }) => Math.abs(asked.value / truth - 1)))).toBeLessThan(0.1);
    expect(share(rates.map(({ asked, truth }) => truth >= asked.low * 0.9))).toBeGreaterThan(0.9);
    expect(share(rates.map(({ asked, truth }) => truth / 2 < asked.low))).toBeGreaterThan(0.95);
  });

  it('its memory stays below 6 kB of JSON, and is the same after a restart', () => {
    for (const { lived } of tanks.slice(0, 5)) {
      const text = JSON.stringify(lived.memory);
      expect(text.length).toBeLessThan(6000);
      const again: unknown = JSON.parse(text);
      expect(again).toEqual(lived.memory);
    }
  });
});

describe('what helps and what is lacking', () => {
  it('a measured top-off narrows the range, and it is true to its word: about 80 %', () => {
    const tanks = SEEDS.map((seed) => live(seed + 5000, 14, { topOff: true })).map((lived) => ({ lived, fit: fitOf(lived) }));
    const truth = ({ house }: Lived): number => house.wallWPerK + house.evaporationWPerPa * 200;
    const held = share(tanks.map(({ lived, fit }) => fit.lossWPerK.low <= truth(lived) && truth(lived) <= fit.lossWPerK.high));
    expect(held).toBeGreaterThan(0.7);
    expect(held).toBeLessThan(0.98);
    expect(median(tanks.map(({ fit }) => (fit.lossWPerK.high - fit.lossWPerK.low) / 2 / fit.lossWPerK.value))).toBeLessThan(0.16);
  });

  it('without a room probe the loss is in doubt, and says why; forecasts still hold', () => {
    const tanks = SEEDS.slice(0, 24).map((seed) => live(seed + 6000, 14, { room: false })).map((lived) => ({ lived, fit: fitOf(lived) }));
    expect(tanks[0]?.fit.doubt).toMatch(/the room is not measured/);
    const scores = tanks.flatMap(({ lived, fit }) => forecasts(lived, fit, 1 / 3));
    expect(median(scores.map(({ error }) => error))).toBeLessThan(0.25);
    expect(share(scores.map(({ held }) => held))).toBeGreaterThan(0.75);
  });

  it('too little data is refused with a reason', () => {
    const lived = live(7, 2);
    expect(fitMemory(lived.memory, lived.facts)).toEqual({ known: false, why: expect.stringMatching(/\d+ undisturbed quarter days of readings are there, and 12 are needed/) });
  });

  it('a room that never changes leaves the loss in doubt', () => {
    const doubts = SEEDS.slice(0, 6).map((seed) => fitOf(live(seed, 14, { change: { officeK: 0, weekendK: 0, weatherK: 0 } })).doubt);
    expect(doubts.filter((doubt) => doubt !== null).length).toBeGreaterThanOrEqual(4);
    expect(doubts.find((doubt) => doubt !== null)).toMatch(/differed too evenly/);
  });

  it('a disturbed quarter day is left out: one is not enough to fool the fit', () => {
    const { memory, facts } = live(11, 10);
    const clean = value(fitMemory(memory, facts));
    const wild = memory.blocks.map(unpack).map((block, i) => (i % 10 === 3 ? { ...block, riseK: block.riseK - 2.5 } : block));
    const robust = value(fitThermal(wild, null, facts));
    expect(Math.abs(robust.lossWPerK.value / clean.lossWPerK.value - 1)).toBeLessThan(0.15);
  });

  it('a chiller: what it takes out for each watt', () => {
    // A warm room, a tank kept cool.
    const lived = live(21, 14, { change: { roomBaseC: 28.5, setpointC: 24.5, chillerWatts: 320, weekendK: -1.5 } });
    const fit = fitOf(lived);
    expect(fit.chilling.low).toBeLessThan(2.4);
    expect(fit.chilling.high).toBeGreaterThan(2.4);
    expect(Math.abs(fit.chilling.value - 2.4)).toBeLessThan(0.7);
  });
});

it('forgets slowly: a tank that lost its lid is followed, and forty days are remembered in the same space', () => {
  const facts: ThermalFacts = { capacityWhPerK: LIKELY, pumpWatts: 80, insulated: false, evaporationLitresPerDay: null, roomMeasured: true };
  const house = { ...anyHouse(new Random(31), LIKELY, true), wallWPerK: 35 };
  const instruments = new Random(33);
  let memory = thermalStart;
  let run = new Run(house, new Random(32));
  const go = (current: Run, days: number): void => {
    const end = current.hour + days * 24;
    for (let minute = 0; current.hour < end; minute += 1) {
      const now = current.step('normal');
      if (minute % 2 === 0) memory = rememberSample(memory, measure(now, current.house, instruments, { room: true, light: false }), facts);
    }
  };
  go(run, 40);
  const before = value(fitMemory(memory, facts));
  expect(memory.past).not.toBeNull();
  expect(Math.abs(before.lossWPerK.value / 35 - 1)).toBeLessThan(0.15);
  const size = JSON.stringify(memory).length;
  const changed = new Run({ ...house, wallWPerK: 50 }, new Random(34));
  changed.hour = run.hour;
  changed.waterC = run.waterC;
  run = changed;
  go(run, 5);
  const soon = value(fitMemory(memory, facts)).lossWPerK.value;
  go(run, 60);
  const late = value(fitMemory(memory, facts)).lossWPerK.value;
  expect(late).toBeGreaterThan(soon);
  expect(late).toBeGreaterThan(41);
  expect(JSON.stringify(memory).length).toBeLessThan(size * 1.2);
});

describe('forecasts, the simplest case by hand', () => {
  it('rests where the balance closes, and is there already where the limit is', () => {
    const lived = live(3, 14, { linear: true });
    const fit = fitOf(lived);
    const off = { ...situation(lived, 26, 21, 400, 'outage'), roomSdK: 0 };
    const rest = value(restingTemperature(fit, off));
    expect(rest.value).toBeGreaterThan(18);
    expect(rest.value).toBeLessThan(24);
    expect(value(hoursUntil(fit, off, 'below', off.waterC))).toEqual({ value: 0, low: 0, high: 0 });
    // Beyond it, it is not "never" but now.
    expect(value(hoursUntil(fit, off, 'below', off.waterC + 1)).value).toBe(0);
    expect(value(hoursUntil(fit, off, 'above', off.waterC + 1)).value).toBe(Number.POSITIVE_INFINITY);
    expect(value(hoursUntil(fit, off, 'below', 10)).value).toBe(Number.POSITIVE_INFINITY);
  });

  it('asks for what it needs', () => {
    const lived = live(3, 14);
    const fit = fitOf(lived);
    const off = situation(lived, 26, 21, 400, 'outage');
    expect(hoursUntil(fit, { ...off, roomC: null }, 'below', 24)).toEqual({ known: false, why: 'the temperature of the room is not known' });
    expect(hoursUntil(fit, { ...off, waterC: Number.NaN }, 'below', 24).known).toBe(false);
    expect(expectedDuty(fit, off, 0)).toEqual({ known: false, why: 'the power of the heater is not known' });
  });

  it('the likely capacity: 93 % of the display, 66 % of the sump, in seawater (common practice)', () => {
    // 200 US gal of seawater hold 860.3 Wh/K (check values §4.5).
    expect(likelyCapacityWhPerK((200 * 3.785411784) / 0.93, 0, 35, 25)).toBeCloseTo(860.3, 1);
    expect(likelyCapacityWhPerK(0, (200 * 3.785411784) / 0.66, 35, 25)).toBeCloseTo(860.3, 1);
  });
});
