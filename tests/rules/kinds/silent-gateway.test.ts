import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../../src/domain/duration.ts';
import type { Point } from '../../../src/domain/fleet.ts';
import silentGateway from '../../../src/rules/kinds/silent-gateway.ts';
import silentPoint from '../../../src/rules/kinds/silent-point.ts';
import { stepRule } from '../step-rule.ts';
import { compileRules } from '../../../src/rules/compile.ts';
import { fleet, point, ruleOf, setting } from '../fleet.ts';
import { Drive, evidenceOf, summaryOf, T0 } from '../drive.ts';

const from = (topic: string, name: string): Point => point('temperature', name, { source: { topic: `harbor-lobby/${topic}`, format: 'json', options: {} }, everyMs: MINUTE, silentAfterMs: 5 * MINUTE });
const probes = ['a', 'b', 'c'].map((name) => from('probes', name));
const strip = ['d', 'e', 'f'].map((name) => from(`strip/${name}`, name));
const room = from('room', 'g');
const all = [...probes, ...strip, room];
const started = (points: readonly Point[] = all, settings: Record<string, unknown> = {}) =>
  new Drive(ruleOf(silentGateway, 'gateway', { points, ruleSettings: [setting('silent-gateway', null, settings)] }), T0);

function feed(drive: Drive, minutes: number, points: readonly Point[]): string {
  const fromMs = drive.nowMs + MINUTE;
  for (let minute = 0; minute < minutes; minute += 1) points.forEach(({ id }, index) => drive.reading(id, fromMs + minute * MINUTE + index * 100, 25));
  return drive.verdict.state;
}

describe('silent-gateway', () => {
  it('finds a site from which nothing comes, before any of its points counts as silent', () => {
    const drive = started();
    expect(feed(drive, 30, all)).toBe('clear');
    const lastMs = drive.nowMs;
    expect(drive.until(lastMs + 4 * MINUTE - 1000).state).toBe('clear');
    expect(drive.until(lastMs + 4 * MINUTE + 1000).state).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('nothing from any of the 7 points of the site for 4 min');
    const single = new Drive(ruleOf(silentPoint, 'g', { points: all }), T0);
    single.reading(room.id, T0, 25);
    expect(single.until(T0 + 4 * MINUTE + 1000).state).toBe('clear');
    drive.restart();
    expect(drive.until(lastMs + HOUR).state).toBe('breached');
    expect(feed(drive, 1, all)).toBe('clear');
  });

  it('names the source when only one of several falls silent: a topic of many values, or a branch of topics', () => {
    const drive = started();
    feed(drive, 30, all);
    expect(feed(drive, 8, [...strip, room])).toBe('breached');
    expect(summaryOf(drive.verdict)).toBe('nothing from harbor-lobby/probes (3 points) for 8 min');
    feed(drive, 2, all);
    expect(feed(drive, 8, [...probes, room])).toBe('breached');
    expect(evidenceOf(drive.verdict, 'Silent')).toBe('3 points under harbor-lobby/strip');
  });

  it('does not call a gateway silent whose probes say what cannot be true', () => {
    const drive = started();
    feed(drive, 30, all);
    for (let minute = 0; minute < 20; minute += 1) {
      feed(drive, 1, [...strip, room]);
      for (const { id } of probes) drive.impossible(id, drive.nowMs);
      expect(drive.verdict.state).toBe('clear');
    }
  });

  it('leaves one or two silent sensors to silent-point', () => {
    const drive = started();
    feed(drive, 30, all);
    expect(feed(drive, 60, [...probes.slice(2), ...strip, room])).toBe('clear');
    expect(feed(started(all, { points: 2 }), 60, [...probes, ...strip.slice(2), room])).toBe('clear');
  });

  it('is quiet at a pause of three minutes and at dropouts', () => {
    const drive = started();
    for (let round = 0; round < 20; round += 1) {
      expect(feed(drive, 5, all)).toBe('clear');
      expect(drive.until(drive.nowMs + 2 * MINUTE).state).toBe('clear');
      expect(feed(drive, 1, [...probes, room])).toBe('clear');
    }
  });

  it('says nothing of points that have never delivered', () => {
    const drive = started();
    expect(drive.until(T0 + HOUR).state).toBe('clear');
    feed(drive, 5, probes.slice(0, 2));
    expect(drive.until(drive.nowMs + HOUR).state).toBe('clear');
    feed(drive, 5, probes);
    expect(drive.until(drive.nowMs + HOUR).state).toBe('breached');
  });

  it('believes a gateway that says it goes', () => {
    const rule = ruleOf(silentGateway, 'gateway', { points: all });
    const readings = { latest: () => ({ atMs: T0, value: 25 }), previous: () => null, offline: () => 'its gateway has said goodbye' };
    const { verdict } = stepRule(rule, rule.kind.initial, { type: 'wake' }, readings, T0 + 1000);
    expect(summaryOf(verdict)).toBe('nothing from any of the 7 points of the site for 1 s; its gateway has said goodbye');
  });

  it('is one rule for a site, none for a site of two points', () => {
    expect(compileRules(fleet({ points: all }), new Map([['silent-gateway', silentGateway]])).map(({ id }) => id)).toEqual(['reef/silent-gateway/gateway']);
    expect(compileRules(fleet({ points: [room, ...probes.slice(1, 2)] }), new Map([['silent-gateway', silentGateway]]))).toEqual([]);
  });

  it('writes when it falls silent or comes back only', () => {
    const drive = started();
    feed(drive, 200, all);
    expect(drive.writes).toBe(1);
  });
});
