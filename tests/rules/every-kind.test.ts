/** What holds for every rule kind, whatever is fed to it. The seed is printed with a failure. */
import { beforeAll, describe, expect, it } from 'vitest';
import type { Kind } from '../../src/domain/kinds.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { firstChecksOf } from '../../src/rules/advice.ts';
import { compileRules, type RuleKinds } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import { restoreState } from '../../src/rules/step.ts';
import { stepRule } from './step-rule.ts';
import { Drive, T0 } from './drive.ts';
import { fullTank } from './full-tank.ts';
import { fleet } from './fleet.ts';

let kinds: RuleKinds;
let rules: readonly Rule[];
beforeAll(async () => {
  kinds = await loadRuleKinds();
  rules = compileRules(fullTank, kinds);
});

/** mulberry32: a small seeded generator of numbers in [0, 1). */
function random(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
}

interface Fed {
  readonly pointId: string;
  readonly atMs: number;
  readonly value: number | null;
}

/** Stretches of steady, noisy and wild values, with silences, impossible values and equal times, over about two days; every other seed is calmer, over four. */
function course(rule: Rule, seed: number): readonly Fed[] {
  const next = random(seed);
  const points = [...rule.roles.values()];
  const fed: Fed[] = [];
  const level = new Map<string, number>();
  let atMs = T0;
  for (let index = 0; index < 1500; index += 1) {
    const point = points[Math.floor(next() * points.length)];
    if (point === undefined) return [];
    const calm = seed % 2 === 0;
    atMs += next() < (calm ? 0.002 : 0.01) ? Math.floor(next() * 6 * 3_600_000) : Math.floor(next() * (calm ? 480_000 / points.length : 60_000));
    const value = calm ? slow(point.kind, level.get(point.id) ?? null, next) : wild(point.kind, level.get(point.id) ?? null, next);
    level.set(point.id, value.level);
    fed.push({ pointId: point.id, atMs, value: next() < 0.01 ? null : value.shown });
  }
  return fed;
}

/** A counter that counts and now and then starts afresh; other kinds: a level that jumps at times, off one time in six, with 2 % of noise. */
function wild(kind: Kind, before: number | null, next: () => number): { readonly level: number; readonly shown: number } {
  if (kind === 'energy') {
    const level = next() < 0.005 ? 0 : (before ?? 100) + Math.round(next() * 4) / 1000;
    return { level, shown: level };
  }
  const centre = centres[kind] ?? 0.5;
  const level = before !== null && next() > 0.05 ? before : next() < 0.1 ? centre * (next() * 40 - 20) : centre * (0.2 + next() * 1.6);
  const off = (kind === 'power' || kind === 'flow') && next() < 1 / 6;
  return { level, shown: off ? 0 : level * (1 + (next() - 0.5) * 0.02) };
}

/** A level that stays for hours, and is then another one or none. */
function slow(kind: Kind, before: number | null, next: () => number): { readonly level: number; readonly shown: number } {
  if (kind === 'energy') return wild(kind, before, next);
  const centre = centres[kind] ?? 0.5;
  const isTemperature = kind === 'temperature';
  const level = before !== null && next() > 0.006 ? before : next() < 0.5 && !isTemperature ? 0 : centre * (isTemperature ? 0.92 + next() * 0.12 : 0.8 + next() * 0.4);
  return { level, shown: level * (1 + (next() - 0.5) * (isTemperature ? 0.001 : 0.004)) };
}

const centres: Partial<Record<Kind, number>> = { temperature: 25.8, conductivity: 53, fill: 15, power: 80, current: 1, flow: 150, voltage: 120, level: 250 };

/** Kinds that need many whole days before they answer, or a steady world; their own tests reach every answer. */
const takesWeeks: ReadonlySet<string> = new Set([
  'chiller-losing-capacity', 'chiller-not-cooling', 'heater-at-limit', 'heater-not-heating', 'salinity-drift', 'temperature-drift', 'temperature-forecast', 'temperature-swing',
  'circuit-lost', 'frozen-value', 'impossible-value', 'leak', 'pump-draw-shifted', 'sensors-disagree', 'spikes', 'sump-high', 'sump-low', 'top-off-consumption', 'top-off-failed', 'wrong-clock',
]);

/** Silence is an answer to these. */
const neverInDoubt: ReadonlySet<string> = new Set(['silent-point', 'silent-gateway', 'wrong-clock']);

/** Verdicts after every input; restarts where `restartAt` says so. */
function verdicts(rule: Rule, fed: readonly Fed[], restartAt: (index: number) => boolean): readonly string[] {
  const drive = new Drive(rule, T0);
  return fed.map(({ pointId, atMs, value }, index) => {
    if (restartAt(index)) drive.restart();
    const silent = JSON.stringify(drive.until(atMs - 1));
    if (value === null) drive.impossible(pointId, atMs);
    else drive.reading(pointId, atMs, value);
    if (drive.wakeAtMs !== null && drive.wakeAtMs <= atMs) throw new Error(`${rule.id} asks to be woken in the past`);
    if (JSON.stringify(drive.state).length > 4096) throw new Error(`the state of ${rule.id} has outgrown 4 KB`);
    return `${silent}\n${JSON.stringify(drive.verdict)}`;
  });
}

describe('every rule kind', () => {
  it('is exercised here, without anything missing', () => {
    expect(new Set(rules.map(({ kind }) => kind.kind))).toEqual(new Set(kinds.keys()));
    expect(rules.filter(({ missing }) => missing !== null)).toEqual([]);
  });

  it('never throws, and gives the same verdicts wherever it is stopped and started from its stored state', () => {
    const seen = new Map<string, Set<string>>();
    for (const rule of rules) {
      for (let seed = 1; seed <= 4; seed += 1) {
        const fed = course(rule, seed);
        const straight = verdicts(rule, fed, () => false);
        const coin = random(seed * 7919);
        expect(verdicts(rule, fed, () => true), `${rule.id}, seed ${seed}, restarted before every input`).toEqual(straight);
        expect(verdicts(rule, fed, () => coin() < 0.02), `${rule.id}, seed ${seed}, restarted now and then`).toEqual(straight);
        for (const verdict of straight.join('\n').split('\n')) {
          const states = seen.get(rule.kind.kind) ?? new Set();
          seen.set(rule.kind.kind, states.add((JSON.parse(verdict) as { state: string }).state));
        }
      }
    }
    // The courses are wild enough to reach every answer, but for those that take days of steady readings, or more than readings; some kinds are never in doubt.
    const report = [...seen].filter(([kind, states]) => !takesWeeks.has(kind) && [...states].sort().join() !== (neverInDoubt.has(kind) ? 'breached,clear' : 'breached,clear,unknown')).map(([kind, states]) => `${kind}: ${[...states].sort().join()}`);
    expect(report).toEqual([]);
  });

  it('does not shout `NaN`, `undefined` or a stale number', () => {
    for (const rule of rules) {
      const text = verdicts(rule, course(rule, 11), () => false).join('\n');
      expect(text, rule.id).not.toMatch(/NaN|undefined|Infinity|-\d[\d.]* [A-Z]+ above|null/);
    }
  });

  it('keeps the same state object when the same input comes again', () => {
    for (const rule of rules) {
      const point = [...rule.roles.entries()][0];
      if (point === undefined) continue;
      const [role, { id }] = point;
      const readings = { latest: (pointId: string) => (pointId === id ? { atMs: T0, value: 1 } : null), previous: () => ({ atMs: T0 - 1000, value: 1 }) };
      const input = { type: 'reading', role, atMs: T0, value: 1 } as const;
      const once = stepRule(rule, rule.kind.initial, input, readings, T0).state;
      const twice = stepRule(rule, once, input, readings, T0).state;
      expect(twice, rule.id).toBe(once);
    }
  });

  it('says of itself how long it takes in plain time, never for ever', () => {
    for (const rule of rules) {
      const takesMs = rule.kind.surelyAfterMs?.(rule.settings, { points: rule.roles, state: rule.kind.initial }) ?? 0;
      expect(Number.isFinite(takesMs) && takesMs >= 0 && takesMs <= 7 * 86_400_000, `${rule.id}: ${takesMs}`).toBe(true);
    }
  });

  it('starts afresh from a stored state it does not know', () => {
    for (const rule of rules) expect(restoreState(rule, { from: 'an older version' })).toBeNull();
  });

  it('is unknown, with a reason, for everything that is installed without what it needs', () => {
    const bare = compileRules(fleet({ equipment: fullTank.equipment }), kinds);
    expect(bare.map(({ kind }) => kind.kind)).toContain('limit');
    for (const rule of bare) {
      const { verdict } = stepRule(rule, rule.kind.initial, { type: 'wake' }, { latest: () => null, previous: () => null }, T0);
      expect(verdict.state === 'unknown' && verdict.why.length > 10, rule.id).toBe(true);
    }
  });
});

describe('first checks', () => {
  it('tell whom it may concern to switch off at the breaker with dry hands, before anything that is done at the equipment', () => {
    for (const rule of rules) {
      const checks = firstChecksOf(rule);
      const caution = checks.findIndex((check) => /switch the power off at the breaker \(Panel B, breaker 14\) with dry hands/.test(check));
      expect(caution, rule.id).toBeGreaterThanOrEqual(0);
      const hands = checks.findIndex((check) => /plug|impeller|condenser|thermostat is|lifted out|cable/.test(check) && !/switch the power off/.test(check));
      if (hands >= 0) expect(hands, `${rule.id}: ${checks[hands]}`).toBeGreaterThan(caution);
    }
  });

  it('name residual-current protection, the local code and a licensed electrician wherever mains equipment is at fault', () => {
    for (const rule of rules.filter(({ kind }) => kind.kind !== 'top-off-low')) {
      expect(firstChecksOf(rule).join(' '), rule.id).toMatch(/GFCI\/RCD.*local electrical code.*licensed electrician/s);
    }
  });
});
