/**
 * A source whose clock is wrong.
 *
 * Problem: a gateway with a flat battery or the wrong time zone sends readings an hour old or not yet due. They are stamped anew when they arrive (`src/ingest/source-clock.ts`), so nothing is lost;
 * but what it stores while the network is down will come at the wrong time, and its history before it was found is off.
 * Method: told by the intake, which finds a clock wrong when its stamps are off by the same amount of more than two minutes for six messages and a minute. One rule for the site: sources of one gateway
 * share its clock. Over when all are right again.
 * High: nothing is at risk today, but what is stored meanwhile comes at the wrong time, and nobody else would notice: told in the morning.
 */
import { z } from 'zod';
import { showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, quietForever, type RuleContext, type WrongClock } from '../contract.ts';

const settings = z.strictObject({});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ wrong: z.array(z.string()) });
type State = z.infer<typeof state>;

const right: State = { wrong: [] };
const SOURCES_WATCHED = 64;
const MESSAGES = 6;

export default defineRule<Settings, State>({
  kind: 'wrong-clock',
  watchesFor: 'A gateway or sensor whose clock is wrong.',
  settings,
  state,
  initial: right,
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 0 },

  apply({ site, points, neighbours }) {
    const bySource = new Map<string, Point>();
    for (const point of [...points, ...neighbours.points]) {
      if (point.source !== null && point.siteId === site.id && !bySource.has(point.source.topic)) bySource.set(point.source.topic, point);
    }
    if (bySource.size === 0) return [];
    return [{
      subject: `${site.id}/clock`,
      title: `${site.name}: clock wrong`,
      // One point stands for its source.
      roles: Object.fromEntries([...bySource.values()].slice(0, SOURCES_WATCHED).map(({ id }, index) => [`source-${index + 1}`, id])),
      equipment: null,
      missing: null,
      defaults: {},
    }];
  },

  step(before, input, context) {
    // Whoever finds a clock wrong, or right again, wakes this rule; a reading changes nothing.
    if (input.type === 'reading' && before.wrong.length === 0) return { state: before, verdict: clear, quiet: quietForever };
    const found = wrongClocks(context);
    const wrong = found.map(({ point }) => point.id);
    const same = wrong.join(' ') === before.wrong.join(' ');
    const step = { state: same ? before : { wrong }, verdict: found.length === 0 ? clear : breached(found) };
    return input.type === 'reading' ? step : { ...step, wakeAtMs: null };
  },

  // Six messages and three cadences of the source that is found first (`src/ingest/source-clock.ts`).
  surelyAfterMs: (_settings, { points }) => MESSAGES * Math.min(...[...points.values()].map(({ everyMs }) => everyMs)),

  firstChecks(advice) {
    return [
      'Off by whole hours: the time zone or summer time of the gateway. Off by years: its clock battery. Creeping: it does not reach its time server (NTP); see its network settings.',
      'The Sources page shows by how much each source is off. Setting the clock is enough: its stamps are used again with the next message.',
      'What was stored while the network was down, before the clock is right, comes with wrong times.',
      beforeReachingIn(advice),
      electricalWork,
    ];
  },
});

interface Found {
  readonly point: Point;
  readonly clock: WrongClock;
}

function wrongClocks(context: RuleContext<Settings>): readonly Found[] {
  const found: Found[] = [];
  for (let index = 1; index <= SOURCES_WATCHED; index += 1) {
    const role = `source-${index}`;
    const point = context.point(role);
    if (point === null) break;
    const clock = context.wrongClock(role);
    if (clock !== null) found.push({ point, clock });
  }
  return found;
}

function breached(found: readonly Found[]): Verdict {
  const evidence: Evidence[] = found.slice(0, 8).map(({ point, clock }) => ({ label: point.source?.topic ?? point.name, value: off(clock), atMs: clock.sinceMs }));
  const [first] = found;
  const more = found.length > 1 ? ` (and ${found.length - 1} more)` : '';
  return { state: 'breached', summary: first === undefined ? 'a clock is wrong' : `the clock of ${first.point.source?.topic ?? first.point.name}${more} is ${off(first.clock)}; its readings are stamped when they arrive, until it is right again`, evidence };
}

const off = ({ behindMs }: WrongClock): string => `${showDuration(Math.abs(behindMs))} ${behindMs < 0 ? 'ahead' : 'behind'}`;
