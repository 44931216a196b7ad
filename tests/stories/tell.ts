/** Plays a story against the real engine, rules and SQLite store, on a clock of its own. Every page must be expected by a line. */
import { StandingClock } from '../../src/clock.ts';
import type { Command } from '../../src/domain/command.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { OutboxPage } from '../../src/domain/page.ts';
import { stateOf } from '../../src/alarms/lifecycle.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import type { Rule } from '../../src/rules/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import type { Action, Doing, Story } from './parse.ts';

interface Event {
  readonly atMs: number;
  /** Readings come before what is said of the same moment. */
  readonly order: number;
  readonly run: () => Promise<void>;
}

/** @returns one sentence per expectation that failed; none when the story holds. */
export async function tellStory(story: Story, fleet: Fleet, rules: readonly Rule[]): Promise<string[]> {
  const tank = fleet.tanks[0];
  if (tank === undefined) throw new Error('the story fleet has no tank');
  const clock = new StandingClock(story.startMs);
  const store = await openSqliteStore(':memory:');
  const wrong: string[] = [];
  const log = makeLogger('silent', clock.now);
  const start = (): Promise<Engine> =>
    Engine.start({ store, fleet, rules, clock, log, onPages: () => undefined, onFatal: (error) => { throw error; } });
  let engine = await start();
  let downUntilMs = 0;
  const seen = new Set<string>();

  const unseen = async (): Promise<OutboxPage[]> => (await store.pages({ limit: 1000 })).filter((page) => !seen.has(page.id)).sort((a, b) => a.createdMs - b.createdMs);
  const ruleId = (name: string): string => {
    const id = rules.some((rule) => rule.id === name) ? name : `${tank.id}/${name}`;
    if (!rules.some((rule) => rule.id === id)) throw new Error(`no rule ${id}; there are ${rules.map((rule) => rule.id).join(', ')}`);
    return id;
  };
  const command = async (action: Action, wanted: Command): Promise<void> => {
    const result = await engine.command(wanted);
    if (result.outcome === 'refused') wrong.push(`line ${action.line}: ${wanted.type} was refused: ${result.why}`);
  };

  const act = async (action: Action): Promise<void> => {
    const { doing, line } = action;
    const atMs = story.startMs + action.atMs;
    await engine.settle();
    switch (doing.type) {
      case 'expect-alarm': {
        const status = engine.view.statuses.get(ruleId(doing.rule));
        const is = status === undefined ? 'missing' : stateOf(status);
        if (is !== doing.state) wrong.push(`line ${line}: ${doing.rule} is ${is}, not ${doing.state}${status?.unknownWhy ? ` (${status.unknownWhy})` : ''}`);
        return;
      }
      case 'expect-behind': {
        const status = engine.view.statuses.get(ruleId(doing.rule));
        const alarm = status?.alarmId == null ? undefined : engine.view.openAlarms.get(status.alarmId);
        if (alarm?.state !== 'suppressed' || alarm.cause?.ruleId !== ruleId(doing.cause)) {
          wrong.push(`line ${line}: ${doing.rule} is ${alarm?.state ?? 'normal'}${alarm?.cause == null ? '' : ` (${alarm.cause.ruleId})`}, not suppressed behind ${doing.cause}`);
        }
        return;
      }
      case 'expect-unknown': {
        const status = engine.view.statuses.get(ruleId(doing.rule));
        if (status?.verdict !== 'unknown') wrong.push(`line ${line}: the verdict of ${doing.rule} is ${status?.verdict}, not unknown`);
        return;
      }
      case 'expect-page': {
        const about = doing.rule === null ? null : new Set((await store.alarms({ limit: 1000 })).filter((alarm) => alarm.ruleId === ruleId(doing.rule ?? '')).map(({ id }) => id));
        const page = (await unseen()).find((one) => one.personId === doing.person && (doing.reason === null || one.reason === doing.reason) && (about === null || (one.alarmId !== null && about.has(one.alarmId))));
        if (page === undefined) wrong.push(`line ${line}: no page to ${doing.person}${doing.reason === null ? '' : ` (${doing.reason})`}; unexpected so far: ${describe(await unseen(), story.startMs)}`);
        else seen.add(page.id);
        return;
      }
      case 'expect-no-page': {
        const pages = await unseen();
        if (pages.length > 0) wrong.push(`line ${line}: there are pages: ${describe(pages, story.startMs)}`);
        return;
      }
      case 'expect-journal':
        if ((await store.journal({ contains: doing.text, limit: 1 })).length === 0) wrong.push(`line ${line}: nothing in the journal says "${doing.text}"; it ends: ${(await store.journal({ limit: 3 })).map(({ text }) => text).join(' / ')}`);
        return;
      case 'expect-no-journal': {
        const [entry] = await store.journal({ contains: doing.text, limit: 1 });
        if (entry !== undefined) wrong.push(`line ${line}: the journal says: ${entry.text}`);
        return;
      }
      case 'acknowledge': {
        const alarmId = engine.view.statuses.get(ruleId(doing.rule))?.alarmId;
        if (alarmId == null) wrong.push(`line ${line}: ${doing.rule} has no open alarm to acknowledge`);
        else await command(action, { type: 'acknowledge', alarmId, by: doing.by, via: 'web' });
        return;
      }
      case 'restart':
        // As after kill -9: nothing is said to the old engine, it is simply forgotten.
        downUntilMs = clock.now() + doing.downMs;
        clock.set(downUntilMs);
        engine = await start();
        return;
      default:
        await command(action, holdCommand(doing, ruleId(doing.rule), atMs));
    }
  };

  const events: Event[] = [];
  for (const feed of story.feeds) {
    const point = fleet.points.find((one) => one.id === `${tank.id}/${feed.point}` || one.id === feed.point);
    if (point === undefined) throw new Error(`line ${feed.line}: no point ${feed.point}`);
    feed.values.forEach((value, i) => {
      if (value === null) return;
      const takenMs = story.startMs + feed.fromMs + i * feed.everyMs;
      const arrivedMs = feed.storedUntilMs === null ? takenMs + feed.lateMs : story.startMs + feed.storedUntilMs + i * 20;
      events.push({
        atMs: arrivedMs, order: 0,
        run: async () => {
          if (arrivedMs < downUntilMs) return;
          engine.deliver({ arrivedMs, samples: [{ pointId: point.id, atMs: takenMs, value, unit: null }], refusals: [], committed: () => undefined });
        },
      });
    });
  }
  // Deadlines fire as soon as time has passed them: an expectation looks a millisecond later.
  for (const action of story.actions) events.push({ atMs: story.startMs + action.atMs + 1, order: 1, run: () => act(action) });
  events.sort((a, b) => a.atMs - b.atMs || a.order - b.order);
  for (const event of events) {
    if (event.atMs > clock.now()) clock.set(event.atMs);
    await event.run();
  }
  await engine.settle();
  const left = await unseen();
  if (left.length > 0) wrong.push(`at the end there are pages that no line expected: ${describe(left, story.startMs)}`);
  await engine.stop();
  await store.close();
  return wrong;
}

function holdCommand(doing: Extract<Doing, { type: 'shelve' | 'unshelve' | 'out-of-service' | 'return-to-service' }>, ruleId: string, nowMs: number): Command {
  switch (doing.type) {
    case 'shelve':
      return { type: 'shelve', ruleId, by: doing.by, why: 'as told in the story', untilMs: nowMs + doing.forMs };
    case 'out-of-service':
      return { type: 'take-out-of-service', ruleId, by: doing.by, why: 'as told in the story' };
    case 'unshelve':
    case 'return-to-service':
      return { type: doing.type, ruleId, by: doing.by };
  }
}

function describe(pages: readonly OutboxPage[], startMs: number): string {
  return pages.length === 0 ? 'none' : pages.map((page) => `${page.personId} (${page.reason}) at ${(page.createdMs - startMs) / 60_000} min, alarm ${page.alarmId}`).join('; ');
}
