/** The import desk over a real store: chunks, order, what is judged and what is not, trouble on the way, and what is remembered. */
import { Readable } from 'node:stream';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { noChoices } from '../../adapters/csv-choices.ts';
import { type Clock, systemClock } from '../../src/clock.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import type { Fleet, Point } from '../../src/domain/fleet.ts';
import type { EngineFace } from '../../src/engine/contract.ts';
import type { ImportDesk, ImportProgress, ImportRefusal, ImportRequest } from '../../src/engine/import-contract.ts';
import { importDesk } from '../../src/engine/import-desk.ts';
import { proposals } from '../../src/engine/import-mapping.ts';
import { makeLogger } from '../../src/log.ts';
import { type Store, StoreError } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';

const NOW = Date.UTC(2026, 10, 25, 12);
const point = (id: string, kind: Point['kind'], name: string, tankId: string | null = 'reef', unit: string | null = null): Point => ({
  id, siteId: 'hall', tankId, equipmentId: null, name, kind, place: 'display', unit, everyMs: MINUTE, silentAfterMs: 10 * MINUTE, keepMs: null, source: null,
});
const fleet: Fleet = {
  clients: [], equipment: [], ruleSettings: [], people: [], onCall: { steps: [], repeatAfterMs: null },
  sites: [{ id: 'hall', clientId: 'c', name: 'Hall', timeZone: 'America/Denver', address: null, contacts: [], access: null, breaker: null, waterShutOff: null, topics: 'hall/', account: null, httpTokenEnv: null }],
  tanks: [{ id: 'reef', siteId: 'hall', name: 'Reef', water: 'reef', displayLitres: 400, sumpLitres: 0 }],
  points: [point('reef/temperature', 'temperature', 'Display temperature'), point('reef/heater', 'power', 'Heater 1 power'), point('reef/pump', 'switch', 'Return pump'), point('hall/room', 'temperature', 'Room temperature', null, '°F')],
};

/** Takes everything and says at once that it is committed. */
class Engine {
  readonly deliveries: Delivery[] = [];
  refuseFirst = 0;
  deliver = (delivery: Delivery): boolean => {
    if (this.refuseFirst > 0) {
      this.refuseFirst -= 1;
      return false;
    }
    this.deliveries.push(delivery);
    delivery.committed();
    return true;
  };
}

const clock: Clock = { ...systemClock, now: () => NOW, sleep: async () => undefined };
let store: Store;
let engine: Engine;
let desk: ImportDesk;
let trouble: (() => void) | null;

beforeEach(async () => {
  store = await openSqliteStore(':memory:');
  engine = new Engine();
  trouble = null;
  desk = importDesk({
    store: { ...store, addHistory: async (history) => {
      trouble?.();
      return store.addHistory(history);
    } },
    engine: engine as unknown as EngineFace, fleet: () => fleet, clock, log: makeLogger('silent', () => NOW),
  });
});
afterEach(() => store.close());

let ids = 0;
const request = (content: string | (() => Readable), more: Partial<ImportRequest> = {}): ImportRequest => ({
  id: `job-${(ids += 1)}`, tankId: 'reef', choices: noChoices, useMemory: true, propose: false, lookBytes: null, by: 'Ada Example',
  file: { name: 'a.csv', bytes: 1, open: () => (typeof content === 'string' ? Readable.from([Buffer.from(content)]) : content()) }, ...more,
});
async function run(asked: ImportRequest): Promise<ImportProgress & { readonly rejected: readonly ImportRefusal[] }> {
  const rejected: ImportRefusal[] = [];
  const job = desk.start(asked, async (more) => {
    rejected.push(...more);
  });
  if (job === null) throw new Error('not taken');
  return { ...(await job.ended), rejected };
}
const readingsOf = async (pointId: string) => {
  const series = await store.seriesOf(pointId);
  return series === null ? [] : store.readings(series, 0, NOW + DAY);
};
const iso = (atMs: number): string => new Date(atMs).toISOString();

test('what is no number any more in the unit it is kept in is refused with its line, and takes nothing with it', async () => {
  const rows = [`${iso(NOW - 3 * DAY)},1e306`, `${iso(NOW - 2 * DAY)},0.3`, `${iso(NOW - MINUTE)},1e306`];
  const done = await run(request(`time,heater (kW)\n${rows.join('\n')}\n`));
  expect(done).toMatchObject({ state: 'done', report: { stored: 1, refusedTotal: 2 }, rejected: [{ line: 2, reason: expect.stringContaining('1e+306 kW is too large') }, { line: 4 }] });
  expect(await readingsOf('reef/heater')).toMatchObject([{ value: 300 }]);
});

test('a time no calendar can write is refused with its line, and takes nothing with it', async () => {
  const rows = [`${NOW - 3 * DAY},25`, '8900000000000000,26', `${NOW - 2 * DAY},27`];
  const done = await run(request(`time,temperature\n${rows.join('\n')}\n`, { choices: { ...noChoices, timeFormat: 'ms' } }));
  expect(done).toMatchObject({ state: 'done', problem: null, report: { stored: 2, refusedTotal: 1 }, rejected: [{ line: 3, reason: expect.stringContaining('out of all bounds') }] });
});

describe('what is old is stored, what is recent is judged', () => {
  test('in order of time, with the newest of the old so that "last seen" is right', async () => {
    const rows = [`${iso(NOW - MINUTE)},27`, `${iso(NOW - 3 * DAY)},25`, `${iso(NOW - 2 * MINUTE)},26`, `${iso(NOW - DAY)},25.5`];
    const done = await run(request(`time,temperature\n${rows.join('\n')}\n`));
    expect(done).toMatchObject({ state: 'done', problem: null, report: { rowsRead: 4, stored: 4, alreadyKnown: 0, refusedTotal: 0, span: { fromMs: NOW - 3 * DAY, toMs: NOW - MINUTE } } });
    expect(await readingsOf('reef/temperature')).toMatchObject([{ atMs: NOW - 3 * DAY, value: 25 }, { atMs: NOW - DAY, value: 25.5 }]);
    expect(engine.deliveries.flatMap(({ samples }) => samples.map(({ atMs, value }) => [atMs, value]))).toEqual([[NOW - DAY, 25.5], [NOW - 2 * MINUTE, 26], [NOW - MINUTE, 27]]);
  });

  test('a full queue is waited for', async () => {
    engine.refuseFirst = 3;
    expect(await run(request(`time,temperature\n${iso(NOW - MINUTE)},27\n`))).toMatchObject({ state: 'done', report: { stored: 1 } });
    expect(engine.deliveries).toHaveLength(1);
  });

  test('of too many recent ones the newest are judged and all are kept', async () => {
    const many = 205_000;
    const rows = Array.from({ length: many }, (_, n) => `${NOW - MINUTE * 9 + n},${n % 90}`);
    const done = await run(request(`time,heater\n${rows.join('\n')}\n`, { choices: { ...noChoices, timeFormat: 'ms' } }));
    expect(done.report).toMatchObject({ rowsRead: many, stored: many });
    const judged = engine.deliveries.flatMap(({ samples }) => samples);
    expect(judged.length).toBeLessThanOrEqual(205_001);
    expect(judged.at(-1)?.atMs).toBe(NOW - MINUTE * 9 + many - 1);
    expect((await readingsOf('reef/heater')).length + judged.length).toBeGreaterThanOrEqual(many);
  });

  test('many chunks, the same file twice, units of header, mapping and point', async () => {
    const rows = Array.from({ length: 25_000 }, (_, n) => `${iso(NOW - 30 * DAY + n * 1000)},77,1.5,on,68`);
    const content = `time,temperature (°F),Heizung,pump,hall/room\n${rows.join('\n')}\n`;
    const choices = { ...noChoices, columns: [{ label: 'Heizung', target: 'heater', unit: 'kW' }] };
    expect((await run(request(content, { choices }))).report).toMatchObject({ rowsRead: 25_000, stored: 100_000, alreadyKnown: 0 });
    expect((await readingsOf('reef/temperature')).at(0)).toMatchObject({ value: 25 });
    expect((await readingsOf('reef/heater')).at(0)).toMatchObject({ value: 1500 });
    expect((await readingsOf('reef/pump')).at(0)).toMatchObject({ value: 1 });
    expect((await readingsOf('hall/room')).at(-1)).toMatchObject({ value: 20, quality: 0 });
    // The mapping is remembered.
    expect((await run(request(content))).report).toMatchObject({ stored: 0, alreadyKnown: 100_000 });
  });
});

describe('trouble', () => {
  test('of the store for a moment is sat out', async () => {
    let left = 3;
    trouble = () => {
      left -= 1;
      if (left >= 0) throw new StoreError('database is locked', { permanent: false });
    };
    expect(await run(request(`time,temperature\n${iso(NOW - DAY)},25\n`))).toMatchObject({ state: 'done', report: { stored: 1 } });
  });

  test('that does not pass ends the import, says where, and keeps what was stored', async () => {
    let calls = 0;
    trouble = () => {
      calls += 1;
      if (calls > 1) throw new StoreError('disk is full', { permanent: false });
    };
    const rows = Array.from({ length: 25_000 }, (_, n) => `${iso(NOW - 30 * DAY + n * 1000)},25`);
    const done = await run(request(`time,temperature\n${rows.join('\n')}\n`));
    expect(done).toMatchObject({ state: 'failed', problem: expect.stringMatching(/^stopped near line \d+: disk is full$/), report: { stored: 10_000 } });
    expect((await store.journal({ limit: 1 }))[0]?.text).toMatch(/^a\.csv: 10000 readings stored, .*disk is full$/);
    expect(await readingsOf('reef/temperature')).toHaveLength(10_000);
  });

  test('of the file: it is told, and the next import goes on', async () => {
    const gone = request(() => Readable.from((async function* () {
      yield Buffer.from(`time,temperature\n${iso(NOW - DAY)},25\n`);
      throw Object.assign(new Error('no such file'), { code: 'ENOENT' });
    })()));
    expect(await run(gone)).toMatchObject({ state: 'failed', problem: expect.stringContaining('no such file') });
    expect(await run(request('nothing,here\n1,2\n'))).toMatchObject({ state: 'failed', problem: expect.stringContaining('line 1: no column of the header is called "time"') });
    expect(await run(request(`time,temperature\n${iso(NOW - DAY)},25\n`))).toMatchObject({ state: 'done' });
  });

  test('cancelled before it began, and while it runs; stopping the desk cancels all', async () => {
    const rows = Array.from({ length: 60_000 }, (_, n) => `${iso(NOW - 30 * DAY + n * 1000)},25`);
    const content = `time,temperature\n${rows.join('\n')}\n`;
    const sink = async (): Promise<void> => undefined;
    const first = desk.start(request(content), sink);
    const second = desk.start(request(content), sink);
    const third = desk.start(request(content), sink);
    second?.cancel('Bo Sample');
    trouble = () => first?.cancel('Ada Example');
    expect(await second?.ended).toMatchObject({ state: 'cancelled', problem: 'cancelled by Bo Sample before it began' });
    const ended = await first?.ended;
    expect(ended).toMatchObject({ state: 'cancelled', problem: 'cancelled by Ada Example' });
    expect(ended?.report.stored).toBe((await readingsOf('reef/temperature')).length);
    expect(ended?.report.stored).toBeLessThan(60_000);
    trouble = null;
    await desk.stop();
    expect(third?.progress().state).toBe('cancelled');
    expect(desk.start(request(content), sink)).toBeNull();
  });

  test('more than a few in line are told to come back', () => {
    const sink = async (): Promise<void> => undefined;
    const taken = Array.from({ length: 12 }, () => desk.start(request('time,temperature\n'), sink));
    expect(taken.filter((job) => job === null).length).toBeGreaterThanOrEqual(3);
  });
});

describe('refused lines', () => {
  test('each with its line; a column that goes nowhere once; the future and an unset clock', async () => {
    const done = await run(request(`time,temperature,noise\n${iso(NOW - DAY)},25,1\n${iso(NOW + HOUR)},25,1\n1999-12-31T00:00:00Z,25,1\n${iso(NOW - 2 * DAY)},x,1\n`));
    expect(done.report).toMatchObject({ rowsRead: 4, stored: 1, refusedTotal: 4 });
    expect(done.rejected.map(({ line, reason }) => [line, reason])).toEqual([
      [5, expect.stringContaining('"x" is no number')], [2, expect.stringMatching(/"noise" is no point of reef; map it to one of temperature, heater, pump, hall\/room.*left out/)],
      [3, expect.stringContaining('in the future')], [4, expect.stringContaining('before the year 2000')],
    ]);
  });

  test('two columns for one point: the second is left out and told, unless a long file says so', async () => {
    const wide = await run(request(`time,temperature,Display temperature\n${iso(NOW - DAY)},25,26\n`));
    expect(wide.rejected).toEqual([{ line: 2, reason: expect.stringContaining('"Display temperature" goes to reef/temperature, and "temperature" goes there already') }]);
    expect(await readingsOf('reef/temperature')).toMatchObject([{ value: 25 }]);
  });
});

describe('what no point takes is counted', () => {
  const skip = (label: string) => ({ label, target: '@skip', unit: null });
  const columns = [skip('note')];
  const day = (n: number): string => iso(NOW - (9 - n) * DAY);

  // Lines in quotes go the long way through the reader, the others the fast one.
  test.each([['plain', ''], ['quoted', '"']])('of a wide file (%s): goes nowhere, is left out as said, has no name', async (_how, quote) => {
    const cell = (text: string): string => `${quote}${text}${quote}`;
    const rows = [[day(1), '', '25', '7', 'cleaned'], [day(2), '3', '25.1', '', 'n/a'], [day(3), '4', '25.2', '8', ''], [day(4), '', 'x', '9', 'fed']];
    const done = await run(request(`time,,temperature,noise,note\n${rows.map((row) => row.map(cell).join(',')).join('\n')}\n`, { choices: { ...noChoices, columns } }));
    expect(done.report).toMatchObject({
      stored: 3, leftOutTotal: 7,
      leftOut: [{ label: 'noise', values: 3, why: 'nowhere' }, { label: 'column 2', values: 2, why: 'said' }, { label: 'note', values: 2, why: 'said' }],
    });
    expect((await store.journal({ limit: 1, kinds: ['import'] }))[0]).toMatchObject({ text: 'a.csv: 3 readings stored, 0 known already, 2 refused, 7 left out', detail: { leftOut: expect.arrayContaining([expect.objectContaining({ label: 'noise' })]) } });
  });

  test('of a long file: series without a point, series left out as said, a column beside', async () => {
    const rows = [1, 2, 3, 4].flatMap((n) => [`${day(n)},temperature,25,`, `${day(n)},noise,1,old`, ...(n > 2 ? [`${day(n)},note,5,`] : [])]);
    const done = await run(request(`time,series,value,remark\n${rows.join('\n')}\n`, { choices: { ...noChoices, columns } }));
    expect(done.report).toMatchObject({ stored: 4, refusedTotal: 1, leftOutTotal: 10 });
    expect(new Set(done.report.leftOut)).toEqual(new Set([{ label: 'noise', values: 4, why: 'nowhere' }, { label: 'remark', values: 4, why: 'said' }, { label: 'note', values: 2, why: 'said' }]));
  });

  test('of more names than anybody reads, those with most are named and all are counted', async () => {
    const rows = Array.from({ length: 300 }, (_, n) => `${day(1)},s${n},1`);
    const { report } = await run(request(`time,series,value\n${rows.join('\n')}\n${day(2)},s299,1\n`));
    expect([report.leftOut.length, report.leftOutTotal, report.leftOut[0]]).toEqual([200, 301, { label: 's299', values: 2, why: 'nowhere' }]);
  });
});

test('a look stores nothing, not even a series', async () => {
  const look = await desk.look(request(`time,temperature\n${iso(NOW - DAY)},25\n`));
  expect(look).toMatchObject({ report: { rowsRead: 1, stored: 1 }, layout: 'wide', timeZone: 'America/Denver' });
  expect(await store.seriesOf('reef/temperature')).toBeNull();
  expect(engine.deliveries).toEqual([]);
  expect(await store.journal({ limit: 5 })).toEqual([]);
});

test('a look at a large file goes as far as asked, ends with a whole line, and says so; the import reads all of it', async () => {
  const rows = Array.from({ length: 2000 }, (_, n) => `${iso(NOW - 9 * DAY + n * MINUTE)},${n === 1999 ? 'x' : '25'}`);
  const content = `time,temperature\n${rows.join('\n')}\n`;
  const whole = Buffer.byteLength(content);
  const asked = request(content, { lookBytes: 10_000, file: { name: 'a.csv', bytes: whole, open: () => Readable.from((function* () { for (let at = 0; at < whole; at += 777) yield Buffer.from(content).subarray(at, at + 777); })()) } });
  // 17 bytes of header, 28 a row: 356 rows fit in 10,000 bytes, and the half of the next is left out.
  expect(await desk.look(asked)).toMatchObject({ lookedAt: { bytes: 10_000, ofBytes: whole }, report: { rowsRead: 356, stored: 356, refusedTotal: 0 } });
  expect(await desk.look({ ...asked, lookBytes: whole })).toMatchObject({ lookedAt: null, report: { rowsRead: 2000, refusedTotal: 1 } });
  expect(await run(asked)).toMatchObject({ state: 'done', report: { rowsRead: 2000, stored: 1999, refusedTotal: 1 } });
});

test('what is remembered of points that are gone is not used', async () => {
  const content = `time,Wasser\n${iso(NOW - DAY)},25\n`;
  await run(request(content, { choices: { ...noChoices, columns: [{ label: 'Wasser', target: 'reef/temperature', unit: null }] } }));
  const look = await desk.look(request(content));
  expect('wrong' in look ? null : look.remembered).toMatchObject({ by: 'Ada Example' });
  const memory = await store.importMemory('wrong' in look ? '' : 'x', 'reef');
  expect(memory).toBeNull();
  const later = importDesk({ store, engine: engine as unknown as EngineFace, clock, log: makeLogger('silent', () => NOW), fleet: () => ({ ...fleet, points: fleet.points.slice(1) }) });
  const changed = await later.look(request(content));
  expect('wrong' in changed ? null : changed.columns.find(({ label }) => label === 'Wasser')?.target).toBeNull();
});

describe('proposals', () => {
  const column = (name: string, unit: string | null = null) => ({ label: unit === null ? name : `${name} (${unit})`, name, unit });
  const points = fleet.points;
  test.each<[string, string | null, string | null]>([
    ['temperature', null, 'reef/temperature'], ['DISPLAY TEMPERATURE', null, 'reef/temperature'], ['Room temp', '°F', 'hall/room'], ['Heater', 'W', 'reef/heater'], ['Leistung', 'W', 'reef/heater'],
    // Two thermometers are equally likely, and a unit that does not fit rules a point out.
    ['T', '°C', null], ['Heater', '°C', null], ['Noise', 'dB', null], ['what is on the roof', null, null],
  ])('%s in %s: %s', (name, unit, expected) => {
    const one = column(name, unit);
    expect(proposals([one], points, 'reef').get(one.label)?.point.id ?? null).toBe(expected);
  });

  test('each point once, the best match first', () => {
    const found = proposals([column('Temp', '°C'), column('Display temperature', '°C')], points, 'reef');
    expect(found.get('Display temperature (°C)')?.point.id).toBe('reef/temperature');
    expect(found.get('Temp (°C)')?.point.id).not.toBe('reef/temperature');
  });
});
