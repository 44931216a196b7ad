import { describe, expect, it } from 'vitest';
import { DAY, HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import { converter } from '../../src/domain/units.ts';
import { heaterStuckOn } from '../../simulator/faults/heater-stuck-on.ts';
import { type Emission, makeScenario, type ScenarioOptions } from '../../simulator/scenario.ts';
import { listed } from '../../simulator/timetable.ts';
import { demoFleet, formats } from './demo-fleet.ts';

const fleet = await demoFleet();
const startMs = Date.UTC(2026, 2, 3, 4, 5);

const start = (options: Partial<ScenarioOptions> = {}) => makeScenario({ fleet, seed: 1, startMs, ...options });
const bytes = (emissions: readonly Emission[]): string => emissions.map(({ topic, payload, atMs }) => `${atMs} ${topic} ${payload}`).join('\n');

describe('the same run', () => {
  it('gives the same bytes for the same seed', () => {
    const first = bytes(start().advance(startMs + HOUR));
    expect(first.length).toBeGreaterThan(100_000);
    expect(bytes(start().advance(startMs + HOUR))).toBe(first);
  });

  it('gives others for another seed', () => {
    expect(bytes(start({ seed: 2 }).advance(startMs + HOUR))).not.toBe(bytes(start().advance(startMs + HOUR)));
  });

  it('does not depend on how it is cut into calls', () => {
    const cut = start();
    const pieces: Emission[] = [];
    for (let atMs = startMs; atMs < startMs + HOUR; atMs += 7919 * 13) pieces.push(...cut.advance(atMs));
    pieces.push(...cut.advance(startMs + HOUR));
    expect(bytes(pieces)).toBe(bytes(start().advance(startMs + HOUR)));
  });

  it('goes on after a skipped part as though it had been sent', () => {
    const skipped = start();
    skipped.skip(startMs + HOUR);
    const whole = start().advance(startMs + 2 * HOUR).filter(({ atMs }) => atMs > startMs + HOUR);
    expect(bytes(skipped.advance(startMs + 2 * HOUR))).toBe(bytes(whole));
  });

  it('starts at any time', () => {
    const far = Date.UTC(2031, 6, 1);
    const emissions = start({ startMs: far }).advance(far + 5 * MINUTE);
    expect(emissions.length).toBeGreaterThan(100);
    expect(Math.min(...emissions.map(({ atMs }) => atMs))).toBeGreaterThanOrEqual(far - SECOND);
  });
});

describe('messages', () => {
  it('arrive in order of time, whole seconds, and never from the future', () => {
    const emissions = start().advance(startMs + HOUR);
    emissions.forEach(({ atMs }, index) => {
      expect(atMs % SECOND).toBe(0);
      expect(atMs).toBeGreaterThanOrEqual(emissions[index - 1]?.atMs ?? 0);
      expect(atMs).toBeLessThanOrEqual(startMs + HOUR);
    });
  });

  it('come about as often as the fleet file says', () => {
    const counts = new Map<string, number>();
    for (const { samples } of start().advance(startMs + 2 * HOUR)) for (const { pointId } of samples) counts.set(pointId, (counts.get(pointId) ?? 0) + 1);
    for (const point of fleet.points) {
      const expected = (2 * HOUR) / point.everyMs;
      expect(counts.get(point.id), point.id).toBeGreaterThan(0.95 * expected - 1);
      expect(counts.get(point.id), point.id).toBeLessThanOrEqual(expected + 1);
    }
  });

  it('are read by the payload formats as exactly the samples that went in', () => {
    const emissions = start().advance(startMs + 10 * MINUTE);
    const decoders = new Map([...new Set(emissions.map(({ topic }) => topic))].map((topic) => {
      const points = fleet.points.filter(({ source }) => source?.topic === topic);
      const format = formats.get(points[0]?.source?.format ?? '');
      if (format === undefined || !('prepare' in format)) throw new Error(`no format for ${topic}`);
      return [topic, format.prepare(points.map(({ id, source }) => ({ pointId: id, options: source?.options })))];
    }));
    expect(decoders.size).toBe(new Set(fleet.points.map(({ source }) => source?.topic)).size);
    for (const { topic, payload, atMs, samples } of emissions) {
      const decoded = decoders.get(topic)?.(Buffer.from(payload), { topic, arrivedMs: atMs });
      expect(decoded?.refusals).toEqual([]);
      expect(decoded?.samples.map(({ pointId, value }) => ({ pointId, value: Number(value) }))).toEqual(samples.map(({ pointId, value }) => ({ pointId, value })));
      for (const sample of decoded?.samples ?? []) expect([null, atMs]).toContain(sample.atMs);
    }
  });

  it('carry the declared unit: converted by the product, they are near the truth', () => {
    const scenario = start();
    const last = new Map<string, number>();
    for (const { samples } of scenario.advance(startMs + HOUR)) for (const { pointId, value } of samples) last.set(pointId, value);
    for (const point of fleet.points.filter(({ kind }) => ['temperature', 'level', 'fill', 'volume', 'conductivity', 'voltage'].includes(kind))) {
      const canonical = converter(point.kind, point.unit)?.(last.get(point.id) ?? Number.NaN) ?? Number.NaN;
      const truth = scenario.instruments.get(point.id)?.truth ?? Number.NaN;
      expect(Math.abs(canonical - truth), `${point.id}: ${canonical} for ${truth}`).toBeLessThan(Math.max(0.6, 0.04 * Math.abs(truth)));
    }
  });

  it('in a thinned past are few, and miss no start of a heater', () => {
    const endMs = startMs + DAY;
    const thin = start({ history: { untilMs: endMs, everyMs: 2 * MINUTE } }).advance(endMs);
    const full = start().advance(endMs);
    expect(thin.length).toBeLessThan(full.length / 4);
    const starts = (emissions: readonly Emission[]): number => {
      let was = 0;
      let count = 0;
      for (const { samples } of emissions) {
        for (const { pointId, value } of samples) {
          if (pointId !== 'bar-fresh/heater-power') continue;
          if (value > 50 && was <= 50) count += 1;
          was = value;
        }
      }
      return count;
    };
    expect(starts(full)).toBeGreaterThan(3);
    expect(starts(thin)).toBe(starts(full));
    // What is left is what would have been sent.
    const known = new Set(bytes(full).split('\n'));
    expect(bytes(thin).split('\n').filter((line) => line.includes('quill-lobby/strip-a') && !known.has(line))).toEqual([]);
  });
});

describe('faults', () => {
  it('begin and end on the timetable', () => {
    const fault = heaterStuckOn({ heaterId: 'bar-fresh/heater' });
    const scenario = start({ timetable: listed([{ fault, beginMs: startMs + HOUR, endMs: startMs + 2 * HOUR }]) });
    const condition = () => scenario.world.heater('bar-fresh/heater').condition;
    scenario.advance(startMs + HOUR);
    expect(condition()).toBe('healthy');
    scenario.advance(startMs + HOUR + MINUTE);
    expect(condition()).toBe('stuck-on');
    expect(scenario.active().map(({ fault: { name } }) => name)).toEqual(['heater-stuck-on']);
    scenario.advance(startMs + 2 * HOUR + MINUTE);
    expect(condition()).toBe('healthy');
    expect(scenario.active()).toEqual([]);
  });

  it('for things that are not there are refused by name', () => {
    expect(() => start().begin(heaterStuckOn({ heaterId: 'bar-fresh/heter' }))).toThrow('no heater "bar-fresh/heter" in the simulated fleet; there are: bar-fresh/heater,');
  });
});
