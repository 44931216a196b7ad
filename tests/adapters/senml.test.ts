/** SenML against RFC 8428 (check-values §8.1): the published resolved list, the CBOR of §6, the border between relative and absolute time. */
import { encode } from 'cborg';
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { readSenml, type SenmlPack } from '../../adapters/senml-pack.ts';

const now = Date.parse('2026-03-03T18:00:00Z');
const json = (pack: unknown): Uint8Array => Buffer.from(JSON.stringify(pack));
const records = (pack: SenmlPack) => {
  if (!pack.ok) throw new Error(pack.reason);
  expect(pack.problems).toEqual([]);
  return pack.records;
};

const device = 'urn:dev:ow:10e2073a01080063';
const moving = JSON.parse(readFileSync(new URL('./senml/rfc8428-5-1-3-mixed-units/input.json', import.meta.url), 'utf8')) as unknown;

// §5.1.4, the published resolved list.
const resolved = [
  ['%RH', 1320067464, 20], ['lon', 1320067464, 24.30621], ['lat', 1320067464, 60.07965],
  ['%RH', 1320067524, 20.3], ['lon', 1320067524, 24.30622], ['lat', 1320067524, 60.07965],
  ['%RH', 1320067584, 20.7], ['lon', 1320067584, 24.30623], ['lat', 1320067584, 60.07966],
  ['%EL', 1320067614, 98],
  ['%RH', 1320067644, 21.2], ['lon', 1320067644, 24.30628], ['lat', 1320067644, 60.07967],
].map(([unit, seconds, value]) => ({ name: device, unit, atMs: Number(seconds) * 1000, value, sum: null, nextWithinMs: null }));

it('resolves §5.1.3 to §5.1.4, exactly', () => {
  expect(records(readSenml(json(moving), now))).toEqual(resolved);
});

/** RFC 8428 §6, table 4, written down a second time. */
const numbers: Record<string, number> = { bver: -1, bn: -2, bt: -3, bu: -4, bv: -5, bs: -6, n: 0, u: 1, v: 2, vs: 3, vb: 4, s: 5, t: 6, ut: 7, vd: 8 };
const asCbor = (pack: readonly Record<string, unknown>[]): Uint8Array => encode(pack.map((record) => new Map(Object.entries(record).map(([key, value]) => [numbers[key] ?? key, value]))));

describe('a CBOR pack written by another library says what its JSON says', () => {
  const here = new URL('./senml/', import.meta.url);
  const packs = readdirSync(here).filter((name) => readdirSync(new URL(`${name}/`, here)).includes('input.json')).flatMap((name) => {
    const text = readFileSync(new URL(`${name}/input.json`, here), 'utf8');
    try {
      const pack: unknown = JSON.parse(text);
      return Array.isArray(pack) && !text.includes('1e999') && !name.startsWith('doubled') ? [[name, pack as Record<string, unknown>[]] as const] : [];
    } catch {
      return [];
    }
  });
  it.each(packs)('%s', (_name, pack) => {
    expect(packs.length).toBeGreaterThan(25);
    expect(readSenml(asCbor(pack), now)).toEqual(readSenml(json(pack), now));
  });
});

// The layout of the first records of §5.1.2 as CBOR (§6), put together by hand.
it('reads CBOR bytes put together by hand', () => {
  const bytes = Buffer.from(
    '83' + // three records
    'a7' + '21' + '781b' + Buffer.from('urn:dev:ow:10e2073a0108006:').toString('hex') + '22' + 'fb41d303a15b001062' + '23' + '6141' + '20' + '05' + '00' + '67766f6c74616765' + '01' + '6156' + '02' + 'fb405e066666666666' +
    'a3' + '00' + '6763757272656e74' + '06' + '24' + '02' + 'fb3ff3333333333333' +
    'a2' + '00' + '6763757272656e74' + '02' + 'fb3ffb333333333333',
    'hex',
  );
  const name = 'urn:dev:ow:10e2073a0108006:';
  expect(records(readSenml(bytes, now)).map((record) => [record.name, record.unit, record.atMs, record.value])).toEqual([
    [`${name}current`, 'A', 1276020071001, 1.2],
    [`${name}voltage`, 'V', 1276020076001, 120.1],
    [`${name}current`, 'A', 1276020076001, 1.7],
  ]);
});

// Rule 2 of check-values §8.1: below 2^28 s relative, from there on absolute; the first absolute instant is 1978-07-04T21:24:16Z.
it.each([
  [2 ** 28 - 1, now + (2 ** 28 - 1) * 1000],
  [2 ** 28, Date.parse('1978-07-04T21:24:16Z')],
  [2 ** 28 - 0.001, now + (2 ** 28) * 1000 - 1],
  [-1, now - 1000],
  [-(2 ** 28), now - 2 ** 28 * 1000],
  [0, null],
])('time %d', (t, atMs) => {
  expect(records(readSenml(json([{ n: 'a', v: 1, t }]), now))[0]?.atMs).toBe(atMs);
  expect(records(readSenml(json([{ n: 'a', v: 1, bt: t }]), now))[0]?.atMs).toBe(atMs);
});

// The float trap of check-values §8.1.
it('keeps whole milliseconds where doubles do not', () => {
  // Doubles near 1.3e9 lie 2.4e-7 apart, so the sum in seconds is not the decimal it looks like.
  expect((1276020076.001 + -0.1).toFixed(9)).not.toBe('1276020075.901000000');
  expect(records(readSenml(json([{ bt: 1276020076.001, t: -0.1, n: 'a', v: 1 }]), now))[0]?.atMs).toBe(1276020075901);
  expect(records(readSenml(json([{ bt: 1276020076.001, t: -5, n: 'a', v: 1 }]), now))[0]?.atMs).toBe(1276020071001);
});

it('reads at most 5000 records', () => {
  const pack = Array.from({ length: 5001 }, () => ({ n: 'a', v: 1 }));
  expect(readSenml(json(pack), now)).toEqual({ ok: false, reason: expect.stringContaining('5001 records') });
  expect(records(readSenml(json(pack.slice(1)), now)).length).toBe(5000);
});
