/** Every format a gateway of the simulator can speak is read by the product as exactly the samples that went in. */
import { describe, expect, it } from 'vitest';
import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import { converter } from '../../src/domain/units.ts';
import { makeScenario } from '../../simulator/scenario.ts';
import { sentAs, type SentFormat } from '../../simulator/sent-as.ts';
import { listed } from '../../simulator/timetable.ts';
import { sensorSilent } from '../../simulator/faults/sensor-silent.ts';
import { wrongClock } from '../../simulator/faults/wrong-clock.ts';
import { formats } from './demo-fleet.ts';
import { trialFleet } from './trial-fleet.ts';

const plain = trialFleet('large-reef');
const startMs = Date.UTC(2026, 4, 5, 6);
const beginMs = startMs + HOUR;
const faults = listed([
  { fault: sensorSilent({ pointId: 'tank/conductivity' }), beginMs, endMs: null },
  { fault: wrongClock({ siteId: 'trial-site', byMinutes: -90 }), beginMs, endMs: null },
]);

/** A decoder for each topic; a session has one for all. */
function reader(fleet: ReturnType<typeof sentAs>) {
  const decoders = new Map<string, (bytes: Uint8Array, facts: { readonly topic: string; readonly arrivedMs: number }) => { readonly samples: readonly { readonly pointId: string; readonly atMs: number | null; readonly value: number | boolean | string; readonly unit: string | null }[]; readonly refusals: readonly unknown[] }>();
  const sparkplug = formats.get('sparkplug');
  const session = sparkplug !== undefined && 'open' in sparkplug ? sparkplug.open(fleet.points.flatMap(({ id, source }) => (source?.format === 'sparkplug' ? [{ pointId: id, options: source.options, address: source.topic }] : [])), 'test') : null;
  return (topic: string, bytes: Uint8Array, arrivedMs: number) => {
    if (session?.claims(topic) === true) return session.decode(bytes, { topic, arrivedMs });
    let decode = decoders.get(topic);
    if (decode === undefined) {
      const points = fleet.points.filter(({ source }) => source?.topic === topic);
      const format = formats.get(points[0]?.source?.format ?? '');
      if (format === undefined || !('prepare' in format)) throw new Error(`no format for ${topic}`);
      decode = format.prepare(points.map(({ id, source }) => ({ pointId: id, options: source?.options })));
      decoders.set(topic, decode);
    }
    return decode(bytes, { topic, arrivedMs });
  };
}

describe.each(['number', 'json', 'senml', 'sparkplug'] as const)('%s', (format: SentFormat) => {
  it('is read as what went in, with its times, while a sensor falls silent and a clock goes wrong', () => {
    const fleet = sentAs(plain, { 'trial-site': format });
    const points = new Map(fleet.points.map((point) => [point.id, point]));
    const scenario = makeScenario({ fleet, seed: 2, startMs, timetable: faults });
    const read = reader(fleet);
    const seen = new Set<string>();
    let count = 0;
    for (const { topic, payload, atMs, samples } of scenario.advance(beginMs + 30 * MINUTE)) {
      const decoded = read(topic, Buffer.from(payload), atMs);
      // JSON without the value that is asked for is refused, and rightly so.
      if (format !== 'json' || atMs <= beginMs) expect(decoded.refusals).toEqual([]);
      expect(decoded.samples.map(({ pointId, value }) => [pointId, Number(value)])).toEqual(samples.map(({ pointId, value }) => [pointId, value]));
      for (const { pointId, unit, atMs: statedMs } of decoded.samples) {
        expect(statedMs).toBe(format === 'number' ? null : atMs > beginMs ? atMs - 90 * MINUTE : atMs);
        const point = points.get(pointId);
        if (point === undefined) throw new Error(pointId);
        expect(converter(point.kind, unit ?? point.unit), `${pointId} in ${unit ?? point.unit}`).not.toBeNull();
        if (atMs > beginMs) seen.add(pointId);
        count += 1;
      }
    }
    expect(count).toBeGreaterThan(1000);
    expect([...points.keys()].filter((id) => !seen.has(id))).toEqual(['tank/conductivity']);
  });
});

it('refuses to write for a site that is not there', () => {
  expect(() => sentAs(plain, { 'trial-sight': 'json' })).toThrow('no site "trial-sight" in the fleet; there are: trial-site');
});
