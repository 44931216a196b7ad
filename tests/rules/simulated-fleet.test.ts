/**
 * The rules, all at their defaults, against the simulated fleet: a world integrated from conservation laws that shares no estimator with the rules,
 * seen through instruments with noise, offsets and dropouts. Healthy days must be quiet; a fault must be found, in time, and by nothing else.
 */
import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { converter } from '../../src/domain/units.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import { chillerShortCycling } from '../../simulator/faults/chiller-short-cycling.ts';
import type { Fault } from '../../simulator/faults/fault.ts';
import { heaterStuckOn } from '../../simulator/faults/heater-stuck-on.ts';
import { pumpStopped } from '../../simulator/faults/pump-stopped.ts';
import { reservoirRunsEmpty } from '../../simulator/faults/reservoir-runs-empty.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { demoFleet } from '../simulator/demo-fleet.ts';
import { Drive } from './drive.ts';

const fleet = { ...(await demoFleet()), ruleSettings: [] };
const rules = compileRules(fleet, await loadRuleKinds());
const startMs = Date.UTC(2026, 2, 2, 15);

/** Rule id → when its alarm would first open (breached for the on-delay), as time since `fromMs`. */
function alarms(fault: Fault | null, fromMs: number, toMs: number, seed: number): ReadonlyMap<string, number> {
  const scenario = makeScenario({ fleet, seed, startMs });
  const points = new Map(fleet.points.map((point) => [point.id, converter(point.kind, point.unit)]));
  const drives = rules.map((rule) => ({ rule, drive: new Drive(rule, startMs), sinceMs: null as number | null }));
  const listeners = new Map(fleet.points.map(({ id }) => [id, drives.filter(({ rule }) => [...rule.roles.values()].some((point) => point.id === id))]));
  const opened = new Map<string, number>();
  let begun = false;
  for (let untilMs = startMs; untilMs < toMs; untilMs += HOUR) {
    if (fault !== null && !begun && untilMs >= fromMs) {
      scenario.begin(fault);
      begun = true;
    }
    for (const { samples } of scenario.advance(untilMs + HOUR)) {
      for (const { pointId, atMs, value } of samples) {
        for (const watched of listeners.get(pointId) ?? []) {
          const canonical = points.get(pointId)?.(value);
          if (canonical === undefined) throw new Error(pointId);
          const { state } = watched.drive.reading(pointId, atMs, canonical);
          if (state === 'clear') watched.sinceMs = null;
          if (state !== 'breached') continue;
          watched.sinceMs ??= atMs;
          const { id, policy } = watched.rule;
          if (!opened.has(id) && atMs - watched.sinceMs >= policy.onDelayMs) opened.set(id, atMs - fromMs);
        }
      }
    }
  }
  return opened;
}

describe('the rules on a simulated fleet', () => {
  it('is quiet for four healthy days on all tanks, from the first hour on', () => {
    expect([...alarms(null, startMs, startMs + 4 * DAY, 1).keys()]).toEqual([]);
  }, 120_000);

  it('finds a heater stuck on within two hours, and hours before the water reaches its limit', () => {
    const opened = alarms(heaterStuckOn({ heaterId: 'bar-fresh/heater' }), startMs + DAY, startMs + DAY + 12 * HOUR, 3);
    expect([...opened.keys()].sort()).toEqual(['bar-fresh/heater-stuck-on/heater', 'bar-fresh/limit/display-temperature']);
    const foundMs = opened.get('bar-fresh/heater-stuck-on/heater') ?? Number.NaN;
    const limitMs = opened.get('bar-fresh/limit/display-temperature') ?? Number.NaN;
    expect(foundMs).toBeGreaterThan(0);
    expect(foundMs).toBeLessThan(2 * HOUR);
    expect(limitMs - foundMs).toBeGreaterThan(4 * HOUR);
  }, 120_000);

  it.each([
    ['a return pump that stopped, as soon as a feeding pause is ruled out', pumpStopped({ pumpId: 'atrium-marine/return-pump' }), 'atrium-marine/return-pump-stopped/return-pump', 15, 16],
    ['an empty reservoir', reservoirRunsEmpty({ reservoirId: 'marigold-marine/reservoir', leftLitres: 1 }), 'marigold-marine/top-off-empty/reservoir', 2, 10],
    ['a chiller whose relay chatters', chillerShortCycling({ chillerId: 'marigold-cold/chiller', shortestS: 20, longestS: 60 }), 'marigold-cold/chiller-short-cycling/chiller', 2, 30],
  ])('finds %s, and rings for nothing else', (_name, fault, ruleId, leastMinutes, mostMinutes) => {
    const opened = alarms(fault, startMs + DAY, startMs + DAY + 2 * HOUR, 3);
    expect([...opened.keys()]).toEqual([ruleId]);
    const minutes = (opened.get(ruleId) ?? Number.NaN) / MINUTE;
    expect(minutes).toBeGreaterThanOrEqual(leastMinutes);
    expect(minutes).toBeLessThanOrEqual(mostMinutes);
  }, 120_000);
});
