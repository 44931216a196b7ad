/** Random and damaged bytes over every format: answers, never exceptions; no sample that is not a value. A failure prints its seed. */
import { readdirSync, readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { z } from 'zod';
import { loadFormats } from '../../adapters/load.ts';
import { CsvFileError, readCsv } from '../../adapters/csv.ts';
import { messageFields } from '../../adapters/message-fields.ts';
import { senmlParts } from '../../adapters/senml-fields.ts';
import { UNCLAIMED_MESSAGE_BYTES } from '../../src/domain/unclaimed.ts';
import { packetGuard } from '../../adapters/packet-guard.ts';
import { lookAtCsv } from '../../adapters/csv-look.ts';
import { versionIn } from '../../adapters/protocol-version.ts';

/** Mulberry32, a small seeded generator. */
function random(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

function damaged(bytes: Buffer, next: () => number): Buffer {
  const copy = Buffer.from(bytes);
  for (let hits = Math.floor(next() * 4); hits >= 0 && copy.length > 0; hits--) copy[Math.floor(next() * copy.length)] = Math.floor(next() * 256);
  return next() < 0.3 ? copy.subarray(0, Math.floor(next() * copy.length)) : copy;
}

const noise = (next: () => number): Buffer => Buffer.from(Array.from({ length: Math.floor(next() * 80) }, () => Math.floor(next() * 256)));

const formats = await loadFormats();
const fields: Record<string, unknown[]> = {
  number: [{}],
  json: [{ value: '/t', time: '/time', unit: '/u' }, { value: '/outlets/0/watts', time: '/time', timeFormat: 's' }, { value: '' }, { samples: '/readings', value: '/v', time: '/at/utc' }, { samples: '', value: '/1', time: '/0', timeFormat: 'us' }],
  senml: [{ name: 'urn:dev:ow:10e2073a01080063' }, { name: 'a' }, { name: 'a', read: 'sum' }],
};

for (const [name, format] of formats) {
  if (!('prepare' in format)) continue;
  it(`${name} answers whatever comes`, () => {
    const decode = format.prepare((fields[name] ?? []).map((options, index) => ({ pointId: `p/${index}`, options: format.options.parse(options) })));
    const here = new URL(`./${name}/`, import.meta.url);
    const inputs = readdirSync(here).flatMap((folder) => readdirSync(new URL(`${folder}/`, here)).filter((file) => file.startsWith('input.')).map((file) => readFileSync(new URL(`${folder}/${file}`, here))));
    expect(inputs.length).toBeGreaterThan(5);
    for (let seed = 1; seed <= 4000; seed++) {
      const next = random(seed);
      const input = inputs[Math.floor(next() * inputs.length)] ?? Buffer.alloc(0);
      const bytes = next() < 0.3 ? noise(next) : damaged(input, next);
      const { samples, refusals, unread = [] } = decode(bytes, { topic: 'a/b', arrivedMs: 0 });
      const where = `seed ${seed}: ${JSON.stringify(bytes.toString('latin1'))}`;
      expect(samples.length + refusals.length + unread.length, where).toBeGreaterThan(0);
      for (const { value, atMs } of samples) {
        expect(typeof value !== 'number' || Number.isFinite(value), where).toBe(true);
        expect(value, where).not.toBe('');
        expect(atMs === null || Number.isSafeInteger(atMs), where).toBe(true);
      }
      for (const { reason } of refusals) expect(reason, where).toMatch(/\w{3}/);
    }
  });
}

it('sparkplug answers whatever comes, in any order, and remembers no more than before', () => {
  const format = formats.get('sparkplug');
  if (format === undefined || !('open' in format)) throw new Error('no session format');
  const here = new URL('./sparkplug/', import.meta.url);
  const inputs = readdirSync(here).flatMap((folder) => z.array(z.object({ topic: z.string(), hex: z.string() })).parse(JSON.parse(readFileSync(new URL(`${folder}/messages.json`, here), 'utf8'))));
  expect(inputs.length).toBeGreaterThan(40);
  const fieldsOf = (metric: string, address: string) => ({ pointId: `t/${metric}`, address, options: format.options.parse({ metric }) });
  const session = format.open([fieldsOf('Temperature', 'spBv1.0/harbor/edge-1'), fieldsOf('Int64', 'spBv1.0/harbor/edge-1'), fieldsOf('Level', 'spBv1.0/harbor/edge-1/sump')], 'tankbell');
  const kinds = new Set<string>();
  for (let seed = 1; seed <= 8000; seed++) {
    const next = random(seed);
    const input = inputs[Math.floor(next() * inputs.length)] ?? { topic: '', hex: '' };
    const good = Buffer.from(input.hex, 'hex');
    const bytes = next() < 0.2 ? noise(next) : next() < 0.4 ? good : damaged(good, next);
    const { samples, refusals, presence = [], ask = [], unclaimed = [] } = session.decode(bytes, { topic: input.topic, arrivedMs: 1_772_560_800_000 + seed * 1000 });
    const where = `seed ${seed}: ${input.topic} ${bytes.toString('hex')}`;
    for (const { value, atMs } of samples) {
      expect(typeof value !== 'number' || Number.isFinite(value), where).toBe(true);
      expect(atMs === null || Number.isSafeInteger(atMs), where).toBe(true);
    }
    for (const { reason, excerpt } of refusals) expect(reason.length < 2000 && /\w{3}/.test(reason) && excerpt.length <= 120, where).toBe(true);
    for (const { pointIds, atMs } of presence) expect(pointIds.length > 0 && Number.isSafeInteger(atMs), where).toBe(true);
    expect(refusals.length, where).toBeLessThanOrEqual(20);
    expect(ask.length, where).toBeLessThanOrEqual(1);
    for (const kept of unclaimed) expect(kept.bytes.length <= UNCLAIMED_MESSAGE_BYTES && messageFields(kept.topic, kept.bytes, 0).fields.length > 0, where).toBe(true);
    for (const kind of [samples.length > 0 && 'sample', refusals.length > 0 && 'refusal', presence.length > 0 && 'presence', ask.length > 0 && 'ask', unclaimed.length > 0 && 'unclaimed']) if (typeof kind === 'string') kinds.add(kind);
  }
  expect([...kinds].sort()).toEqual(['ask', 'presence', 'refusal', 'sample', 'unclaimed']);
});

it('what could be claimed of a message is found, or nothing, whatever comes', () => {
  const inputs = ['json', 'senml'].flatMap((name) => {
    const here = new URL(`./${name}/`, import.meta.url);
    return readdirSync(here).flatMap((folder) => readdirSync(new URL(`${folder}/`, here)).filter((file) => file.startsWith('input.')).map((file) => readFileSync(new URL(`${folder}/${file}`, here))));
  });
  let found = 0;
  for (let seed = 1; seed <= 6000; seed++) {
    const next = random(seed);
    const input = inputs[Math.floor(next() * inputs.length)] ?? Buffer.alloc(0);
    const bytes = next() < 0.2 ? noise(next) : next() < 0.5 ? input : damaged(input, next);
    const where = `seed ${seed}: ${bytes.toString('hex')}`;
    for (const topic of ['a/b', 'spBv1.0/group/node']) {
      for (const { value, atMs } of messageFields(topic, bytes, 0).fields) {
        found += 1;
        expect((typeof value !== 'number' || Number.isFinite(value)) && (atMs === null || Number.isFinite(atMs)), where).toBe(true);
      }
    }
    // A pack that is cut is cut so that no part is longer than allowed, or is left whole.
    const parts = senmlParts(bytes, 0, 60);
    expect(parts.length === 1 || parts.every((part) => part.length <= 60), where).toBe(true);
  }
  expect(found).toBeGreaterThan(1000);
});

it('large hostile messages are refused in bounded time', () => {
  const big = 256 * 1024;
  const senml = formats.get('senml');
  const json = formats.get('json');
  const sparkplug = formats.get('sparkplug');
  if (senml === undefined || !('prepare' in senml) || json === undefined || !('prepare' in json) || sparkplug === undefined || !('open' in sparkplug)) throw new Error('a format is missing');
  const session = sparkplug.open([{ pointId: 't/a', address: 'spBv1.0/harbor/edge-1', options: { metric: 'a' } }], 'tankbell');
  const decodeSenml = senml.prepare([{ pointId: 't/a', options: senml.options.parse({ name: 'a' }) }]);
  const decodeJson = json.prepare([{ pointId: 't/a', options: json.options.parse({ samples: '/readings', value: '/v' }) }]);
  const bombs: Buffer[] = [
    Buffer.alloc(big, 0x81), Buffer.alloc(big, 0x9f), Buffer.alloc(big, 0xa0), Buffer.concat([Buffer.from('9f', 'hex'), Buffer.alloc(big - 2, 0xa0), Buffer.from('ff', 'hex')]),
    Buffer.concat([Buffer.from('9fbf', 'hex'), Buffer.alloc(big - 2, 0x00)]), Buffer.from('9bffffffffffffffff', 'hex'), Buffer.from('81bb7fffffffffffffff', 'hex'),
    Buffer.alloc(big, 0x0b), Buffer.alloc(big, 0x12), Buffer.concat(Array.from({ length: big / 2 }, () => Buffer.from('1200', 'hex'))), Buffer.from('12ffffffff7f', 'hex'),
    Buffer.alloc(big, '['), Buffer.from(`[${'{},'.repeat(big / 3 - 1)}{}]`), Buffer.from(`{"readings":[${'{"v":1,"v":2},'.repeat(18_000)}{}]}`), Buffer.from(`{"readings":[${'{"v":1,"v":2},'.repeat(4_900)}{}]}`),
  ];
  for (const [index, bytes] of bombs.entries()) {
    expect(bytes.length).toBeLessThanOrEqual(big);
    const began = performance.now();
    for (const decoded of [decodeSenml(bytes, { topic: 'a', arrivedMs: 0 }), decodeJson(bytes, { topic: 'a', arrivedMs: 0 }), session.decode(bytes, { topic: 'spBv1.0/harbor/NBIRTH/edge-1', arrivedMs: 0 })]) {
      expect(decoded.refusals.length, `bomb ${index}`).toBeGreaterThan(0);
      expect(decoded.refusals.length, `bomb ${index}`).toBeLessThanOrEqual(20);
    }
    // Milliseconds on any machine; the bound only has to tell them from minutes.
    expect(performance.now() - began, `bomb ${index}`).toBeLessThan(5000);
  }
}, 60_000);

it('CSV answers whatever comes after a good header', async () => {
  const good = Buffer.from('2026-03-04T12:00:00Z,1,"2"\n2026-03-04 12:00:00,on,3 °C\n04.03.2026 1:00 pm,,"a ""b"""\n');
  for (let seed = 1; seed <= 1000; seed++) {
    const next = random(seed);
    const text = Buffer.concat([Buffer.from('time,a (°F),b\n2026-03-04T12:00:00Z,1,2\n'), damaged(good, next), noise(next)]);
    let rows = 0;
    for await (const block of readCsv((async function* () { yield text; })(), { timeZone: 'America/Denver', dateOrder: 'dmy' })) {
      for (const row of block.rows) {
        rows += 1;
        expect(Number.isSafeInteger(row.atMs) && (typeof row.value === 'string' || Number.isFinite(row.value)), `seed ${seed}: ${JSON.stringify(row)}`).toBe(true);
      }
    }
    expect(rows, `seed ${seed}`).toBeGreaterThanOrEqual(2);
  }
});

it('CSV files of every kind, damaged anywhere: rows, refusals or one clear stop, and the look agrees', async () => {
  const here = new URL('./csv/', import.meta.url);
  const inputs = readdirSync(here).map((name) => readFileSync(new URL(`${name}/input.csv`, here)));
  const allOptions = [{}, { timeZone: 'America/Denver', dateOrder: 'dmy', overlap: 'in-order' }, { timeZone: 'UTC', timeFormat: 'spreadsheet', decimalComma: true }, { layout: 'long', timeZone: 'UTC' }] as const;
  for (let seed = 1; seed <= 4000; seed++) {
    const next = random(seed);
    const bytes = next() < 0.2 ? noise(next) : damaged(inputs[Math.floor(next() * inputs.length)] ?? Buffer.alloc(0), next);
    const options = allOptions[Math.floor(next() * allOptions.length)] ?? {};
    const where = `seed ${seed}: ${JSON.stringify(bytes.toString('latin1'))}`;
    const cut = Math.floor(next() * bytes.length);
    const pieces = async function* () { yield bytes.subarray(0, cut); yield bytes.subarray(cut); };
    const look = await lookAtCsv(pieces(), options);
    const stopped: unknown = await (async () => {
      for await (const { rows, refusals } of readCsv(pieces(), options)) {
        for (const { atMs, value, label } of rows) expect(Number.isSafeInteger(atMs) && label !== '' && (typeof value === 'string' ? value !== '' : Number.isFinite(value)), where).toBe(true);
        for (const { line, reason } of refusals) expect(line > 0 && /\w{3}/.test(reason), where).toBe(true);
      }
      return null;
    })().catch((error: unknown) => error);
    if (stopped !== null) expect(stopped, where).toBeInstanceOf(CsvFileError);
    // Whoever looked first knows already that it stops: it cannot be opened, or something has to be asked.
    expect('wrong' in look || look.questions.some(({ needed }) => needed) || stopped === null, where).toBe(true);
  }
}, 60_000);

it('the first look at a connection and the packet guard do not fall over', () => {
  for (let seed = 1; seed <= 4000; seed++) {
    const next = random(seed);
    const bytes = noise(next);
    if (bytes.length > 0 && next() < 0.7) bytes[0] = 0x10;
    expect(['fine', 'too-large', 'malformed'], `seed ${seed}`).toContain(packetGuard(1000)(bytes));
    if (bytes.length > 20) expect(versionIn(bytes), `seed ${seed}`).not.toBe('more');
  }
});
