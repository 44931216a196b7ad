/** What is suppressed behind a cause stands under it, on every page, and is not counted as something more to look after. */
import { expect, test } from 'vitest';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import { boardRows } from '../../src/web/board.ts';
import type { FakeStore } from './fakes.ts';
import { START_MS, makeSite } from './site.ts';

/** The display of the lobby is too warm because its heater is stuck on (2), and the quiet axolotl tank of the same site has an alarm behind that as well. */
function explain(store: FakeStore): void {
  const [limit, heater] = [alarmOf(store, 1), alarmOf(store, 2)];
  const cause = { alarmId: heater.id, ruleId: heater.ruleId, title: heater.title, quiet: true };
  const hold = { kind: 'suppressed' as const, by: 'tankbell', why: `explained by ${heater.title}`, sinceMs: START_MS, untilMs: null };
  store.alarmRows.set(1, { ...limit, state: 'suppressed', cause });
  const status = store.statusRows.get(limit.ruleId);
  if (status !== undefined) store.statusRows.set(limit.ruleId, { ...status, hold });
  store.alarmRows.set(40, { ...limit, id: 40, ruleId: 'axolotl/limit/display-temperature', tankId: 'axolotl', siteId: heater.siteId, title: 'Axolotl too warm', state: 'suppressed', cause, beganMs: START_MS - MINUTE });
}

function alarmOf(store: FakeStore, id: number): Alarm {
  const alarm = store.alarmRows.get(id);
  if (alarm === undefined) throw new Error(`no alarm ${id}`);
  return alarm;
}

async function site() {
  const made = await makeSite();
  explain(made.world.store);
  return { ...made, visitor: await made.logIn() };
}

test('the board tells the cause, and what it explains beside it', async () => {
  const { world } = await site();
  const { fleet, rules, engine } = world.options;
  const rows = boardRows(fleet(), rules(), engine.view, START_MS);
  const lobby = rows.find(({ tank }) => tank.id === 'lobby');
  expect(lobby).toMatchObject({ standing: 'needs-help', alarm: { id: 2 }, alarmTankName: null, otherAlarms: [], heldRules: 0 });
  expect(lobby?.explained.map(({ id }) => id)).toEqual([1]);
  // A tank that is only affected stands as its cause does, not as if somebody had put it aside.
  const axolotl = rows.find(({ tank }) => tank.id === 'axolotl');
  expect(axolotl).toMatchObject({ standing: 'needs-help', alarm: { id: 2 }, alarmTankName: lobby?.tank.name, otherAlarms: [] });
  expect(axolotl?.explained.map(({ id }) => id)).toEqual([40]);
});

test('once somebody has taken the cause, both tanks are looked after', async () => {
  const { world } = await site();
  world.store.alarmRows.set(2, { ...alarmOf(world.store, 2), state: 'acknowledged', acknowledgedMs: START_MS, acknowledgedBy: 'Ada Example' });
  const { fleet, rules, engine } = world.options;
  const standing = new Map(boardRows(fleet(), rules(), engine.view, START_MS).map((row) => [row.tank.id, row.standing]));
  expect([standing.get('lobby'), standing.get('axolotl')]).toEqual(['acknowledged', 'acknowledged']);
});

test('lists show it under its cause, not beside it', async () => {
  const { visitor, world } = await site();
  const limit = alarmOf(world.store, 1);
  for (const url of ['/alarms', '/tanks/lobby']) {
    const { body } = await visitor.get(url);
    const open = body.match(/data-live="open".*?<\/section>/s)?.[0] ?? '';
    const under = open.match(/<details>.*?<\/details>/s)?.[0] ?? '';
    expect(under, url).toContain(`explains also: ${limit.title}`);
    expect(under, url).toContain('suppressed by cause');
    expect(open.replace(under, ''), url).not.toContain('href="/alarms/1"');
  }
  // The cause stands at another tank: it is named with it.
  const { body } = await visitor.get('/tanks/axolotl');
  const open = body.match(/data-live="open".*?<\/section>/s)?.[0] ?? '';
  expect(open).toMatch(/href="\/alarms\/2".*explains also: Axolotl too warm/s);
  expect((await visitor.get('/')).body).toContain(`explains also: ${limit.title}`);
});

test('the page of the cause lists what it explains at the whole site; the page of a consequence leads to its cause', async () => {
  const { visitor } = await site();
  const cause = (await visitor.get('/alarms/2')).body;
  const explains = cause.match(/id="explains".*?<\/section>/s)?.[0] ?? '';
  expect(explains).toContain('href="/alarms/1"');
  expect(explains).toMatch(/Axolotl too warm<\/a><span> · /);
  const consequence = (await visitor.get('/alarms/1')).body;
  expect(consequence).toMatch(/Explained by <a rel="noreferrer" href="\/alarms\/2">/);
  expect(consequence).not.toContain('/alarms/1/acknowledge');
  expect(consequence).toContain('suppressed by cause since ');
});

test('what is over still tells what it explained', async () => {
  const { visitor, world } = await site();
  for (const id of [1, 2, 40]) world.store.alarmRows.set(id, { ...alarmOf(world.store, id), state: 'normal', returnedMs: START_MS, closedMs: START_MS });
  expect((await visitor.get('/alarms/2')).body.match(/id="explains".*?<\/section>/s)?.[0]).toContain('href="/alarms/1"');
  expect((await visitor.get('/alarms/1')).body).toContain('Was explained by ');
});

test('lists of what is over keep it under its cause, unless it rang somebody itself', async () => {
  const { visitor, world } = await site();
  const over = { state: 'normal', returnedMs: START_MS, closedMs: START_MS } as const;
  const unpaged = { nextStep: 0, dueMs: null, paged: [] };
  for (const id of [1, 40]) world.store.alarmRows.set(id, { ...alarmOf(world.store, id), ...over, escalation: { ...alarmOf(world.store, id).escalation, ...unpaged } });
  world.store.alarmRows.set(2, { ...alarmOf(world.store, 2), ...over });
  const past = async (url: string): Promise<string> => (await visitor.get(url)).body.match(/id="past".*?<\/section>/s)?.[0] ?? '';
  const folded = (list: string): string => (list.match(/<details>.*?<\/details>/gs) ?? []).join('');
  for (const url of ['/alarms', '/tanks/lobby']) {
    const list = await past(url);
    expect(folded(list), url).toContain('href="/alarms/1"');
    expect(list.replace(folded(list), ''), url).not.toContain('href="/alarms/1"');
    expect(list.replace(folded(list), ''), url).toContain('href="/alarms/2"');
  }
  // Its cause stood at another tank.
  expect(await past('/tanks/axolotl')).toMatch(/href="\/alarms\/2".*<details>.*href="\/alarms\/40"/s);
  // While its cause is open it stands on the page of that.
  world.store.alarmRows.set(2, { ...alarmOf(world.store, 2), state: 'acknowledged', closedMs: null });
  expect(await past('/alarms')).not.toContain('href="/alarms/1"');
  world.store.alarmRows.set(2, { ...alarmOf(world.store, 2), ...over });
  const paged = alarmOf(world.store, 1);
  world.store.alarmRows.set(1, { ...paged, escalation: { ...paged.escalation, paged: ['ada'] } });
  const list = await past('/alarms');
  expect(list.replace(folded(list), '')).toContain('href="/alarms/1"');
});

test('the page of a cause that explains dozens keeps most of them folded, so that what to check is near', async () => {
  const { visitor, world } = await site();
  const model = alarmOf(world.store, 40);
  for (let id = 41; id <= 60; id += 1) world.store.alarmRows.set(id, { ...model, id, ruleId: `axolotl/limit/${id}` });
  const explains = (await visitor.get('/alarms/2')).body.match(/id="explains".*?<\/section>/s)?.[0] ?? '';
  const folded = explains.match(/<details>.*?<\/details>/s)?.[0] ?? '';
  expect(folded).toContain('and 18 more');
  expect(folded.match(/<li>/g)).toHaveLength(18);
  expect(explains.replace(folded, '').match(/<li>/g)).toHaveLength(4);
});

test('the API names both', async () => {
  const { visitor } = await site();
  expect((await visitor.get('/api/alarms/1')).json()).toMatchObject({ state: 'suppressed', cause: { alarmId: 2, quiet: true } });
  expect((await visitor.get('/api/alarms/2')).json()).toMatchObject({ cause: null });
  expect((await visitor.get('/api/board')).json().tanks.find((tank: { tankId: string }) => tank.tankId === 'lobby')).toMatchObject({ alarmId: 2, otherAlarmIds: [], explainedAlarmIds: [1] });
});
