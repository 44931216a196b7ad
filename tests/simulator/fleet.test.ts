/** The demo fleet itself: varied enough to show the product, and healthy when nothing is wrong. */
import { describe, expect, it } from 'vitest';
import { DAY, MINUTE } from '../../src/domain/duration.ts';
import { converter } from '../../src/domain/units.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { demoFleet } from './demo-fleet.ts';

const fleet = await demoFleet();

describe('the demo fleet', () => {
  it('is several clients with tanks of every kind of water', () => {
    expect(fleet.clients.length).toBeGreaterThanOrEqual(4);
    expect(fleet.sites.length).toBeGreaterThanOrEqual(5);
    expect(fleet.tanks.length).toBeGreaterThanOrEqual(7);
    expect(new Set(fleet.tanks.map(({ water }) => water))).toEqual(new Set(['reef', 'marine', 'fresh', 'cold']));
    const litres = fleet.tanks.map(({ displayLitres }) => displayLitres);
    expect([Math.min(...litres), Math.max(...litres)]).toEqual([150, 2500]);
    for (const { id } of fleet.tanks) {
      const count = fleet.points.filter(({ tankId }) => tankId === id).length;
      expect(count, id).toBeGreaterThanOrEqual(6);
      expect(count, id).toBeLessThanOrEqual(11);
    }
  });

  it('invents every client and person, and says so', () => {
    for (const { name } of [...fleet.clients, ...fleet.people]) expect(name).toMatch(/\(invented\)$/);
    for (const { email, phone } of fleet.people) {
      expect(email).toMatch(/@example\.invalid$/);
      expect(phone).toMatch(/^\+1 555 01\d\d$/);
    }
    expect(fleet.people.length).toBe(3);
  });

  // Bands: veterinary textbook Table 13.1 (24–28 °C reef, 22–26 °C fish-only marine), Hadfield ch. A2 (28–35 g/L), common practice for fresh and cold.
  it.each([['winter', Date.UTC(2026, 0, 5)], ['summer', Date.UTC(2026, 6, 6)]])('stays inside sane limits for 10 healthy days in %s', (_season, startMs) => {
    const bands = { reef: [24, 28], marine: [23.5, 27], fresh: [23, 28], cold: [11, 15] } as const;
    const scenario = makeScenario({ fleet, seed: 3, startMs, history: { untilMs: startMs + 10 * DAY, everyMs: 20 * MINUTE } });
    const points = new Map(fleet.points.map((point) => [point.id, point]));
    const tanks = new Map(fleet.tanks.map((tank) => [tank.id, tank]));
    let checked = 0;
    for (let day = 1; day <= 10; day += 1) {
      for (const { samples } of scenario.advance(startMs + day * DAY)) {
        for (const { pointId, value } of samples) {
          const point = points.get(pointId);
          if (point?.tankId == null) continue;
          const canonical = converter(point.kind, point.unit)?.(value) ?? Number.NaN;
          const water = tanks.get(point.tankId)?.water ?? 'reef';
          if (point.kind === 'temperature') {
            checked += 1;
            if (!(canonical > bands[water][0] && canonical < bands[water][1])) expect.fail(`${pointId} read ${canonical} °C`);
          }
          if (point.place === 'reservoir' && canonical <= 0) expect.fail(`${pointId} ran empty`);
        }
      }
    }
    expect(checked).toBeGreaterThan(5000);
    for (const tank of scenario.world.tanks.values()) {
      expect(Math.abs(tank.display.salinity / tank.design.salinity - 1), tank.id).toBeLessThan(0.03);
      // 0.5–1.5 % of the volume a day is common practice; warm, well covered and cold tanks lose less.
      const share = tank.ledger.evaporatedKg / 10 / tank.totalKg;
      expect(share, tank.id).toBeLessThan(0.015);
      if (tank.design.water !== 'cold') expect(share, tank.id).toBeGreaterThan(0.0035);
      const starts = [...tank.appliances.values()].filter((piece) => 'starts' in piece).map((piece) => Number(Reflect.get(piece, 'starts')));
      for (const count of starts) expect(count / (10 * 24), `${tank.id}: starts an hour`).toBeLessThan(6);
    }
  });
});
