/**
 * What a kind promises (`Quiet`) holds: the same readings lead to the same states, wake-ups, alarms, pages and verdicts whether the steps that it says cannot matter are left out or not.
 * Over a simulated life with a fault, and over what no tank does: levels that jump, silences, late and early stamps, wrong clocks, impossible values, gateways that come and go, alarms put aside,
 * hours in which nobody watched. The seed is printed with a failure.
 */
import { beforeAll, describe, expect, it } from 'vitest';
import { randomSequence, streamKey } from '../../simulator/random.ts';
import { makeTrial } from '../../simulator/trial.ts';
import { DAY, HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Fleet, Point } from '../../src/domain/fleet.ts';
import type { Kind } from '../../src/domain/kinds.ts';
import { BatchBuilder } from '../../src/engine/batch.ts';
import { Watch } from '../../src/engine/watch.ts';
import { compileRules, type RuleKinds } from '../../src/rules/compile.ts';
import type { Rule, RuleKind } from '../../src/rules/contract.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { LiveState } from '../../src/store/contract.ts';
import { fullTank } from '../rules/full-tank.ts';
import { type Fleets, loadFleets } from '../scorecard/fleets.ts';

const T0 = Date.UTC(2026, 2, 1);
const nothing: LiveState = { ruleStates: [], pointStates: [], statuses: [], openAlarms: [], latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, clocks: new Map(), calibrations: [], outages: [], aliveMs: null };

let kinds: RuleKinds;
let fleets: Fleets;
beforeAll(async () => {
  [kinds, fleets] = await Promise.all([loadRuleKinds(), loadFleets()]);
});

/** Both watch the same; the first leaves out what it may. */
class Pair {
  readonly #rules: readonly Rule[];
  readonly #watches: readonly Watch[];
  #into: readonly BatchBuilder[] = [new BatchBuilder(), new BatchBuilder()];
  /** Steps of each. */
  readonly steps = [0, 0] as [number, number];

  constructor(fleet: Fleet, rules: readonly Rule[]) {
    this.#rules = rules;
    const series = new Map(fleet.points.map(({ id }, index) => [id, index + 1]));
    this.#watches = [this.#counting(rules, 0), this.#counting(rules, 1)].map((of) => new Watch(fleet, of, series, nothing));
    this.do((watch, into) => watch.start(nothing, T0, into));
  }

  #counting(rules: readonly Rule[], at: 0 | 1): readonly Rule[] {
    return rules.map((rule): Rule => {
      const kind: RuleKind = {
        ...rule.kind,
        step: (state, input, context) => {
          this.steps[at] += 1;
          const step = rule.kind.step(state, input, context);
          return at === 0 ? step : { ...step, quiet: undefined };
        },
      };
      return { ...rule, kind };
    });
  }

  do(what: (watch: Watch, into: BatchBuilder) => void): void {
    for (const [index, watch] of this.#watches.entries()) {
      const into = this.#into[index];
      if (into !== undefined) what(watch, into);
    }
  }

  compare(when: string): void {
    const [told, untold] = this.#into.map((into) => into.build(0)).map((batch) => ({ ...batch, ruleStates: [...batch.ruleStates].sort((a, b) => (a.ruleId < b.ruleId ? -1 : 1)) }));
    expect(told, when).toEqual(untold);
    const [one, other] = this.#watches.map((watch) => this.#rules.map(({ id }) => watch.verdict(id)));
    expect(one, when).toEqual(other);
    this.#into = [new BatchBuilder(), new BatchBuilder()];
  }
}

const centres: Partial<Record<Kind, number>> = { temperature: 25.5, conductivity: 53, fill: 40, power: 80, current: 1, flow: 150, voltage: 120, level: 250 };

function unruly(seed: number): Pair {
  const rules = compileRules(fullTank, kinds);
  const pair = new Pair(fullTank, rules);
  const chance = randomSequence(streamKey(seed, 'quiet'));
  const calm = seed % 2 === 0;
  const levels = new Map<string, number>();
  const lags = new Map<string, number>();
  const offline = new Set<string>();
  let nowMs = T0;
  const levelOf = ({ id, kind }: Point): number => {
    const centre = centres[kind] ?? 0.5;
    const before = levels.get(id);
    const jumps = chance.uniform() < (calm ? 0.004 : 0.03);
    const level = kind === 'energy' ? (before ?? 100) + Math.round(chance.uniform() * 4) / 1000
      : before !== undefined && !jumps ? before : (kind === 'power' || kind === 'flow' || kind === 'switch') && chance.uniform() < 0.5 ? 0 : centre * (kind === 'temperature' ? 0.95 + chance.uniform() * 0.1 : 0.5 + chance.uniform());
    levels.set(id, level);
    return kind === 'switch' ? Math.round(level / centre / 2) : kind === 'energy' ? level : level * (1 + (chance.uniform() - 0.5) * 0.003);
  };
  for (let round = 0; round < (calm ? 2400 : 1200); round += 1) {
    nowMs += chance.uniform() < 0.003 ? Math.floor(chance.uniform() * 3 * HOUR) : MINUTE;
    for (const point of fullTank.points) {
      if (offline.has(point.id) && chance.uniform() < 0.9) continue;
      if (chance.uniform() < 0.01) continue;
      const arrivedMs = nowMs + Math.floor(chance.uniform() * 20 * SECOND);
      nowMs = Math.max(nowMs, arrivedMs - 15 * SECOND);
      if (chance.uniform() < 0.0005) lags.set(point.id, Math.floor((chance.uniform() - 0.5) * HOUR));
      if (chance.uniform() < 0.01) lags.delete(point.id);
      const jitterMs = chance.uniform() < 0.01 ? Math.floor((chance.uniform() - 0.8) * 6 * MINUTE) : 0;
      const atMs = arrivedMs + Math.min(jitterMs, MINUTE) - (lags.get(point.id) ?? 0);
      const value = chance.uniform() < 0.002 ? -1e6 : levelOf(point);
      pair.do((watch, into) => {
        watch.advance(nowMs, into);
        watch.sample({ pointId: point.id, atMs, value: point.kind === 'switch' && value < 0 ? 0 : value, unit: null }, nowMs, into);
      });
    }
    if (chance.uniform() < 0.004) {
      const isOnline = offline.size > 0;
      const pointIds = isOnline ? [...offline] : fullTank.points.filter(() => chance.uniform() < 0.3).map(({ id }) => id);
      offline.clear();
      if (!isOnline) for (const id of pointIds) offline.add(id);
      pair.do((watch, into) => {
        watch.advance(nowMs, into);
        watch.presence({ pointIds, state: isOnline ? 'online' : 'offline', atMs: nowMs, why: 'its gateway is offline', journal: null }, nowMs, into);
      });
    }
    if (chance.uniform() < 0.01) {
      const doubting = rules.filter(({ kind }) => kind.doubts !== undefined);
      const rule = doubting[Math.floor(chance.uniform() * doubting.length)];
      const untilMs = nowMs + Math.floor(chance.uniform() * 4 * HOUR);
      if (rule !== undefined) pair.do((watch, into) => void watch.command({ type: 'shelve', ruleId: rule.id, by: 'robin', why: 'a try', untilMs }, nowMs, into));
    }
    if (chance.uniform() < 0.002) {
      const fromMs = nowMs;
      nowMs += Math.floor(chance.uniform() * HOUR);
      pair.do((watch, into) => watch.resume(fromMs, nowMs, into));
    }
    if (round % 20 === 0) pair.compare(`seed ${seed}, round ${round}`);
  }
  return pair;
}

describe('a promise of quiet', () => {
  it('is made by every kind', () => {
    // Of a counter little can be promised.
    const metered: Fleet = { ...fullTank, points: fullTank.points.map((point) => (point.kind === 'energy' ? { ...point, kind: 'power' } : point)) };
    const rules = compileRules(metered, kinds);
    const promising = new Set<string>();
    for (const rule of rules) {
      const step = rule.kind.step;
      Object.assign(rule, { kind: { ...rule.kind, step: (...of: Parameters<typeof step>) => { const made = step(...of); if (made.quiet !== undefined) promising.add(rule.kind.kind); return made; } } });
    }
    expect(rules.length).toBeGreaterThan(0);
    const steady = new Pair(metered, rules);
    for (let nowMs = T0; nowMs < T0 + 5 * HOUR; nowMs += MINUTE) {
      for (const { id, kind } of metered.points) {
        const rests = kind === 'switch' || (kind === 'power' && !/pump-power|skimmer/.test(id)) || id.endsWith('top-off-power');
        const value = rests ? 0 : (centres[kind] ?? 0.5) + (kind === 'temperature' ? ((nowMs / MINUTE) % 3) / 100 : 0);
        steady.do((watch, into) => {
          watch.advance(nowMs, into);
          watch.sample({ pointId: id, atMs: nowMs, value, unit: null }, nowMs, into);
        });
      }
    }
    expect([...kinds.keys()].filter((kind) => !promising.has(kind))).toEqual([]);
  });

  it.each([1, 2, 3, 4])('changes nothing, whatever comes (seed %i)', { timeout: 60_000 }, (seed) => {
    const { steps: [told, untold] } = unruly(seed);
    expect(told).toBeLessThan(untold);
  });

  it.each(['large-reef', 'cold-marine'] as const)('changes nothing in the life of a tank (%s), and spares most steps', { timeout: 60_000 }, (tankKind) => {
    const { fleet, rules } = fleets.of(tankKind);
    const trial = makeTrial({ fleet, seed: 57, fault: 'mains-lost', settleMs: 2 * DAY, watchMs: 12 * HOUR, startMs: T0 });
    if (trial === null) throw new Error(`nothing to lose in ${tankKind}`);
    const pair = new Pair(fleet, rules);
    for (const slice of trial.run().slices(HOUR)) {
      for (const { arrivedMs, samples } of slice) {
        for (const { pointId, atMs, value } of samples) {
          pair.do((watch, into) => {
            watch.advance(arrivedMs, into);
            watch.sample({ pointId, atMs, value, unit: null }, arrivedMs, into);
          });
        }
      }
      pair.compare(`seed 57, until ${new Date(slice.at(-1)?.arrivedMs ?? 0).toISOString()}`);
    }
    const [told, untold] = pair.steps;
    expect(told).toBeLessThan(untold / 3);
  });
});
