/** What no point reads of a SenML pack or of a Sparkplug gateway: found, kept so that it can be read later, and never without bound. */
import { encode } from 'cborg';
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { messageFields } from '../../adapters/message-fields.ts';
import { unreadFields } from '../../adapters/rest-of-document.ts';
import { senmlParts } from '../../adapters/senml-fields.ts';
import { type KeptMetric, prepareKept, writeKept } from '../../adapters/sparkplug-kept.ts';
import { UnreadMetrics } from '../../adapters/sparkplug-unread.ts';
import { readSenml } from '../../adapters/senml-pack.ts';
import { placeText, UNCLAIMED_MESSAGE_BYTES } from '../../src/domain/unclaimed.ts';
import { point, router, site } from './rig.ts';
import { encodePayload } from './edge-node.ts';

const nowMs = Date.parse('2026-03-03T18:00:00Z');
const json = (value: unknown): Buffer => Buffer.from(JSON.stringify(value));
const golden = (name: string): Buffer => readFileSync(new URL(`./senml/${name}`, import.meta.url));
const valuesIn = (topic: string, bytes: Uint8Array) => messageFields(topic, bytes, nowMs).fields.map(({ place, value, unit, atMs }) => [placeText(place), value, unit, atMs]);
const device = 'urn:dev:ow:10e2073a01080063';

describe('SenML', () => {
  // RFC 8428 §5.1.2, the second and third example (check-values §8.1).
  it.each(['input.json', 'input.cbor'])('finds each name of a pack, newest first (%s)', (file) => {
    const folder = file === 'input.cbor' ? '-cbor' : '';
    expect(valuesIn('a/b', golden(`rfc8428-5-1-2-a-multiple${folder}/${file}`))).toEqual([[`${device}:voltage V`, 120.1, 'V', null], [`${device}:current A`, 1.2, 'A', null]]);
    const name = 'urn:dev:ow:10e2073a0108006:';
    expect(valuesIn('a/b', golden(`rfc8428-5-1-2-b-history${folder}/${file}`))).toEqual([
      [`${name}voltage V`, 120.1, 'V', 1276020076001],
      ...[1.7, 1.6, 1.5, 1.4, 1.3, 1.2].map((amperes, back) => [`${name}current A`, amperes, 'A', 1276020076001 - back * 1000]),
    ]);
  });

  // RFC 8428 §5.1.4: one name, four quantities.
  it('tells quantities under one name apart by their units, and knows which are read', () => {
    const { fields } = messageFields('a/b', golden('rfc8428-5-1-3-mixed-units/input.json'), nowMs);
    expect([...new Set(fields.map(({ place }) => placeText(place)))].sort()).toEqual([`${device} %EL`, `${device} %RH`, `${device} lat`, `${device} lon`]);
    const left = (options: object[]) => [...new Set(unreadFields(fields, options).map(({ place }) => placeText(place)))].sort();
    expect(left([{ name: device, unit: '%RH', read: 'value' }, { name: device, unit: 'lon', read: 'value' }])).toEqual([`${device} %EL`, `${device} lat`]);
    expect(left([{ name: device, read: 'value' }])).toEqual([]);
    expect(left([{ name: 'other', read: 'value' }])).toHaveLength(4);
  });

  it('takes a list of JSON objects that are no records for what it is', () => {
    expect(valuesIn('a/b', json([{ watts: 7 }, { name: 'x', temp: 25.5 }]))).toEqual([['/0/watts', 7, null, null], ['/1/temp', 25.5, null, null]]);
  });

  it('offers a sum where it is a quantity that is kept', () => {
    expect(valuesIn('a/b', json([{ n: 'pump', u: 'W', v: 40, s: 7200 }]))).toEqual([['pump W', 40, 'W', null], ['pump W (sum)', 7200, 'J', null]]);
  });

  it('keeps a pack that is too long in parts that say the same', () => {
    const pack = Array.from({ length: 400 }, (_, n) => ({ ...(n === 0 ? { bn: 'urn:dev:mac:0024befffe804ff1:', bt: nowMs / 1000 } : {}), n: `probe-${n % 40}`, u: 'Cel', v: 20 + n / 100, t: -n }));
    const parts = senmlParts(json(pack), nowMs, UNCLAIMED_MESSAGE_BYTES);
    expect(parts.length).toBeGreaterThan(3);
    for (const part of parts) expect(part.length).toBeLessThanOrEqual(UNCLAIMED_MESSAGE_BYTES);
    const recordsOf = (bytes: Uint8Array) => {
      const read = readSenml(bytes, nowMs);
      return read.ok ? read.records : [];
    };
    expect(parts.flatMap(recordsOf)).toEqual(recordsOf(json(pack)));
    const short = json([{ n: 'a', v: 1 }]);
    expect(senmlParts(short, nowMs, UNCLAIMED_MESSAGE_BYTES)).toEqual([short]);
    const noPack = Buffer.alloc(5000, 'x');
    expect(senmlParts(noPack, nowMs, UNCLAIMED_MESSAGE_BYTES)).toEqual([noPack]);
  });

  it('hands on what no point reads of a topic once a minute for each name, and refuses nothing', async () => {
    const topic = 'harbor-lobby/gateway';
    const routes = await router([point('t/a', topic, 'senml', { name: 'a', read: 'value' })]);
    const route = (name: string, atMs: number) => routes.route({ topic, bytes: json([{ n: name, v: 1 }]), arrivedMs: atMs, retain: false });
    expect(route('a', 0)).toEqual({ samples: [expect.objectContaining({ pointId: 't/a' })], refusals: [] });
    // A gateway that sends each name in a pack of its own: the one that is read must not hide the others.
    for (const [name, atMs, kept] of [['b', 1, true], ['c', 2, true], ['b', 3, false], ['c', 59_999, false], ['b', 60_001, true], ['c', 60_001, false], ['c', 60_002, true]] as const) {
      const routed = route(name, atMs);
      expect([routed.samples, routed.refusals]).toEqual([[], []]);
      expect(routed.unclaimed?.length ?? 0, `${name} at ${atMs}`).toBe(kept ? 1 : 0);
      if (kept) expect(routed.unclaimed).toMatchObject([{ topic, siteId: 'harbor-lobby', partial: true }]);
    }
  });

  it('reads CBOR of another library on a topic nobody reads, in parts when it is long', async () => {
    const routes = await router([]);
    const bytes = encode(Array.from({ length: 300 }, (_, n) => new Map<number, unknown>([[0, `urn:dev:ow:10e2073a0108${String(n).padStart(4, '0')}:temp`], [1, 'Cel'], [2, 25 + n / 10]])));
    expect(bytes.length).toBeGreaterThan(UNCLAIMED_MESSAGE_BYTES);
    const { unclaimed = [] } = routes.route({ topic: 'harbor-lobby/gateway', bytes, arrivedMs: nowMs, retain: false });
    expect(unclaimed.flatMap((message) => messageFields(message.topic, message.bytes, nowMs).fields)).toHaveLength(300);
  });
});

describe('Sparkplug', () => {
  const metric = (name: string, value: number, atMs: number | null = nowMs, more: Partial<KeptMetric> = {}): KeptMetric => ({ name, datatype: 10, timestampMs: atMs, isHistorical: false, raw: { type: 'double', value }, ...more });
  const address = 'spBv1.0/harbor/plant room/sump';

  it('writes metrics so that they read the same without a birth', () => {
    const kept = [
      metric('Level', 12.5), metric('Signed', 0, null, { datatype: 3, raw: { type: 'integer', value: 4294967295n } }), metric('Large', 0, 5, { datatype: 8, raw: { type: 'integer', value: 2n ** 53n } }),
      metric('Float', 0, 6, { datatype: 9, raw: { type: 'float', value: Math.fround(25.1) } }), metric('On', 0, 7, { datatype: 11, raw: { type: 'boolean', value: true } }), metric('Word', 0, 8, { datatype: 12, raw: { type: 'text', value: 'closed' } }),
    ];
    const [bytes = new Uint8Array(), ...more] = writeKept(kept);
    expect(more).toEqual([]);
    // Int32 −1 stands as 4294967295 (check-values §8.2, from memory).
    expect(valuesIn(address, bytes)).toEqual([['Level', 12.5, null, nowMs], ['Word', 'closed', null, 8], ['On', true, null, 7], ['Float', 25.1, null, 6], ['Large', 2 ** 53, null, 5], ['Signed', -1, null, null]]);
    const decode = prepareKept([{ pointId: 't/x', options: { metric: 'Signed' } }, { pointId: 't/y', options: { metric: 'Level' } }]);
    expect(decode(bytes, { topic: address, arrivedMs: 1 })).toEqual({ samples: [{ pointId: 't/y', atMs: nowMs, value: 12.5, unit: null }, { pointId: 't/x', atMs: null, value: -1, unit: null }], refusals: [] });
    expect(decode(Buffer.from('ff', 'hex'), { topic: address, arrivedMs: 1 })).toMatchObject({ samples: [], refusals: [{ reason: expect.stringContaining('protobuf') }] });
  });

  it('splits what is longer than a message that is kept', () => {
    const payloads = writeKept(Array.from({ length: 500 }, (_, n) => metric(`Plant/Tank ${n}/Temperature`, n)));
    expect(payloads.length).toBeGreaterThan(3);
    for (const bytes of payloads) expect(bytes.length).toBeLessThanOrEqual(UNCLAIMED_MESSAGE_BYTES);
    expect(payloads.flatMap((bytes) => messageFields(address, bytes, nowMs).fields)).toHaveLength(500);
  });

  it('keeps a sample a minute of a device that is read in part, and tells a value that stands again with its own time', () => {
    const unread = new UnreadMetrics();
    const told = (metrics: readonly KeptMetric[], atMs: number, partial: boolean) => unread.take(metrics, atMs, partial).flatMap((bytes) => messageFields(address, bytes, atMs).fields.map(({ place, value, atMs: own }) => [placeText(place), value, own]));
    expect(told([metric('a', 1, 1), metric('b', 2, 1)], 1, true)).toEqual([['a', 1, 1], ['b', 2, 1]]);
    expect(told([metric('a', 3, 30_000)], 30_000, true)).toEqual([]);
    expect(told([metric('a', 4, 60_001)], 60_001, true)).toEqual([['a', 4, 60_001]]);
    for (let atMs = 120_001; atMs < 600_000; atMs += 60_000) expect(told([metric('a', 5, atMs)], atMs, true)).toEqual([['a', 5, atMs]]);
    expect(told([metric('a', 6, 660_001)], 660_001, true)).toEqual([['a', 6, 660_001], ['b', 2, 1]]);
    // Nobody reads the device: every message, and what was stored.
    const all = new UnreadMetrics();
    expect(all.take([metric('a', 1, 5)], 5, false)).toHaveLength(1);
    expect(all.take([metric('a', 2, 6), metric('a', 9, 3, { isHistorical: true })], 6, false)).toHaveLength(1);
  });

  const birth = (names: readonly string[], seq: number): Buffer => Buffer.from(encodePayload({ timestamp: nowMs, seq, metrics: names.map((name, index) => ({ name, alias: seq * 10_000 + index, type: 'Double', value: index, timestamp: nowMs })) }));
  const group = [{ ...site('harbor-lobby'), sparkplugGroup: 'harbor' }];

  it('listens to the group of a site before any point reads from it, asks for births, and knows the site', async () => {
    const routes = await router([], group);
    expect(routes.subscriptions).toEqual(['harbor-lobby/#', 'spBv1.0/harbor/#']);
    const send = (type: string, bytes: Buffer, arrivedMs: number) => routes.route({ topic: `spBv1.0/harbor/${type}`, bytes, arrivedMs, retain: false });
    const data = Buffer.from(encodePayload({ timestamp: nowMs, seq: 5, metrics: [{ alias: 0, type: 'Double', value: 7, timestamp: nowMs + 1 }] }));
    expect(send('NDATA/plant room', data, nowMs)).toMatchObject({ refusals: [{ reason: expect.stringContaining('birth certificate') }], ask: [{ topic: 'spBv1.0/harbor/NCMD/plant room' }] });
    expect(send('NBIRTH/plant room', birth(['bdSeq', 'Node Control/Rebirth', 'Level'], 0), nowMs)).toMatchObject({ refusals: [], unclaimed: [{ topic: 'spBv1.0/harbor/plant room', siteId: 'harbor-lobby' }] });
    const { refusals, unclaimed = [] } = send('NDATA/plant room', Buffer.from(encodePayload({ timestamp: nowMs, seq: 9, metrics: [{ alias: 2, type: 'Double', value: 7, timestamp: nowMs + 1 }] })), nowMs + 1);
    // Whether a message was lost of a gateway nobody reads is of no interest.
    expect(refusals).toEqual([]);
    expect(unclaimed.map((message) => valuesIn(message.topic, message.bytes))).toEqual([[['Level', 7, null, nowMs + 1]]]);
    expect(routes.route({ topic: 'spBv1.0/other/NBIRTH/x', bytes: birth(['a'], 0), arrivedMs: nowMs, retain: false }).unclaimed).toMatchObject([{ topic: 'spBv1.0/other/NBIRTH/x', siteId: null }]);
  });

  it('knows 200 gateways nobody reads, and those again when they are born again', async () => {
    const routes = await router([], group);
    const born = (node: number) => routes.route({ topic: `spBv1.0/harbor/NBIRTH/node ${node}`, bytes: birth(['a'], 0), arrivedMs: nowMs, retain: false });
    const keeps = (node: number): boolean => (born(node).unclaimed ?? []).length === 1;
    expect(Array.from({ length: 203 }, (_, node) => node).filter((node) => !keeps(node))).toEqual([200, 201, 202]);
    expect([0, 100, 199].every(keeps)).toBe(true);
    expect(born(200).refusals).toMatchObject([{ reason: expect.stringContaining('It holds "a" (Double)') }]);
  });

  it('remembers a bounded number of gateways and names, and says what it leaves out', async () => {
    const routes = await router([], group);
    let kept = 0;
    const reasons = new Set<string>();
    for (let node = 0; node < 300; node += 1) {
      const { refusals, unclaimed = [] } = routes.route({ topic: `spBv1.0/harbor/NBIRTH/node ${node}`, bytes: birth(Array.from({ length: 150 }, (_, n) => `m${n}`), 0), arrivedMs: nowMs, retain: false });
      if (unclaimed.length > 0) kept += 1;
      for (const { reason } of refusals) reasons.add(reason.replaceAll(/\d+/g, '#'));
    }
    // 20,000 names are 133 gateways of 150 and a part of one more; 200 gateways are known at all.
    expect(kept).toBe(134);
    expect([...reasons].some((reason) => reason.includes('more metrics than are remembered'))).toBe(true);
    expect([...reasons].some((reason) => reason.includes('so many others are not read'))).toBe(true);
    // One that dies makes room.
    for (let node = 0; node < 10; node += 1) routes.route({ topic: `spBv1.0/harbor/NDEATH/node ${node}`, bytes: Buffer.alloc(0), arrivedMs: nowMs, retain: false });
    expect(routes.route({ topic: 'spBv1.0/harbor/NBIRTH/late', bytes: birth(['a'], 0), arrivedMs: nowMs, retain: false }).unclaimed).toHaveLength(1);
  });
});
