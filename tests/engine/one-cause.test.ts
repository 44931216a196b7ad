/** One cause, one page, against the real engine and store: what no story can tell, because the fleet changes, and what is written down. */
import { afterEach, beforeEach, expect, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { MINUTE, SECOND } from '../../src/domain/duration.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';

const { fleet, rules } = await storyFleet();
const startMs = Date.parse('2026-03-03T18:00:00Z');
const pump = 'hall-reef/return-pump-stopped/return-pump';
const limit = 'hall-reef/limit/display-temperature';

let store: Store;
let clock: StandingClock;
let engine: Engine;

beforeEach(async () => {
  clock = new StandingClock(startMs);
  store = await openSqliteStore(':memory:');
  engine = await Engine.start({ store, fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
});
afterEach(async () => {
  await engine.stop();
  await store.close();
});

/** Sends both points every 30 s for some minutes. */
async function minutes(count: number, pumpWatts: number, celsius: number): Promise<void> {
  const untilMs = clock.now() + count * MINUTE;
  for (let atMs = clock.now(); atMs < untilMs; atMs += 30 * SECOND) {
    clock.set(atMs);
    const samples = [{ pointId: 'hall-reef/return-pump-power', value: pumpWatts }, { pointId: 'hall-reef/display-temperature', value: celsius }].map((one) => ({ ...one, atMs, unit: null }));
    await new Promise<void>((resolve) => engine.deliver({ arrivedMs: atMs, samples, refusals: [], committed: resolve }));
  }
  clock.set(untilMs);
  await engine.settle();
}

/** The pump has stopped, and the cold display is suppressed behind it. */
async function suppressed(): Promise<void> {
  await minutes(5, 55, 25.4);
  await minutes(20, 0, 22.5);
  expect(engine.view.statuses.get(limit)).toMatchObject({ hold: { kind: 'suppressed', untilMs: null } });
}

const pages = async (): Promise<string[]> => (await store.pages({ limit: 100 })).map(({ alarmId, personId, reason }) => `${engine.view.openAlarms.get(alarmId ?? 0)?.ruleId ?? 'closed'} ${personId} ${reason}`);

test('the journal tells of the suppression, with its cause', async () => {
  await suppressed();
  const causeId = engine.view.statuses.get(pump)?.alarmId;
  const [entry] = await store.journal({ contains: 'suppressed', limit: 1 });
  expect(entry).toMatchObject({ kind: 'hold', text: expect.stringMatching(/out of limits: suppressed, explained by Return pump stopped: 22\.50 °C/), detail: { ruleId: limit, from: 'normal', to: 'suppressed', causeAlarmId: causeId } });
  expect(await store.alarms({ tankId: 'hall-reef', open: true, limit: 9 })).toContainEqual(expect.objectContaining({ ruleId: limit, state: 'suppressed', cause: { alarmId: causeId, ruleId: pump, title: 'Return pump stopped', quiet: true } }));
});

test('what it explains is stored in the same transaction as the page of the cause, so that the mail can name it', async () => {
  const commit = store.commit.bind(store);
  const together: { pages: number; suppressed: boolean }[] = [];
  store.commit = (batch) => {
    if (batch.pages.length > 0) together.push({ pages: batch.pages.length, suppressed: batch.alarms.some((alarm) => alarm.ruleId === limit && alarm.state === 'suppressed') });
    return commit(batch);
  };
  await suppressed();
  expect(together[0]).toEqual({ pages: 1, suppressed: true });
});

test('a cause whose rule goes from the fleet leaves its consequence to the grace', async () => {
  await suppressed();
  await engine.applyFleet(fleet, rules.filter(({ id }) => id !== pump));
  expect(engine.view.statuses.get(limit)).toMatchObject({ hold: { kind: 'suppressed', untilMs: clock.now() + 5 * MINUTE } });
  await minutes(6, 0, 22.5);
  expect(await pages()).toContain(`${limit} first surfaced`);
});

test('the same fleet taken anew changes nothing', async () => {
  await suppressed();
  const before = await store.load();
  await engine.applyFleet(fleet, rules);
  const { openAlarms, statuses } = await store.load();
  expect({ openAlarms, statuses }).toEqual({ openAlarms: before.openAlarms, statuses: before.statuses });
});

test('a consequence cannot be acknowledged away from its cause; whoever takes the cause takes what was rung before it', async () => {
  await suppressed();
  const alarmId = engine.view.statuses.get(limit)?.alarmId ?? -1;
  expect(await engine.command({ type: 'acknowledge', alarmId, by: 'first', via: 'web' })).toEqual({ outcome: 'refused', why: 'This alarm is suppressed behind its cause, Return pump stopped: acknowledge that one.' });
});
