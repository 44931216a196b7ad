import { expect, test } from 'vitest';
import { HOUR, MINUTE } from '../../src/domain/duration.ts';
import { boardRows } from '../../src/web/board.ts';
import { FakeEngine, FakeStore, TestClock } from './fakes.ts';
import { START_MS, makeSite } from './site.ts';
import { makeWorld } from './world.ts';

async function rowsOf(change?: (store: FakeStore, engine: FakeEngine) => void) {
  const world = await makeWorld(new TestClock(START_MS));
  change?.(world.store, world.engine);
  const { fleet, rules, engine } = world.options;
  return boardRows(fleet(), rules(), engine.view, START_MS);
}

test('who needs help first comes first', async () => {
  const rows = await rowsOf();
  expect(rows.map((row) => [row.tank.id, row.standing])).toEqual([
    ['lobby', 'needs-help'], ['cafe', 'returned'], ['bar', 'acknowledged'], ['ward', 'unknown'], ['host', 'held'], ['axolotl', 'quiet'],
  ]);
  expect(rows[0]?.alarm?.id).toBe(1);
  expect(rows[0]?.otherAlarms.map((alarm) => alarm.id)).toEqual([2]);
  expect(rows.map((row) => row.sinceMs)).toEqual([START_MS - 47 * MINUTE, START_MS - 9 * HOUR, START_MS - 5 * HOUR, START_MS - 3 * HOUR, START_MS - 26 * HOUR, null]);
});

test('among those who need help the urgent come first, then the older', async () => {
  const rows = await rowsOf((store) => {
    for (const [tankId, priority, agoMs] of [['axolotl', 'high', 9 * HOUR], ['host', 'urgent', MINUTE], ['cafe', 'urgent', 2 * HOUR]] as const) {
      const template = store.alarmRows.get(1);
      if (template === undefined) throw new Error('no alarm 1');
      const id = 100 + store.alarmRows.size;
      store.alarmRows.set(id, { ...template, id, tankId, policy: { ...template.policy, priority }, beganMs: START_MS - agoMs });
    }
  });
  expect(rows.slice(0, 4).map((row) => row.tank.id)).toEqual(['cafe', 'lobby', 'host', 'axolotl']);
});

test('a record-only alarm calls nobody', async () => {
  const rows = await rowsOf((store) => {
    const template = store.alarmRows.get(1);
    if (template !== undefined) store.alarmRows.set(50, { ...template, id: 50, tankId: 'axolotl', policy: { ...template.policy, priority: 'journal' } });
  });
  expect(rows.find((row) => row.tank.id === 'axolotl')?.standing).toBe('quiet');
});

test('an unknown beside a held-back alarm is not hidden by it', async () => {
  const after = await rowsOf((store) => {
    store.rows.set(store.seriesFor('host/return-pump'), []);
  });
  const row = after.find((one) => one.tank.id === 'host');
  expect(row?.standing).toBe('unknown');
  expect(row?.silentPoints.map((point) => point.id)).toEqual(['host/return-pump']);
});

test('a rule held back without an alarm shows, lest it be forgotten', async () => {
  const rows = await rowsOf((store) => {
    const id = 'axolotl/limit/display-temperature';
    const status = store.statusRows.get(id);
    if (status !== undefined) store.statusRows.set(id, { ...status, hold: { kind: 'out-of-service', by: 'x', why: 'y', sinceMs: 0, untilMs: null } });
  });
  expect(rows.find((row) => row.tank.id === 'axolotl')).toMatchObject({ standing: 'held', heldRules: 1 });
});

test('a stale value is nowhere shown as the present one', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const stale = /unknown, last 25\.\d\d °C 3 h ago/;
  for (const url of ['/', '/tanks/ward', '/sources']) expect((await visitor.get(url)).body, url).toMatch(stale);
  const ward = (await visitor.get('/api/tanks/ward')).json();
  expect(ward.points.find((point: { pointId: string }) => point.pointId === 'ward/display-temperature')).toMatchObject({ state: 'stale', value: null, lastMs: START_MS - 3 * HOUR });
  // Nor are its limits compared with it.
  const table = (await visitor.get('/tanks/ward')).body.match(/<tr><th scope="row">(?:<a [^>]*>)?Display temperature.*?<\/tr>/)?.[0] ?? '';
  expect(table).toMatch(stale);
  expect(table).not.toMatch(/<b>|class="strip/);
});

test('one that was never heard from is unknown, not zero', async () => {
  const { world, logIn } = await makeSite();
  for (const id of world.fleet.points.filter((point) => point.tankId === 'axolotl').map((point) => point.id)) world.store.rows.delete(world.store.seriesFor(id));
  const { body } = await (await logIn()).get('/tanks/axolotl');
  expect(body.match(/unknown, nothing received yet/g)).toHaveLength(4);
  expect((await (await logIn()).get('/')).body).toContain('never heard from');
});

test('a quiet fleet is told in one line', async () => {
  const site = await makeSite();
  site.world.store.alarmRows.clear();
  for (const [id, status] of site.world.store.statusRows) site.world.store.statusRows.set(id, { ...status, verdict: 'clear', hold: null, alarmId: null });
  const now = site.clock.now();
  site.world.store.addReadings('ward/display-temperature', [[now, 25.2]]);
  const { body } = await (await site.logIn()).get('/');
  expect(body).toContain('All 6 tanks are quiet.');
  expect(body).not.toMatch(/class="shape m-(urgent|high|low|unknown|returned)/);
});

test('when nothing can be stored, every page says so', async () => {
  const { world, logIn, app } = await makeSite();
  world.engine.trouble = 'the disk is full';
  const visitor = await logIn();
  for (const url of ['/', '/tanks/lobby', '/alarms', '/sources', '/journal', '/import']) expect((await visitor.get(url)).body, url).toMatch(/Nothing has been stored since .*the disk is full/);
  expect((await app.inject('/login')).body).not.toContain('disk is full');
});
