/** Changing the fleet while the service runs, over the real engine, store, file and router. */
import { chmodSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { loadFormats } from '../../adapters/load.ts';
import { makeRouter } from '../../adapters/router.ts';
import { replaceableRouter, type ReplaceableRouter } from '../../adapters/replaceable-router.ts';
import { StandingClock } from '../../src/clock.ts';
import { Desk } from '../../src/config/fleet-desk.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import { SECOND } from '../../src/domain/duration.ts';
import { Quality } from '../../src/domain/reading.ts';
import type { ClaimRequest } from '../../src/engine/claim-contract.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import { compileRules } from '../../src/rules/compile.ts';
import { loadRuleKinds } from '../../src/rules/load.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';

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

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tankbell-desk-'));
  mkdirSync(join(folder, 'fleet'));
  file = join(folder, 'fleet', 'fleet.yaml');
  writeFileSync(file, text, { mode: 0o640 });
  clock = new StandingClock(startMs);
  store = await openSqliteStore(join(folder, 'data.sqlite'));
  const read = readFleet(text, file, readers);
  if ('mistakes' in read) throw new Error(JSON.stringify(read.mistakes));
  const rules = compileRules(read.fleet, readers.kinds);
  engine = await Engine.start({ store, fleet: read.fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  router = replaceableRouter(makeRouter(read.fleet, readers.formats));
  desk = new Desk({ fleetFile: file, readers, store, engine, clock, first: { fleet: read.fleet, rules }, missing: () => [] });
  desk.onFleet(({ fleet }) => router.replace(makeRouter(fleet, readers.formats)));
});
afterEach(async () => {
  await engine.stop();
  await store.close();
  rmSync(folder, { recursive: true, force: true });
});

async function publish(topic: string, payload: string, arrivedMs: number): Promise<void> {
  clock.set(arrivedMs);
  const routed = router.route({ topic, bytes: Buffer.from(payload), arrivedMs, retain: false });
  await new Promise<void>((resolve) => engine.deliver({ arrivedMs, ...routed, committed: resolve }));
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
