/** Changing the fleet while the service runs, over the real engine, store, file and router. */
import { encode } from 'cborg';
import { chmodSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { loadFormats } from '../../adapters/load.ts';
import { makeRouter, type Routed } from '../../adapters/router.ts';
import { replaceableRouter, type ReplaceableRouter } from '../../adapters/replaceable-router.ts';
import { StandingClock } from '../../src/clock.ts';
import { Desk } from '../../src/config/fleet-desk.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import { missingSecrets } from '../../src/config/secrets.ts';
import { SECOND } from '../../src/domain/duration.ts';
import { Quality } from '../../src/domain/reading.ts';
import type { ClaimRequest } from '../../src/engine/claim-contract.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { unclaimedFact } from '../../src/web/unclaimed.ts';
import { encodePayload } from '../adapters/edge-node.ts';

const readers = { kinds: await loadRuleKinds(), formats: await loadFormats(), broker: 'external' as const };
const startMs = Date.parse('2026-03-03T18:00:00Z');
const text = `# ours
clients:
  - id: clinic
    name: Clinic (invented)
    sites:
      - id: hall
        name: Hall
        timeZone: America/Denver
        sparkplugGroup: hall
        tanks:
          - id: reef
            name: Reef
            water: reef
            display: 120 gal
            points:                      # what is measured
              - { id: temperature, kind: temperature, every: 30s, source: { topic: hall/temperature, format: number } }
            rules:
              - { kind: limit, subject: temperature, high: 28, onDelay: 0s, offDelay: 0s }
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, phone: "+1 555 0101", timeZone: America/Denver, day: "07:00-21:00" }]
onCall: { steps: [{ person: ana }] }
`;

let folder: string;
let file: string;
let clock: StandingClock;
let store: Store;
let engine: Engine;
let desk: Desk;
let router: ReplaceableRouter;
let env: Record<string, string>;

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tankbell-desk-'));
  mkdirSync(join(folder, 'fleet'));
  file = join(folder, 'fleet', 'fleet.yaml');
  writeFileSync(file, text, { mode: 0o640 });
  env = {};
  clock = new StandingClock(startMs);
  store = await openSqliteStore(join(folder, 'data.sqlite'));
  const read = readFleet(text, file, readers);
  if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes));
  const rules = compileRules(read.fleet, readers.kinds);
  engine = await Engine.start({ store, fleet: read.fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  router = replaceableRouter(makeRouter(read.fleet, readers.formats));
  desk = new Desk({ fleetFile: file, readers, store, engine, clock, first: { fleet: read.fleet, rules }, missing: (secrets) => missingSecrets(secrets, env) });
  desk.onFleet(({ fleet }) => {
    const presence = router.replace(makeRouter(fleet, readers.formats), clock.now());
    if (presence.length > 0) engine.deliver({ arrivedMs: clock.now(), samples: [], refusals: [], presence, committed: () => undefined });
  });
});
afterEach(async () => {
  await engine.stop();
  await store.close();
  rmSync(folder, { recursive: true, force: true });
});

async function publish(topic: string, payload: string | Uint8Array, arrivedMs: number): Promise<Routed> {
  clock.set(arrivedMs);
  const routed = router.route({ topic, bytes: Buffer.from(payload), arrivedMs, retain: false });
  await new Promise<void>((resolve) => engine.deliver({ arrivedMs, ...routed, committed: resolve }));
  return routed;
}

const request = (more: Partial<ClaimRequest> = {}): ClaimRequest => ({
  topic: 'hall/sump', ownerId: 'reef', pointId: 'sump', name: 'Sump', kind: 'temperature', unit: '°F', equipment: null, everyMs: 30 * SECOND, place: { format: 'number' }, unitPointer: null, time: null, by: 'Ana', ...more,
});

const valuesOf = async (pointId: string) => {
  const series = await store.seriesOf(pointId);
  return series === null ? [] : (await store.readings(series, 0, 1e15)).map(({ atMs, value, quality }) => [(atMs - startMs) / SECOND, value, quality]);
};

test('a claimed source becomes a point, with the past that was kept, and rings nobody for it', async () => {
  for (let i = 0; i < 4; i += 1) await publish('hall/sump', String(95 + i), startMs + i * 30 * SECOND);
  expect(await valuesOf('reef/sump')).toEqual([]);
  expect(await desk.claim(request())).toEqual({ outcome: 'claimed', pointId: 'reef/sump', stored: 4, unreadable: 0 });
  expect(await valuesOf('reef/sump')).toEqual([[0, 35, Quality.stampedOnArrival], [30, 35.5555555556, Quality.stampedOnArrival], [60, 36.1111111111, Quality.stampedOnArrival], [90, 36.6666666667, Quality.stampedOnArrival]]);
  expect(engine.view.latest('reef/sump')).toMatchObject({ value: 36.6666666667 });
  expect(await store.unclaimedSources()).toEqual([]);
  expect(engine.view.openAlarms.size).toBe(0);
  expect(await store.pages({ limit: 5 })).toEqual([]);
  // The file: one line more, everything else as it was.
  const line = '              - { id: sump, name: Sump, kind: temperature, unit: °F, every: 30s, source: { topic: hall/sump, format: number } }\n';
  expect(readFileSync(file, 'utf8').replace(line, '')).toBe(text);
  expect(statSync(file).mode & 0o777).toBe(0o640);
  expect(readdirSync(join(folder, 'fleet'))).toEqual(['fleet.yaml']);
  expect((await store.journal({ limit: 9 })).map(({ kind, by, text: said }) => [kind, by, said])).toEqual(expect.arrayContaining([
    ['fleet', 'Ana', 'Point Sump (reef/sump) added.'],
    ['import', 'Ana', 'hall/sump was claimed to reef/sump: 4 readings of the last 1 min 30 s that were kept came along'],
  ]));
  expect(await store.fleetText()).toBe(readFileSync(file, 'utf8'));
  // From here on it is read like any other.
  await publish('hall/sump', '77', startMs + 120 * SECOND);
  expect(engine.view.latest('reef/sump')).toMatchObject({ value: 25 });
  expect(await store.unclaimedSources()).toEqual([]);
});

test('a point that is written into the file by hand has the same past as a claimed one', async () => {
  for (let i = 0; i < 4; i += 1) {
    await publish('hall/sump', String(95 + i), startMs + i * 30 * SECOND);
    await publish('hall/strip', JSON.stringify({ a: 10 + i, b: 20 + i, c: 1 }), startMs + i * 30 * SECOND);
  }
  const line = (id: string, rest: string): string => `              - { id: ${id}, every: 30s, ${rest} }\n`;
  writeFileSync(file, text.replace('            rules:\n', `${line('sump', 'kind: temperature, unit: °F, source: { topic: hall/sump, format: number }')}${line('a', 'kind: power, source: { topic: hall/strip, format: json, value: /a }')}${line('b', 'kind: power, source: { topic: hall/strip, format: json, value: /b }')}            rules:\n`));
  expect(await desk.reload('Ana')).toMatchObject({ outcome: 'taken', changes: 3 });
  expect((await valuesOf('reef/sump')).map(([, value]) => value)).toEqual([35, 35.5555555556, 36.1111111111, 36.6666666667]);
  expect((await valuesOf('reef/a')).map(([, value]) => value)).toEqual([10, 11, 12, 13]);
  expect((await valuesOf('reef/b')).map(([, value]) => value)).toEqual([20, 21, 22, 23]);
  expect(engine.view.latest('reef/sump')).toMatchObject({ value: 36.6666666667 });
  expect(engine.view.openAlarms.size).toBe(0);
  // One value of the strip is still nobody's.
  expect((await store.unclaimedSources()).map(({ topic, partial }) => [topic, partial])).toEqual([['hall/strip', true]]);
  expect((await store.journal({ kinds: ['import'], limit: 9 })).map(({ text: said }) => said)).toContain('hall/sump is read by reef/sump now: 4 readings of the last 1 min 30 s that were kept came along');
  // Nothing comes twice.
  await desk.bringPast();
  expect(await store.journal({ kinds: ['import'], limit: 9 })).toHaveLength(3);
});

test('a claim that a crash cut short before its past came along is finished at the next start', async () => {
  for (let i = 0; i < 3; i += 1) await publish('hall/sump', String(95 + i), startMs + i * 30 * SECOND);
  const crash = new Error('the process ends here');
  const cut: Store = { ...store, claimUnclaimed: () => Promise.reject(crash) };
  const crashing = new Desk({ fleetFile: file, readers, store: cut, engine, clock, first: desk.inForce, missing: () => [] });
  await expect(crashing.claim(request())).rejects.toThrow(crash.message);
  expect(await valuesOf('reef/sump')).toEqual([]);
  const again = new Desk({ fleetFile: file, readers, store, engine, clock, first: crashing.inForce, missing: () => [] });
  await again.bringPast();
  expect((await valuesOf('reef/sump')).map(([, value]) => value)).toEqual([35, 35.5555555556, 36.1111111111]);
  expect(await store.unclaimedSources()).toEqual([]);
});

test('values of one message are claimed one after the other, each with its past', async () => {
  for (let i = 0; i < 3; i += 1) await publish('hall/strip', JSON.stringify({ ts: startMs / 1000 + i * 60, a: { watts: 100 + i }, b: { watts: 'n/a' }, c: { watts: 7 } }), startMs + i * 60 * SECOND + 400);
  const time = { pointer: '/ts', format: 's' } as const;
  expect(await desk.claim(request({ topic: 'hall/strip', pointId: 'a', kind: 'power', unit: null, place: { format: 'json', pointer: '/a/watts' }, time }))).toMatchObject({ outcome: 'claimed', stored: 3 });
  expect(await valuesOf('reef/a')).toEqual([[0, 100, 0], [60, 101, 0], [120, 102, 0]]);
  expect(await store.unclaimedSources()).toMatchObject([{ topic: 'hall/strip', partial: true }]);
  await publish('hall/strip', JSON.stringify({ ts: startMs / 1000 + 180, a: { watts: 103 }, c: { watts: 8 } }), startMs + 180 * SECOND);
  expect(await desk.claim(request({ topic: 'hall/strip', pointId: 'c', kind: 'power', unit: null, place: { format: 'json', pointer: '/c/watts' }, time }))).toMatchObject({ outcome: 'claimed', stored: 4 });
  expect((await valuesOf('reef/c')).map(([, value]) => value)).toEqual([7, 7, 7, 8]);
  expect(await store.unclaimedSources()).toEqual([]);
});

const asCbor = (pack: readonly Record<string, unknown>[]): Uint8Array => {
  // RFC 8428 §6, table 4.
  const numbers: Readonly<Record<string, number>> = { bn: -2, bt: -3, bu: -4, n: 0, u: 1, v: 2, t: 6, ut: 7 };
  return encode(pack.map((record) => new Map(Object.entries(record).map(([key, value]) => [numbers[key] ?? key, value]))));
};
const values = async (topic: string) => (await unclaimedFact(store, desk.inForce.fleet, topic))?.values ?? [];
const shown = async (topic: string) => (await values(topic)).map(({ part, latest, everyMs, guess }) => [part, latest, everyMs, guess?.kind ?? null]);

test.each([['JSON', (pack: readonly Record<string, unknown>[]) => JSON.stringify(pack)], ['CBOR', asCbor]] as const)('a value of a SenML pack (%s) is claimed with its past at its own times, and the rest stays offered', async (_what, write) => {
  const topic = 'hall/gateway';
  const device = 'urn:dev:ow:10e2073a01080063:';
  // Relative times count from the arrival (RFC 8428 §4.5.3); each pack holds the last minute.
  const pack = (n: number) => write([{ bn: device, n: 'temp', u: 'Cel', v: (2500 + 10 * n) / 100, t: -60 }, { n: 'temp', u: 'Cel', v: (2505 + 10 * n) / 100, t: -30 }, { n: 'temp', u: 'Cel', v: (2507 + 10 * n) / 100 }, { n: 'humidity', u: '%RH', v: 40 + n }]);
  for (const n of [0, 1]) expect(await publish(topic, pack(n), startMs + n * 90 * SECOND)).toMatchObject({ samples: [], refusals: [] });
  expect(await shown(topic)).toEqual([
    [`${device}temp`, [25.17, 25.15, 25.1, 25.07, 25.05], 30 * SECOND, 'temperature'],
    [`${device}humidity`, [41, 40], 90 * SECOND, 'humidity'],
  ]);
  const [temperature, humidity] = await values(topic);
  if (temperature === undefined || humidity === undefined) throw new Error('not shown');
  expect(await desk.claim(request({ topic, pointId: 'display', unit: null, place: temperature.place }))).toEqual({ outcome: 'claimed', pointId: 'reef/display', stored: 6, unreadable: 0 });
  expect(readFileSync(file, 'utf8')).toContain(`source: { topic: hall/gateway, format: senml, name: ${device}temp } }`);
  expect(await valuesOf('reef/display')).toEqual([[-60, 25, 0], [-30, 25.05, 0], [0, 25.07, Quality.stampedOnArrival], [30, 25.1, 0], [60, 25.15, 0], [90, 25.17, Quality.stampedOnArrival]]);
  expect(engine.view.openAlarms.size).toBe(0);
  // Read live; what no point reads of it is no refusal, and is offered with its own past.
  const routed = await publish(topic, pack(2), startMs + 180 * SECOND);
  expect([routed.refusals, routed.samples.length, routed.unclaimed?.length]).toEqual([[], 3, 1]);
  expect(engine.view.latest('reef/display')).toMatchObject({ value: 25.27 });
  expect(await shown(topic)).toEqual([[`${device}humidity`, [42, 41, 40], null, 'humidity']]);
  expect(await desk.claim(request({ topic, ownerId: 'hall', pointId: 'room-humidity', kind: 'humidity', unit: null, place: humidity.place }))).toMatchObject({ outcome: 'claimed', stored: 3 });
  expect((await valuesOf('hall/room-humidity')).map(([atS, value]) => [atS, value])).toEqual([[0, 40], [90, 41], [180, 42]]);
  expect(await store.unclaimedSources()).toEqual([]);
  expect((await publish(topic, pack(3), startMs + 270 * SECOND)).unclaimed).toBeUndefined();
});

// RFC 8428 §5.1.3 (check-values §8.1): one name carries four quantities; times made recent.
test('of a SenML name with several units each is claimed by its unit', async () => {
  const pack = (JSON.parse(readFileSync(new URL('../adapters/senml/rfc8428-5-1-3-mixed-units/input.json', import.meta.url), 'utf8')) as Record<string, unknown>[]).map((record) => ('bt' in record ? { ...record, bt: startMs / 1000 - 180 } : record));
  await publish('hall/gateway', JSON.stringify(pack), startMs);
  const name = 'urn:dev:ow:10e2073a01080063';
  const list = await values('hall/gateway');
  expect(list.map(({ part }) => part).sort()).toEqual(['%EL', '%RH', 'lat', 'lon'].map((unit) => `${name} ${unit}`));
  const humidity = list.find(({ part }) => part === `${name} %RH`);
  if (humidity === undefined) throw new Error('not shown');
  expect(await desk.claim(request({ topic: 'hall/gateway', kind: 'humidity', unit: null, place: humidity.place }))).toMatchObject({ outcome: 'claimed', stored: 4, unreadable: 0 });
  expect(readFileSync(file, 'utf8')).toContain(`source: { topic: hall/gateway, format: senml, name: ${name}, unit: "%RH" } }`);
  expect(await valuesOf('reef/sump')).toEqual([[-180, 20, 0], [-120, 20.3, 0], [-60, 20.7, 0], [0, 21.2, 0]]);
});

test('a metric of a gateway nobody reads is claimed by its name, and its session goes on', async () => {
  const metrics = (list: readonly object[], seq: number, atMs: number) => encodePayload({ timestamp: atMs, seq, metrics: list.map((one) => ({ timestamp: atMs, ...one })) });
  const send = (type: string, payload: Uint8Array, atMs: number) => publish(`spBv1.0/hall/${type}`, payload, atMs);
  const address = 'spBv1.0/hall/plant room/sump';
  await send('NBIRTH/plant room', metrics([{ name: 'bdSeq', type: 'Int64', value: 0 }, { name: 'Node Control/Rebirth', type: 'Boolean', value: false }], 0, startMs), startMs);
  await send('DBIRTH/plant room/sump', metrics([{ name: 'Water/Temperature', alias: 1, type: 'Float', value: 25.1 }, { name: 'Water/Level', alias: 2, type: 'Int16', value: 310 }, { name: 'Serial', alias: 3, type: 'Bytes', value: new Uint8Array(3) }], 1, startMs), startMs);
  for (const n of [1, 2, 3]) expect(await send('DDATA/plant room/sump', metrics([{ alias: 1, type: 'Float', value: 25.1 + n / 10 }], 1 + n, startMs + n * 20 * SECOND - 400), startMs + n * 20 * SECOND)).toMatchObject({ refusals: [] });
  await send('DDATA/plant room/sump', metrics([{ alias: 1, type: 'Float', value: 24.9, timestamp: startMs - 3600 * SECOND, isHistorical: true }], 5, startMs + 70 * SECOND), startMs + 70 * SECOND);
  expect(await shown(address)).toEqual([['Water/Temperature', [25.4, 25.3, 25.2, 25.1, 24.9], 20 * SECOND, 'temperature'], ['Water/Level', [310], null, 'level']]);
  expect(await store.unclaimedSource(address)).toMatchObject({ siteId: 'hall', partial: false });

  expect(await desk.claim(request({ topic: address, pointId: 'water', unit: '°C', place: { format: 'sparkplug', metric: 'Water/Temperature' } }))).toEqual({ outcome: 'claimed', pointId: 'reef/water', stored: 5, unreadable: 0 });
  expect(readFileSync(file, 'utf8')).toContain('source: { topic: spBv1.0/hall/plant room/sump, format: sparkplug, metric: Water/Temperature } }');
  expect(await valuesOf('reef/water')).toEqual([[-3600, 24.9, Quality.history], [0, 25.1, 0], [19.6, 25.2, 0], [39.6, 25.3, 0], [59.6, 25.4, 0]]);
  expect(engine.view.latest('reef/water')).toMatchObject({ value: 25.4 });

  // By number alone, without a new birth; the sequence goes on as well.
  expect(await send('DDATA/plant room/sump', metrics([{ alias: 1, type: 'Float', value: 25.8 }, { alias: 2, type: 'Int16', value: 305 }], 6, startMs + 80 * SECOND), startMs + 80 * SECOND)).toMatchObject({ refusals: [], ask: [], unclaimed: [{ topic: address, siteId: 'hall', partial: true }] });
  expect(engine.view.latest('reef/water')).toMatchObject({ value: 25.8 });
  expect(await shown(address)).toEqual([['Water/Level', [305, 310], null, 'level']]);
  expect(await send('DDATA/plant room/sump', metrics([{ alias: 1, type: 'Float', value: 25.9 }], 8, startMs + 90 * SECOND), startMs + 90 * SECOND)).toMatchObject({ refusals: [{ reason: expect.stringContaining('lost on the way') }], ask: [{ topic: 'spBv1.0/hall/NCMD/plant room' }] });
  // The second one, of a device that is read in part; then nothing is left but what cannot be a reading.
  expect(await desk.claim(request({ topic: address, pointId: 'level', kind: 'level', unit: 'mm', place: { format: 'sparkplug', metric: 'Water/Level' } }))).toMatchObject({ outcome: 'claimed', stored: 2 });
  expect((await valuesOf('reef/level')).map(([atS, value]) => [atS, value])).toEqual([[0, 310], [80, 305]]);
  expect(await store.unclaimedSources()).toEqual([]);
  // Its death is that of a gateway that is read.
  expect((await send('NDEATH/plant room', metrics([{ name: 'bdSeq', type: 'Int64', value: 0 }], 0, startMs), startMs + 100 * SECOND)).presence).toMatchObject([{ state: 'offline', pointIds: ['reef/water', 'reef/level'] }]);
});

test('a metric of a gateway that is offline is claimed with its past, and has no present value', async () => {
  const metrics = (list: readonly object[]) => encodePayload({ timestamp: startMs, seq: 0, metrics: list.map((one) => ({ timestamp: startMs, ...one })) });
  const temperature = { name: 'Temperature', alias: 1, type: 'Float', value: 25.1 };
  const address = 'spBv1.0/hall/plant room';
  const claim = (metric: string, pointId: string) => desk.claim(request({ topic: address, pointId, unit: null, place: { format: 'sparkplug', metric } }));
  await publish('spBv1.0/hall/NBIRTH/plant room', metrics([{ name: 'bdSeq', type: 'Int64', value: 0 }, temperature, { ...temperature, name: 'Return', alias: 2 }]), startMs);
  await claim('Temperature', 'display');
  await publish('spBv1.0/hall/NDEATH/plant room', metrics([{ name: 'bdSeq', type: 'Int64', value: 0 }]), startMs + 5 * SECOND);
  expect(await claim('Return', 'return')).toMatchObject({ outcome: 'claimed', stored: 1 });
  expect(engine.view.offline?.('reef/return')).toContain('its gateway hall/plant room is offline');
  await publish('spBv1.0/hall/NBIRTH/plant room', metrics([{ name: 'bdSeq', type: 'Int64', value: 1 }, { ...temperature, timestamp: startMs + 10 * SECOND }, { ...temperature, name: 'Return', alias: 2, timestamp: startMs + 10 * SECOND }]), startMs + 10 * SECOND);
  expect(engine.view.offline?.('reef/return')).toBeNull();
});

test.each<[string, Partial<ClaimRequest>, string]>([
  ['an id that is taken', { pointId: 'temperature' }, 'is taken by the point on line'],
  ['a unit that does not fit', { unit: 'kWh' }, '"kWh" is no unit of temperature'],
  ['a tank that is not there', { ownerId: 'nowhere' }, 'no tank or site "nowhere"'],
  ['a topic outside of the site', { topic: 'elsewhere/x' }, 'lies outside of the topics of site "hall"'],
])('%s is refused with the reason, and nothing changes', async (_what, more, why) => {
  await publish('hall/sump', '95', startMs);
  const outcome = await desk.claim(request(more));
  expect(outcome).toMatchObject({ outcome: 'refused', line: expect.stringMatching(/^- \{ id: /) });
  expect(outcome.outcome === 'refused' ? outcome.why.join('\n') : '').toContain(why);
  expect(readFileSync(file, 'utf8')).toBe(text);
  expect(desk.inForce.fleet.points).toHaveLength(1);
  expect(await store.unclaimedSource('hall/sump')).not.toBeNull();
});

test('half-done work in the file is not put in force by a claim', async () => {
  await publish('hall/sump', '95', startMs);
  const edited = text.replace('high: 28', 'high: 29');
  writeFileSync(file, edited);
  expect(await desk.claim(request())).toMatchObject({ outcome: 'refused', why: [expect.stringContaining('a change that is not in force yet'), expect.stringContaining('high')] });
  expect(readFileSync(file, 'utf8')).toBe(edited);
  expect(await desk.reload('Ana')).toEqual({ outcome: 'taken', changes: 1 });
  expect(await desk.claim(request())).toMatchObject({ outcome: 'claimed' });
});

test('a folder that may not be written is said, with the line to add by hand', async () => {
  // The superuser may write everywhere: nothing to refuse then.
  if (process.getuid?.() === 0) return;
  await publish('hall/sump', '95', startMs);
  chmodSync(join(folder, 'fleet'), 0o500);
  const outcome = await desk.claim(request());
  chmodSync(join(folder, 'fleet'), 0o700);
  expect(outcome).toMatchObject({ outcome: 'refused', why: [expect.stringMatching(/may not write the fleet file .*EACCES/)] });
});

test('the file is taken anew; one with mistakes is not, and that is journaled', async () => {
  expect(await desk.reload('tankbell')).toEqual({ outcome: 'taken', changes: 0 });
  writeFileSync(file, text.replace('kind: temperature', 'kind: temprature'));
  expect(await desk.reload('tankbell')).toMatchObject({ outcome: 'refused', mistakes: [expect.stringContaining('"temprature" is no kind of point')] });
  expect((await store.journal({ kinds: ['fleet'], limit: 1 }))[0]?.text).toContain('the fleet before stays in force');
  expect(desk.inForce.fleet.points[0]?.kind).toBe('temperature');
});

test('two claims at once come one after the other', async () => {
  await publish('hall/sump', '95', startMs);
  await publish('hall/room', '70', startMs);
  const outcomes = await Promise.all([desk.claim(request()), desk.claim(request({ topic: 'hall/room', ownerId: 'hall', pointId: 'room' }))]);
  expect(outcomes.map(({ outcome }) => outcome)).toEqual(['claimed', 'claimed']);
  expect(desk.inForce.fleet.points.map(({ id }) => id).sort()).toEqual(['hall/room', 'reef/sump', 'reef/temperature']);
});

test.each([
  ['not set', undefined, 'fleet.yaml:9:23: the environment variable TANKBELL_HALL_HTTP is not set'],
  ['empty', '', 'fleet.yaml:9:23: the environment variable TANKBELL_HALL_HTTP is not set'],
  ['one character short', 'a'.repeat(15), 'fleet.yaml:9:23: the environment variable TANKBELL_HALL_HTTP, the token of HTTP for the site "hall", is shorter than 16 characters'],
])('a site whose HTTP token is %s is not taken, by reload or claim, and the fleet before stays in force', async (_what, token, why) => {
  await publish('hall/sump', '95', startMs);
  const withToken = text.replace('        timeZone: America/Denver\n', '        timeZone: America/Denver\n        httpTokenEnv: TANKBELL_HALL_HTTP\n');
  writeFileSync(file, withToken);
  if (token !== undefined) env['TANKBELL_HALL_HTTP'] = token;
  const reloaded = await desk.reload('Ana');
  expect(reloaded.outcome === 'refused' ? reloaded.mistakes.join('\n') : reloaded.outcome).toContain(why);
  const claimed = await desk.claim(request());
  expect(claimed.outcome === 'refused' ? claimed.why.join('\n') : claimed.outcome).toContain(why);
  expect(desk.inForce.fleet.sites[0]?.httpTokenEnv).toBeNull();
  expect(await store.fleetText()).not.toBe(withToken);
  expect(readFileSync(file, 'utf8')).toBe(withToken);
  expect((await store.journal({ limit: 1, kinds: ['fleet'] }))[0]?.text).toContain('the fleet before stays in force');

  env['TANKBELL_HALL_HTTP'] = 'a'.repeat(16);
  expect(await desk.reload('Ana')).toMatchObject({ outcome: 'taken' });
  expect(desk.inForce.fleet.sites[0]?.httpTokenEnv).toBe('TANKBELL_HALL_HTTP');
});
