/** What every store must do, whatever it is made of. */
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { HOUR } from '../../src/domain/duration.ts';
import { Quality } from '../../src/domain/reading.ts';
import { bucketEdges } from '../../src/store/bucket-edges.ts';
import { type Store, StoreError } from '../../src/store/contract.ts';
import { addReadings, T0, alarm, batch, entry, page, reading, refusal, status } from './examples.ts';
import { seededReadings } from './seeded.ts';

/** @param open a new, empty store at each call. */
export function storeConformance(name: string, open: () => Promise<Store>): void {
  describe(`store contract: ${name}`, () => {
    let store: Store;
    beforeEach(async () => {
      store = await open();
    });
    afterEach(async () => {
      await store.close();
    });

    const seriesOf = async (pointId: string): Promise<number> => {
      const id = (await store.seriesFor([pointId])).get(pointId);
      if (id === undefined) throw new Error(`no series for ${pointId}`);
      return id;
    };
    const refusedForGood = async (work: Promise<unknown>): Promise<string> => {
      const error = await work.then(() => null, (thrown: unknown) => thrown);
      if (!(error instanceof StoreError)) throw new Error(`expected a StoreError, got ${String(error)}`);
      expect(error.permanent).toBe(true);
      return error.message;
    };

    describe('series', () => {
      it('are made once per point and stay', async () => {
        const first = await store.seriesFor(['lobby/a', 'lobby/b', 'lobby/a']);
        expect(first.size).toBe(2);
        expect(first.get('lobby/a')).not.toBe(first.get('lobby/b'));
        const second = await store.seriesFor(['lobby/b', 'lobby/c', 'lobby/a']);
        expect(second.get('lobby/a')).toBe(first.get('lobby/a'));
        expect(second.get('lobby/b')).toBe(first.get('lobby/b'));
        expect(new Set(second.values()).size).toBe(3);
      });

      it('are null for a point for which nothing was stored', async () => {
        expect(await store.seriesOf('lobby/a')).toBeNull();
        const a = await seriesOf('lobby/a');
        expect(await store.seriesOf('lobby/a')).toBeNull();
        await store.commit(batch({ readings: [reading(a, T0, 1)] }));
        expect(await store.seriesOf('lobby/a')).toBe(a);
      });
    });

    describe('readings', () => {
      it('come back to the bit, in order of time, seeds 1 to 5', async () => {
        const bits = (values: readonly number[]): BigUint64Array => new BigUint64Array(Float64Array.from(values).buffer);
        for (let seed = 1; seed <= 5; seed += 1) {
          const series = await seriesOf(`seeded/${seed}`);
          const sent = seededReadings(seed, 2000).map((each) => ({ ...each, series }));
          const half = sent.length / 2;
          await store.commit(batch({ readings: sent.slice(half) }));
          await addReadings(store, sent.slice(0, half));
          const kept = await store.readings(series, -Infinity, Infinity);
          const expected = [...sent].sort((a, b) => a.atMs - b.atMs);
          expect(kept.map((each) => each.atMs), `seed ${seed}`).toEqual(expected.map((each) => each.atMs));
          expect(bits(kept.map((each) => each.value)), `seed ${seed}`).toEqual(bits(expected.map((each) => each.value)));
          expect(kept.map((each) => each.quality), `seed ${seed}`).toEqual(expected.map((each) => each.quality));
          expect(kept.every((each) => each.series === series)).toBe(true);
        }
      });

      it('keep minus zero, the smallest and the largest double', async () => {
        const a = await seriesOf('lobby/a');
        const values = [-0, 0, Number.MIN_VALUE, -Number.MAX_VALUE, Number.MAX_VALUE, 0.1 + 0.2, 2 ** 53 + 2, 2 ** 63, -(2 ** 63), 1];
        await store.commit(batch({ readings: values.map((value, i) => reading(a, T0 + i, value)) }));
        const kept = await store.readings(a, T0, T0 + 100);
        expect(kept.map(({ value }) => value).every((value, i) => Object.is(value, values[i]))).toBe(true);
      });

      it('the first one stands, within a batch and across batches', async () => {
        const a = await seriesOf('lobby/a');
        await store.commit(batch({ readings: [reading(a, T0, 25, 2), reading(a, T0, 26, 4)] }));
        await store.commit(batch({ readings: [reading(a, T0, 27), reading(a, T0 + 1, 28)] }));
        expect(await addReadings(store, [reading(a, T0, 29), reading(a, T0 + 1, 30), reading(a, T0 + 2, 31)])).toBe(1);
        expect(await store.readings(a, T0, T0 + 10)).toEqual([reading(a, T0, 25, 2), reading(a, T0 + 1, 28), reading(a, T0 + 2, 31)]);
      });

      it('as columns are the same readings: in any order, the first one stands, each new one counted once', async () => {
        const a = await seriesOf('lobby/a');
        const b = await seriesOf('lobby/b');
        const columns = (series: number, rows: readonly (readonly [atMs: number, value: number, quality: number])[]) => ({
          series, atMs: Float64Array.from(rows, ([atMs]) => atMs), value: Float64Array.from(rows, ([, value]) => value), quality: Float64Array.from(rows, ([, , quality]) => quality),
        });
        await store.commit(batch({ readings: [reading(a, T0, 25, 2)] }));
        expect(await store.addHistory([
          columns(a, [[T0 + 24 * HOUR, 3, 0], [T0, 29, 0], [T0 + 2, -0, 1], [T0 + 2, 30, 0]]), columns(b, []), columns(b, [[T0, 7, 0], [T0 + 1, 8, 0]]), columns(a, [[T0 + 2, 31, 0], [T0 + 3, 32, 0]]),
        ])).toBe(5);
        expect(await store.readings(a, 0, Infinity)).toEqual([reading(a, T0, 25, 2), reading(a, T0 + 2, -0, 1), reading(a, T0 + 3, 32), reading(a, T0 + 24 * HOUR, 3)]);
        expect(await store.readings(b, 0, Infinity)).toEqual([reading(b, T0, 7), reading(b, T0 + 1, 8)]);
        expect(await store.addHistory([columns(b, [[T0 + 1, 9, 0], [T0, 9, 0]])])).toBe(0);
        expect(await refusedForGood(store.addHistory([columns(b, [[T0 + 5, 1, 0]]), columns(a, [[T0 + 9, Number.NaN, 0]])]))).toMatch(/value NaN/);
        expect(await refusedForGood(store.addHistory([columns(b, [[T0 + 5, 1, 0]]), columns(9999, [[T0 + 9, 1, 0]])]))).toMatch(/series 9999 does not exist/);
        expect(await store.readings(b, 0, Infinity)).toHaveLength(2);
      });

      it('are read from the start of a span up to, not including, its end', async () => {
        const a = await seriesOf('lobby/a');
        const b = await seriesOf('lobby/b');
        await store.commit(batch({ readings: [reading(a, T0, 1), reading(a, T0 + 5, 2), reading(a, T0 + 10, 3), reading(b, T0 + 5, 9)] }));
        expect((await store.readings(a, T0, T0 + 10)).map(({ value }) => value)).toEqual([1, 2]);
        expect((await store.readings(a, T0 + 0.5, T0 + 10.5)).map(({ value }) => value)).toEqual([2, 3]);
        expect(await store.readings(a, T0 + 11, T0 + 20)).toEqual([]);
      });

      it.each([
        ['NaN', { value: Number.NaN }, /value NaN/],
        ['an infinite value', { value: Number.NEGATIVE_INFINITY }, /value -Infinity/],
        ['half a millisecond', { atMs: T0 + 0.5 }, /whole number of milliseconds/],
        ['no time', { atMs: Number.NaN }, /whole number of milliseconds/],
        ['a broken quality', { quality: -1 }, /quality -1/],
        ['an unknown series', { series: 9999 }, /series 9999 does not exist/],
      ])('refuse %s, and the whole batch with it', async (_, broken, message) => {
        const a = await seriesOf('lobby/a');
        const readings = [reading(a, T0, 1), { ...reading(a, T0 + 1, 2), ...broken }];
        expect(await refusedForGood(store.commit(batch({ readings, aliveMs: T0 + 9 })))).toMatch(message);
        expect(await refusedForGood(addReadings(store, readings))).toMatch(message);
        expect(await store.readings(a, 0, Infinity)).toEqual([]);
        expect((await store.load()).aliveMs).toBeNull();
      });
    });

    describe('a batch', () => {
      it('leaves nothing when a part of it cannot be written', async () => {
        const a = await seriesOf('lobby/a');
        const broken = batch({
          readings: [reading(a, T0, 1)],
          ruleStates: [{ ruleId: 'r', state: { n: 1 }, wakeAtMs: null }],
          alarms: [alarm({ id: 1 })],
          statuses: [status({ alarmId: 1 }), status({ ruleId: 'other', alarmId: 77 })],
          journal: [entry({})],
          pages: [page({})],
          refusals: [refusal({})],
          aliveMs: T0 + 1,
        });
        await refusedForGood(store.commit(broken));
        expect(await store.load()).toEqual({
          ruleStates: [], statuses: [], openAlarms: [], pointStates: [], latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, clocks: new Map(), calibrations: [], outages: [], aliveMs: null,
        });
        expect(await store.journal({ limit: 9 })).toEqual([]);
        expect(await store.pages({ limit: 9 })).toEqual([]);
        expect(await store.refusals(9)).toEqual([]);
        // The same batch without the broken part goes in: nothing of the failed one stands in its way.
        await store.commit({ ...broken, statuses: [status({ alarmId: 1 })] });
        expect((await store.load()).statuses).toEqual([status({ alarmId: 1 })]);
      });
    });

    describe('live state', () => {
      it('keeps what is known of points beside their readings, until there is nothing more to know', async () => {
        const offline = { sinceMs: T0 + 5, why: 'its gateway is offline since noon' };
        await store.commit(batch({ pointStates: [{ pointId: 'lobby/b', offline, cadenceMs: null }, { pointId: 'lobby/a', offline: null, cadenceMs: 60_000 }] }));
        await store.commit(batch({}));
        expect((await store.load()).pointStates).toEqual([{ pointId: 'lobby/a', offline: null, cadenceMs: 60_000 }, { pointId: 'lobby/b', offline, cadenceMs: null }]);
        await store.commit(batch({ pointStates: [{ pointId: 'lobby/b', offline: null, cadenceMs: null }, { pointId: 'lobby/a', offline, cadenceMs: 60_000 }] }));
        expect((await store.load()).pointStates).toEqual([{ pointId: 'lobby/a', offline, cadenceMs: 60_000 }]);
      });

      it('does not take what was sent as history for the present', async () => {
        const a = await seriesOf('lobby/a');
        const live = [reading(a, T0, 25), reading(a, T0 + 10, 26, Quality.stampedOnArrival)];
        const history = [reading(a, T0 + 5, 99, Quality.history), reading(a, T0 + 20, 99, Quality.history)];
        await store.commit(batch({ readings: [...live, ...history] }));
        const { latest, lastStampMs } = await store.load();
        expect(latest.get(a)).toEqual([...live].reverse());
        expect(lastStampMs.get(a)).toBe(T0 + 10);
        expect((await store.readings(a, T0, T0 + 100)).length).toBe(4);
      });

      it('of a new store is empty', async () => {
        expect(await store.load()).toEqual({
          ruleStates: [], statuses: [], openAlarms: [], pointStates: [], latest: new Map(), lastStampMs: new Map(), nextAlarmId: 1, clocks: new Map(), calibrations: [], outages: [], aliveMs: null,
        });
      });

      it('comes back as it was written, the later write winning', async () => {
        const open = alarm({ id: 4, escalation: { nextStep: 2, dueMs: null, paged: ['ana', 'ben'], surfaced: { step: 2, atMs: 7 } }, cause: { alarmId: 2, ruleId: 'lobby/mains/supply', title: 'Mains lost', quiet: true } });
        const closed = alarm({ id: 7, state: 'normal', acknowledgedMs: T0 + 7, acknowledgedBy: 'ben', returnedMs: T0 + 8, closedMs: T0 + 9 });
        await store.commit(batch({ alarms: [alarm({ id: 4 }), alarm({ id: 7 })], statuses: [status({ base: 'normal', hold: null })], ruleStates: [{ ruleId: 'b', state: 1, wakeAtMs: null }] }));
        await store.commit(
          batch({
            alarms: [open, closed],
            statuses: [
              status({ alarmId: 4 }),
              status({ ruleId: 'z', condition: 'clear', verdict: 'clear', unknownWhy: null, lastKnown: 'clear', verdictSinceMs: null, breach: null, dueMs: null, base: 'returned', hold: null }),
              status({ ruleId: 'y', hold: { kind: 'out-of-service', by: 'ben', why: '', sinceMs: T0, untilMs: null } }),
            ],
            ruleStates: [{ ruleId: 'b', state: { deep: [1, { x: null }], text: 'µ "quoted"' }, wakeAtMs: T0 + 60 }, { ruleId: 'a', state: null, wakeAtMs: null }],
            aliveMs: T0 + 44,
          }),
        );
        const live = await store.load();
        expect(live.openAlarms).toEqual([open]);
        expect(await store.alarm(7)).toEqual(closed);
        expect(await store.alarm(8)).toBeNull();
        expect(live.nextAlarmId).toBe(8);
        expect(live.aliveMs).toBe(T0 + 44);
        expect(live.ruleStates).toEqual([
          { ruleId: 'a', state: null, wakeAtMs: null },
          { ruleId: 'b', state: { deep: [1, { x: null }], text: 'µ "quoted"' }, wakeAtMs: T0 + 60 },
        ]);
        expect(live.statuses.map(({ ruleId }) => ruleId).sort()).toEqual(['lobby/limit/display-temperature', 'y', 'z']);
        expect(live.statuses.find(({ ruleId }) => ruleId === 'lobby/limit/display-temperature')).toEqual(status({ alarmId: 4 }));
        expect(live.statuses.find(({ ruleId }) => ruleId === 'y')?.hold).toEqual({ kind: 'out-of-service', by: 'ben', why: '', sinceMs: T0, untilMs: null });
        expect(await store.statuses()).toEqual(live.statuses);
      });

      it('holds the two latest usable readings, newest first, and the last stamp of any quality', async () => {
        const a = await seriesOf('lobby/a');
        const b = await seriesOf('lobby/b');
        const c = await seriesOf('lobby/c');
        await store.commit(
          batch({
            readings: [
              reading(a, T0 + 3, 3, Quality.stampedOnArrival), reading(a, T0 + 1, 1), reading(a, T0 + 2, 2, Quality.outOfRange), reading(a, T0, 0),
              reading(a, T0 + 4, 900, Quality.outOfRange | Quality.stampedOnArrival), reading(b, T0 + 9, 5, Quality.outOfRange),
            ],
          }),
        );
        const live = await store.load();
        expect(live.latest.get(a)).toEqual([reading(a, T0 + 3, 3, Quality.stampedOnArrival), reading(a, T0 + 1, 1)]);
        expect(live.lastStampMs.get(a)).toBe(T0 + 4);
        expect(live.latest.get(b) ?? []).toEqual([]);
        expect(live.lastStampMs.get(b)).toBe(T0 + 9);
        expect(live.lastStampMs.has(c)).toBe(false);
        expect(await store.latest(a)).toEqual(reading(a, T0 + 3, 3, Quality.stampedOnArrival));
        expect(await store.latest(b)).toBeNull();
      });
    });

    describe('buckets', () => {
      it('agree with the same arithmetic done by hand, and leave out empty ones and unusable readings', async () => {
        const a = await seriesOf('lobby/a');
        await store.commit(
          batch({
            readings: [
              reading(a, T0 - 1, 99), reading(a, T0, 1), reading(a, T0 + 99, 3), reading(a, T0 + 100, 10),
              reading(a, T0 + 150, -1e6, Quality.outOfRange), reading(a, T0 + 399, -7), reading(a, T0 + 400, 50),
            ],
          }),
        );
        expect(await store.buckets(a, T0, T0 + 400, 4)).toEqual([
          { fromMs: T0, n: 2, min: 1, max: 3, mean: 2 },
          { fromMs: T0 + 100, n: 1, min: 10, max: 10, mean: 10 },
          { fromMs: T0 + 300, n: 1, min: -7, max: -7, mean: -7 },
        ]);
      });

      it('are never more than asked for, equally wide, and hold every usable reading once', async () => {
        const a = await seriesOf('lobby/a');
        const sent = seededReadings(11, 1000).map((each) => ({ ...each, series: a, value: Math.round(each.value % 1000) || 0 }));
        await addReadings(store, sent);
        const from = Math.min(...sent.map(({ atMs }) => atMs));
        const to = Math.max(...sent.map(({ atMs }) => atMs)) + 1;
        const usable = sent.filter(({ quality }) => (quality & Quality.outOfRange) === 0);
        for (const count of [1, 2, 7, 100, 999, 5000]) {
          const found = await store.buckets(a, from, to, count);
          expect(found.length).toBeLessThanOrEqual(count);
          expect(found.reduce((sum, { n }) => sum + n, 0)).toBe(usable.length);
          const edges = bucketEdges(from, to, count);
          if (edges === null) throw new Error('no buckets');
          const { originMs, widthMs } = edges;
          expect(widthMs % HOUR === 0 || originMs === from).toBe(true);
          expect(originMs).toBeGreaterThan(from - HOUR);
          for (const { fromMs, n, min, max, mean } of found) {
            expect((fromMs - originMs) % widthMs).toBe(0);
            const inside = usable.filter(({ atMs }) => atMs >= fromMs && atMs < fromMs + widthMs).map(({ value }) => value);
            expect([n, min, max]).toEqual([inside.length, Math.min(...inside), Math.max(...inside)]);
            expect(mean).toBeCloseTo(inside.reduce((sum, value) => sum + value, 0) / inside.length, 9);
          }
        }
      });

      it('of a span narrower than the count, of no span and of no reading', async () => {
        const a = await seriesOf('lobby/a');
        await store.commit(batch({ readings: [reading(a, T0, 1), reading(a, T0 + 1, 2)] }));
        expect(await store.buckets(a, T0, T0 + 2, 1000)).toEqual([{ fromMs: T0, n: 1, min: 1, max: 1, mean: 1 }, { fromMs: T0 + 1, n: 1, min: 2, max: 2, mean: 2 }]);
        expect(await store.buckets(a, T0 + 2, T0, 10)).toEqual([]);
        expect(await store.buckets(a, T0, T0 + 2, 0)).toEqual([]);
        expect(await store.buckets(a, T0 + 100, T0 + 200, 10)).toEqual([]);
      });
    });

    describe('alarms', () => {
      it('are found by tank, site, openness and the span their life touches, newest opened first', async () => {
        await store.commit(
          batch({
            alarms: [
              alarm({ id: 1, openedMs: T0, closedMs: T0 + 100 }),
              alarm({ id: 2, openedMs: T0 + 50 }),
              alarm({ id: 3, openedMs: T0 + 200, tankId: 'bar', siteId: 'grill' }),
              alarm({ id: 4, openedMs: T0 + 50, tankId: 'wall', closedMs: T0 + 60 }),
            ],
          }),
        );
        const ids = async (query: Omit<Parameters<Store['alarms']>[0], 'limit'>, limit = 99) => (await store.alarms({ ...query, limit })).map(({ id }) => id);
        expect(await ids({})).toEqual([3, 4, 2, 1]);
        expect(await ids({}, 2)).toEqual([3, 4]);
        expect(await ids({ open: true })).toEqual([3, 2]);
        expect(await ids({ open: false })).toEqual([4, 1]);
        expect(await ids({ tankId: 'lobby' })).toEqual([2, 1]);
        expect(await ids({ siteId: 'grill' })).toEqual([3]);
        expect(await ids({ siteId: 'harbour-office', open: false, tankId: 'wall' })).toEqual([4]);
        expect(await ids({ fromMs: T0 + 101, toMs: T0 + 150 })).toEqual([2]);
        expect(await ids({ fromMs: T0 + 100 })).toEqual([3, 2, 1]);
        expect(await ids({ toMs: T0 + 50 })).toEqual([1]);
      });
    });

    describe('journal', () => {
      it('is read newest first, in pages, by every filter', async () => {
        await store.commit(batch({ journal: [entry({ text: 'one' }), entry({ text: 'two', kind: 'page', atMs: T0 + 10, alarmId: 5 })] }));
        await store.appendJournal([entry({ text: 'three', tankId: null, siteId: 'grill', atMs: T0 + 20 }), entry({ text: 'four', tankId: 'bar', kind: 'gap', atMs: T0 + 30 })]);
        const texts = async (query: Omit<Parameters<Store['journal']>[0], 'limit'>, limit = 99) => (await store.journal({ ...query, limit })).map(({ text }) => text);
        expect(await texts({})).toEqual(['four', 'three', 'two', 'one']);
        const [newest, next] = await store.journal({ limit: 2 });
        expect(newest).toEqual({ ...entry({ text: 'four', tankId: 'bar', kind: 'gap', atMs: T0 + 30 }), id: newest?.id });
        expect(next?.tankId).toBeNull();
        expect(await texts(next === undefined ? {} : { beforeId: next.id })).toEqual(['two', 'one']);
        expect(await texts({ tankId: 'lobby' })).toEqual(['two', 'one']);
        expect(await texts({ siteId: 'grill' })).toEqual(['three']);
        expect(await texts({ alarmId: 5 })).toEqual(['two']);
        expect(await texts({ kinds: ['page', 'gap'] })).toEqual(['four', 'two']);
        expect(await texts({ kinds: [] })).toEqual([]);
        expect(await texts({ fromMs: T0 + 10, toMs: T0 + 30 })).toEqual(['three', 'two']);
        expect(await texts({}, 1)).toEqual(['four']);
      });

      it.each([
        ['HEATER', ['Heater 1 switched off']],
        ['100%', ['Humidity at 100% RH']],
        ['%', ['Humidity at 100% RH']],
        ['_', ['pump_2 found dry']],
        ['\\', ['path C:\\logs']],
        ["'", ["Ana's note"]],
        ['ÜBERLAUF', ['Überlauf gereinigt']],
        ['überl', ['Überlauf gereinigt']],
        ['nowhere', []],
      ])('finds the plain text %s in any case', async (piece, expected) => {
        const texts = ['Heater 1 switched off', 'Humidity at 100% RH', 'pump_2 found dry', 'path C:\\logs', "Ana's note", 'Überlauf gereinigt', 'pump 12 fine'];
        await store.appendJournal(texts.map((text) => entry({ text })));
        expect((await store.journal({ contains: piece, limit: 99 })).map(({ text }) => text)).toEqual(expected);
      });

      it('goes in whole or not at all', async () => {
        const broken: { kind: unknown } = { kind: null };
        await refusedForGood(store.appendJournal([entry({ text: 'good' }), Object.assign(entry({}), broken)]));
        expect(await store.journal({ limit: 9 })).toEqual([]);
      });
    });

    describe('outbox', () => {
      const CLAIM = 60_000;
      const claimed = async (nowMs: number, limit = 10) => (await store.claim(nowMs, limit, CLAIM)).map(({ id }) => id);

      it('hands a page to one sender only, oldest first', async () => {
        await store.commit(batch({ alarms: [alarm({ id: 1 })], pages: [page({ id: 'b', alarmId: 1, createdMs: T0 + 1, reason: 'opened' }), page({ id: 'a' }), page({ id: 'c', createdMs: T0 + 2 })] }));
        const [first, second] = await Promise.all([store.claim(T0 + 10, 2, CLAIM), store.claim(T0 + 10, 2, CLAIM)]);
        expect(first.map(({ id }) => id)).toEqual(['a', 'b']);
        expect(second.map(({ id }) => id)).toEqual(['c']);
        expect(first[1]).toEqual({
          id: 'b', alarmId: 1, personId: 'ana', reason: 'opened', createdMs: T0 + 1, state: 'claimed', attempts: 1, nextTryMs: T0 + 1, handedOverMs: null, lastError: null,
        });
        expect(await claimed(T0 + 20)).toEqual([]);
      });

      it('drops a page whose id is known, and leaves the first as it stands', async () => {
        await store.commit(batch({ pages: [page({ personId: 'ana' })] }));
        await store.claim(T0, 1, CLAIM);
        await store.commit(batch({ pages: [page({ personId: 'ben' })] }));
        await store.enqueue(page({ personId: 'cy' }));
        const pages = await store.pages({ limit: 9 });
        expect(pages).toHaveLength(1);
        expect(pages[0]).toMatchObject({ personId: 'ana', state: 'claimed' });
      });

      it('does not hand out a page before it is due', async () => {
        await store.enqueue(page({ createdMs: T0 + 100 }));
        expect(await claimed(T0 + 99)).toEqual([]);
        expect(await claimed(T0 + 100)).toEqual(['p1']);
      });

      it('takes back the claim of a sender that died, counting the attempt', async () => {
        await store.enqueue(page({}));
        expect(await claimed(T0)).toEqual(['p1']);
        expect(await claimed(T0 + CLAIM - 1)).toEqual([]);
        expect((await store.claim(T0 + CLAIM, 10, CLAIM))[0]).toMatchObject({ id: 'p1', attempts: 2 });
        expect(await claimed(T0 + CLAIM + 1)).toEqual([]);
      });

      it('does not wait for a clock that was set back to catch up', async () => {
        await store.enqueue(page({}));
        const hour = 3_600_000;
        expect(await claimed(T0 + hour)).toEqual(['p1']);
        expect(await claimed(T0 + hour - 10)).toEqual([]);
        expect(await claimed(T0 + 1)).toEqual(['p1']);
      });

      it('settles each way, with the journal row', async () => {
        await store.commit(batch({ pages: [page({ id: 'sent' }), page({ id: 'later' }), page({ id: 'never' })] }));
        await store.claim(T0, 10, CLAIM);
        await store.settle('sent', { state: 'handed-over', atMs: T0 + 5 }, entry({ kind: 'delivery', text: 'handed over' }));
        await store.settle('later', { state: 'queued', nextTryMs: T0 + 500, error: 'no route' }, entry({ kind: 'delivery', text: 'try again' }));
        await store.settle('never', { state: 'refused', atMs: T0 + 6, error: 'no such mailbox' }, entry({ kind: 'delivery', text: 'refused' }));
        const pages = new Map((await store.pages({ limit: 9 })).map((each) => [each.id, each]));
        expect(pages.get('sent')).toMatchObject({ state: 'handed-over', handedOverMs: T0 + 5, lastError: null, attempts: 1 });
        expect(pages.get('later')).toMatchObject({ state: 'queued', nextTryMs: T0 + 500, lastError: 'no route', handedOverMs: null, attempts: 1 });
        expect(pages.get('never')).toMatchObject({ state: 'refused', lastError: 'no such mailbox', handedOverMs: null });
        expect((await store.journal({ limit: 9 })).map(({ text }) => text)).toEqual(['refused', 'try again', 'handed over']);
        expect(await claimed(T0 + 499)).toEqual([]);
        expect(await claimed(T0 + 500)).toEqual(['later']);
        await store.settle('later', { state: 'handed-over', atMs: T0 + 501 }, entry({ kind: 'delivery' }));
        expect((await store.pages({ limit: 9 })).find(({ id }) => id === 'later')).toMatchObject({ state: 'handed-over', attempts: 2, lastError: 'no route' });
        expect(await claimed(T0 + 10 * CLAIM)).toEqual([]);
      });

      it.each(['queued', 'settled', 'unknown'])('refuses to settle a page that is not claimed (%s), and writes no journal row', async (which) => {
        await store.commit(batch({ pages: [page({ id: 'settled' })] }));
        await store.claim(T0, 1, CLAIM);
        await store.settle('settled', { state: 'handed-over', atMs: T0 + 1 }, entry({ text: 'first' }));
        await store.enqueue(page({ id: 'queued' }));
        const before = await store.pages({ limit: 9 });
        expect(await refusedForGood(store.settle(which, { state: 'refused', atMs: T0, error: 'x' }, entry({ text: 'second' })))).toContain(which);
        expect(await store.pages({ limit: 9 })).toEqual(before);
        expect((await store.journal({ limit: 9 })).map(({ text }) => text)).toEqual(['first']);
      });

      it('keeps a page claimed when its journal row cannot be written', async () => {
        await store.enqueue(page({}));
        await store.claim(T0, 1, CLAIM);
        const broken: { text: unknown } = { text: null };
        await refusedForGood(store.settle('p1', { state: 'handed-over', atMs: T0 }, Object.assign(entry({}), broken)));
        expect((await store.pages({ limit: 1 }))[0]).toMatchObject({ state: 'claimed', handedOverMs: null });
      });

      it('knows the oldest page that is still on its way', async () => {
        expect(await store.oldestUnsentMs()).toBeNull();
        await store.commit(batch({ pages: [page({ id: 'old' }), page({ id: 'new', createdMs: T0 + 50 })] }));
        expect(await store.oldestUnsentMs()).toBe(T0);
        await store.claim(T0, 1, CLAIM);
        expect(await store.oldestUnsentMs()).toBe(T0);
        await store.settle('old', { state: 'refused', atMs: T0, error: 'x' }, entry({}));
        expect(await store.oldestUnsentMs()).toBe(T0 + 50);
      });

      it('lists pages newest first, of one alarm or of all', async () => {
        await store.commit(batch({ alarms: [alarm({ id: 1 }), alarm({ id: 2 })], pages: [page({ id: 'a', alarmId: 1 }), page({ id: 'b', alarmId: 2 }), page({ id: 'c', alarmId: 1 })] }));
        expect((await store.pages({ limit: 2 })).map(({ id }) => id)).toEqual(['c', 'b']);
        expect((await store.pages({ alarmId: 1, limit: 9 })).map(({ id }) => id)).toEqual(['c', 'a']);
      });
    });

    describe('refusals', () => {
      it('are folded by source and reason', async () => {
        await store.commit(batch({ refusals: [refusal({ count: 2, excerpt: 'old' }), refusal({ reason: 'other', lastMs: T0 + 1 })] }));
        await store.commit(batch({ refusals: [refusal({ count: 3, excerpt: 'new', pointId: null, lastMs: T0 + 2 })] }));
        expect(await store.refusals(9)).toEqual([refusal({ count: 5, excerpt: 'new', pointId: null, lastMs: T0 + 2 }), refusal({ reason: 'other', lastMs: T0 + 1 })]);
        expect(await store.refusals(1)).toHaveLength(1);
      });

      it('are at most 500, those last seen longest ago dropped', async () => {
        await store.commit(batch({ refusals: Array.from({ length: 600 }, (_, i) => refusal({ source: `s${i}`, lastMs: T0 + i })) }));
        await store.commit(batch({ refusals: [refusal({ source: 'late', lastMs: T0 + 1000 })] }));
        const kept = await store.refusals(1000);
        expect(kept).toHaveLength(500);
        expect(kept[0]?.source).toBe('late');
        expect(kept.at(-1)?.source).toBe('s101');
      });
    });

    describe('accounts', () => {
      const account = (name: string, passwordHash = 'hash') => ({ name, passwordHash, createdMs: T0, personId: null });
      const idOf = async (name: string): Promise<number> => (await store.accountByName(name))?.id ?? Number.NaN;

      it('are added, replaced by name and removed', async () => {
        await store.putAccount(account('ben'));
        await store.putAccount(account('ana'));
        const id = await idOf('ana');
        await store.putAccount({ name: 'ana', passwordHash: 'other', createdMs: T0 + 99, personId: 'ana-t' });
        expect(await store.accountByName('ana')).toEqual({ id, name: 'ana', passwordHash: 'other', createdMs: T0, personId: 'ana-t' });
        expect((await store.accounts()).map(({ name }) => name)).toEqual(['ana', 'ben']);
        expect(await store.removeAccount('ana')).toBe(true);
        expect(await store.removeAccount('ana')).toBe(false);
        expect(await store.accountByName('ana')).toBeNull();
      });

      it('are found by a session until it ends', async () => {
        await store.putAccount(account('ana'));
        await store.putSession({ tokenHash: 't1', accountId: await idOf('ana'), expiresMs: T0 + 100 });
        expect((await store.accountBySession('t1', T0 + 99))?.name).toBe('ana');
        expect(await store.accountBySession('t1', T0 + 100)).toBeNull();
        expect(await store.accountBySession('t2', T0)).toBeNull();
        await store.putSession({ tokenHash: 't1', accountId: await idOf('ana'), expiresMs: T0 + 200 });
        expect((await store.accountBySession('t1', T0 + 150))?.name).toBe('ana');
        await store.removeSession('t1');
        expect(await store.accountBySession('t1', T0)).toBeNull();
      });

      it('lose their sessions with the account and with a new password, and only then', async () => {
        await store.putAccount(account('ana'));
        const accountId = await idOf('ana');
        await store.putSession({ tokenHash: 't1', accountId, expiresMs: T0 + 100 });
        await store.putAccount({ ...account('ana'), personId: 'ana-t' });
        expect((await store.accountBySession('t1', T0))?.personId).toBe('ana-t');
        await store.putAccount(account('ana', 'new hash'));
        expect(await store.accountBySession('t1', T0)).toBeNull();
        await store.putSession({ tokenHash: 't2', accountId, expiresMs: T0 + 100 });
        await store.removeAccount('ana');
        expect(await store.accountBySession('t2', T0)).toBeNull();
        await refusedForGood(store.putSession({ tokenHash: 't3', accountId, expiresMs: T0 + 100 }));
      });

      it('keep a bounded number of sessions: those that end last', async () => {
        await store.putAccount(account('ana'));
        const accountId = await idOf('ana');
        for (let i = 0; i < 60; i += 1) await store.putSession({ tokenHash: `t${i}`, accountId, expiresMs: T0 + i + 1 });
        expect(await store.accountBySession('t0', T0)).toBeNull();
        expect((await store.accountBySession('t59', T0))?.id).toBe(accountId);
      });
    });

    describe('how files were imported', () => {
      const memory = (headerKey: string, savedMs: number, tankId: string | null = 'lobby') => ({ headerKey, tankId, choices: { dateOrder: 'dmy', columns: [{ label: 'a°', unit: null }] }, savedMs, by: 'Ada Example' });

      it('is kept by header and tank, and replaced', async () => {
        expect(await store.importMemory('h1', 'lobby')).toBeNull();
        await store.rememberImport(memory('h1', T0));
        await store.rememberImport(memory('h1', T0 + 1, null));
        expect(await store.importMemory('h1', 'lobby')).toEqual(memory('h1', T0));
        expect(await store.importMemory('h1', null)).toEqual(memory('h1', T0 + 1, null));
        expect(await store.importMemory('h2', 'lobby')).toBeNull();
        await store.rememberImport({ ...memory('h1', T0 + 2), choices: null, by: 'Bo Sample' });
        expect(await store.importMemory('h1', 'lobby')).toEqual({ ...memory('h1', T0 + 2), choices: null, by: 'Bo Sample' });
      });

      it('is bounded: the oldest of many are forgotten', async () => {
        for (let n = 0; n < 1005; n += 1) await store.rememberImport(memory(`h${n}`, T0 + n));
        expect(await store.importMemory('h4', 'lobby')).toBeNull();
        expect(await store.importMemory('h5', 'lobby')).toEqual(memory('h5', T0 + 5));
      });
    });

    describe('fleet', () => {
      it('is replaced together with its journal rows, or not at all', async () => {
        expect(await store.fleetText()).toBeNull();
        await store.putFleet('clients: []\n', [entry({ kind: 'fleet', text: 'first fleet' })]);
        expect(await store.fleetText()).toBe('clients: []\n');
        const broken: { by: unknown } = { by: null };
        await refusedForGood(store.putFleet('other', [entry({ text: 'lost' }), Object.assign(entry({}), broken)]));
        expect(await store.fleetText()).toBe('clients: []\n');
        expect((await store.journal({ limit: 9 })).map(({ text }) => text)).toEqual(['first fleet']);
      });
    });

    describe('calibrations', () => {
      it('are kept by point and time, to the bit, each with its journal row', async () => {
        const one = { pointId: 'lobby/ph', fromMs: T0, slope: 1.02142857143, offset: -0, by: 'ana', why: 'buffers', enteredMs: T0 + 5 };
        await store.putCalibration(one, entry({ text: 'first' }));
        await store.putCalibration({ ...one, fromMs: T0 - 9, slope: 2 }, entry({ text: 'earlier' }));
        await store.putCalibration({ ...one, why: 'buffers, again' }, entry({ text: 'again' }));
        const kept = await store.calibrations();
        expect(kept).toEqual([{ ...one, fromMs: T0 - 9, slope: 2 }, { ...one, why: 'buffers, again' }]);
        expect(Object.is(kept[1]?.offset, -0)).toBe(true);
        expect((await store.load()).calibrations).toEqual(kept);
        const broken: { by: unknown } = { by: null };
        await refusedForGood(store.putCalibration({ ...one, fromMs: T0 + 1 }, Object.assign(entry({}), broken)));
        expect(await store.calibrations()).toHaveLength(2);
        expect((await store.journal({ limit: 9 })).map(({ text }) => text)).toEqual(['again', 'earlier', 'first']);
      });
    });

    describe('clocks of sources', () => {
      it('are kept while they are not right', async () => {
        const state = { firstMs: 1, lastMs: 2, messages: 3, leastLagMs: 4, mostLagMs: 5, wrongSinceMs: null };
        await store.commit(batch({ clocks: [{ source: 'a', state }, { source: 'b', state }] }));
        await store.commit(batch({ clocks: [{ source: 'a', state: { ...state, wrongSinceMs: 6 } }, { source: 'b', state: null }] }));
        expect((await store.load()).clocks).toEqual(new Map([['a', { ...state, wrongSinceMs: 6 }]]));
      });
    });

    describe('outages', () => {
      it('are kept until they are told', async () => {
        const outage = { id: 'down/*/1', cause: 'down' as const, siteId: null, fromMs: 1, toMs: 2, dueMs: 3 };
        await store.commit(batch({ outages: [{ id: outage.id, outage }, { id: 'x', outage: { ...outage, id: 'x' } }] }));
        await store.commit(batch({ outages: [{ id: outage.id, outage: { ...outage, dueMs: 4 } }, { id: 'x', outage: null }] }));
        expect((await store.load()).outages).toEqual([{ ...outage, dueMs: 4 }]);
      });
    });

    describe('unclaimed sources', () => {
      const message = (topic: string, arrivedMs: number, text: string, siteId: string | null = 'site') => ({ topic, siteId, arrivedMs, bytes: new TextEncoder().encode(text) });
      const textOf = ({ bytes }: { readonly bytes: Uint8Array }): string => new TextDecoder().decode(bytes);

      it('keep their latest messages, newest first, and count all', async () => {
        await store.commit(batch({ unclaimed: [message('a/x', T0, '1'), message('a/y', T0 + 1, 'y', null)] }));
        await store.commit(batch({ unclaimed: [message('a/x', T0 + 2, '2')] }));
        expect(await store.unclaimedSources()).toEqual([
          { topic: 'a/x', siteId: 'site', partial: false, firstMs: T0, lastMs: T0 + 2, messages: 2 },
          { topic: 'a/y', siteId: null, partial: false, firstMs: T0 + 1, lastMs: T0 + 1, messages: 1 },
        ]);
        expect(await store.unclaimedSource('a/y')).toMatchObject({ messages: 1 });
        expect(await store.unclaimedSource('a/z')).toBeNull();
        expect((await store.unclaimedMessages('a/x', 10)).map((one) => [one.arrivedMs, textOf(one)])).toEqual([[T0 + 2, '2'], [T0, '1']]);
        expect(await store.unclaimedMessages('a/x', 1)).toHaveLength(1);
        expect(await store.unclaimedMessages('a/z', 1)).toEqual([]);
      });

      it('are bounded: messages of a source, bytes of a source, bytes of a message, sources', async () => {
        await store.commit(batch({ unclaimed: Array.from({ length: 1200 }, (_, i) => message('many', T0 + i, String(i))) }));
        const many = await store.unclaimedMessages('many', 10_000);
        expect(many).toHaveLength(500);
        expect(textOf(many[0] ?? message('', 0, ''))).toBe('1199');
        expect(await store.unclaimedSource('many')).toMatchObject({ messages: 1200 });
        await store.commit(batch({ unclaimed: Array.from({ length: 300 }, (_, i) => message('fat', T0 + i, 'x'.repeat(4000))) }));
        expect((await store.unclaimedMessages('fat', 10_000)).length * 4000).toBeLessThan(128 * 1024 + 50 * 4000);
        await store.commit(batch({ unclaimed: [message('huge', T0, 'x'.repeat(5000))] }));
        expect(await store.unclaimedSource('huge')).toMatchObject({ messages: 1 });
        expect(await store.unclaimedMessages('huge', 1)).toEqual([]);
        await store.commit(batch({ unclaimed: Array.from({ length: 250 }, (_, i) => message(`s/${i}`, T0 + 10_000 + i, 'x')) }));
        const kept = await store.unclaimedSources();
        expect(kept).toHaveLength(200);
        expect(kept.at(-1)?.topic).toBe('s/50');
        expect(await store.unclaimedMessages('many', 1)).toEqual([]);
      });

      it('leave room for a quiet site when the device of another floods the list', async () => {
        await store.commit(batch({ unclaimed: [message('quiet/new-sensor', T0, '1', 'quiet'), message('nobodys', T0 + 1, '2', null)] }));
        await store.commit(batch({ unclaimed: Array.from({ length: 450 }, (_, i) => message(`mad/${i}`, T0 + 10 + i, 'x', 'mad')) }));
        const topics = (await store.unclaimedSources()).map(({ topic }) => topic);
        expect(topics).toHaveLength(200);
        expect(topics).toEqual(expect.arrayContaining(['quiet/new-sensor', 'nobodys', 'mad/449']));
      });

      it('become history in one transaction with being forgotten', async () => {
        const series = await seriesOf('lobby/claimed');
        await store.commit(batch({ unclaimed: [message('a/x', T0, '1')] }));
        await refusedForGood(store.claimUnclaimed('a/x', [reading(series, T0, 1), reading(series, T0 + 0.5, 2)], false));
        expect(await store.unclaimedSource('a/x')).not.toBeNull();
        expect(await store.seriesOf('lobby/claimed')).toBeNull();
        expect(await store.claimUnclaimed('a/x', [reading(series, T0, 1)], true)).toBe(1);
        expect(await store.unclaimedSource('a/x')).toMatchObject({ partial: true, messages: 1 });
        expect(await store.claimUnclaimed('a/x', [reading(series, T0, 1), reading(series, T0, 1)], false)).toBe(0);
        expect(await store.unclaimedSources()).toEqual([]);
        expect((await store.load()).latest.get(series)).toEqual([reading(series, T0, 1)]);
      });
    });

    it('refuses work after it was closed, and closes twice without complaint', async () => {
      await store.close();
      await store.close();
      await refusedForGood(store.commit(batch({})));
      await refusedForGood(store.journal({ limit: 1 }));
    });
  });
}
