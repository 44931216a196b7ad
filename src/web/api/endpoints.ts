/** The API, one entry each. */
import type { FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { Alarm } from '../../domain/alarm.ts';
import type { CommandResult } from '../../domain/command.ts';
import { HOUR } from '../../domain/duration.ts';
import { journalKinds } from '../../domain/journal.ts';
import { holdRule } from '../alarm-actions.ts';
import { surroundingsOf } from '../alarm-facts.ts';
import { boardRows } from '../board.ts';
import { type WebContext, byOf } from '../context.ts';
import { reason, shelveHours } from '../hold-form.ts';
import { presentOf } from '../present.ts';
import { alarmOf } from '../routes/alarms.ts';
import { tankOf } from '../routes/tank.ts';
import { MAX_BUCKETS, chartSeries, increaseSeries, isCounter } from '../series.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';
import { alarmAnswer, boardAnswer, presentAnswer } from './answers.ts';
import { type Endpoint, endpoint, nothing } from './endpoint.ts';
import { alarmShape, boardShape, doneShape, journalShape, seriesShape, tankShape } from './shapes.ts';

const MAX_LISTED = 500;
const msParam = (what: string) => z.coerce.number().int().min(0).max(8.64e15).describe(what);
const id = z.object({ id: z.string().min(1).max(300) });
const limit = z.coerce.number().int().min(1).max(MAX_LISTED).default(100).describe(`How many at most; 1 to ${MAX_LISTED}.`);
const notFound = { 404: 'There is no such thing.' } as const;
const refusable = { 403: 'Sent from another site.', 404: 'There is no such alarm.', 409: 'Refused; the message says why. Nothing changed.' } as const;
const optional = <Key extends string, Value>(key: Key, value: Value | undefined): Partial<Record<Key, Value>> => (value === undefined ? {} : { [key]: value } as Record<Key, Value>);

export const endpoints: readonly Endpoint[] = [
  endpoint({
    method: 'GET', path: '/api/board', summary: 'Every tank in the order in which somebody is needed.',
    params: nothing, query: nothing, body: nothing, answer: boardShape, failures: {},
    async handle(context) {
      const nowMs = context.clock.now();
      return boardAnswer(boardRows(context.fleet(), context.rules(), context.engine.view, nowMs), nowMs);
    },
  }),
  endpoint({
    method: 'GET', path: '/api/tanks/:id', summary: 'Present values and rules of a tank.',
    params: id, query: nothing, body: nothing, answer: tankShape, failures: notFound,
    async handle(context, { params }) {
      const tank = tankOf(context, params.id);
      const fleet = context.fleet();
      const { view } = context.engine;
      const rules = context.rules().filter((rule) => rule.facts.tank.id === tank.id);
      const points = fleet.points.filter((point) => point.tankId === tank.id || (point.tankId === null && point.siteId === tank.siteId));
      return {
        tankId: tank.id, name: tank.name, siteId: tank.siteId,
        timeZone: fleet.sites.find((site) => site.id === tank.siteId)?.timeZone ?? 'UTC',
        points: points.map((point) => presentAnswer(presentOf(point, view, rules, context.clock.now()))),
        rules: rules.map((rule) => {
          const status = view.statuses.get(rule.id);
          const verdict = view.verdict(rule.id);
          const why = rule.missing ?? status?.unknownWhy ?? (verdict?.state === 'breached' ? verdict.summary : verdict?.state === 'unknown' ? verdict.why : null);
          const hold = status?.hold ?? null;
          return { ruleId: rule.id, title: rule.title, verdict: rule.missing === null ? (status?.verdict ?? 'unknown') : 'unknown' as const, why, hold: hold === null ? null : { ...hold } };
        }),
        openAlarmIds: [...view.openAlarms.values()].filter((alarm) => alarm.tankId === tank.id).map((alarm) => alarm.id),
      };
    },
  }),
  endpoint({
    method: 'GET', path: '/api/points/:owner/:point/series', summary: 'History of a point, ready to draw: readings over short spans, buckets over long ones.',
    params: z.object({ owner: z.string().min(1).max(200).describe('Tank or site.'), point: z.string().min(1).max(200) }),
    query: z.object({
      from: msParam('Beginning of the span, ms since 1970.'),
      to: msParam('End of the span, not included.'),
      buckets: z.coerce.number().int().min(1).max(MAX_BUCKETS).default(600).describe(`At most so many buckets; 1 to ${MAX_BUCKETS}.`),
      as: z.enum(['value', 'increase']).default('value').describe('`increase`: what a counter counted, as a rate per hour, through resets and roll-overs.'),
      raw: z.stringbool({ truthy: ['true'], falsy: ['false'] }).default(false).describe('Readings as they came, not as calibrated.'),
    }).refine(({ from, to }) => from < to, { error: 'must be after `from`', path: ['to'] }),
    body: nothing, answer: seriesShape, failures: notFound,
    async handle(context, { params, query }) {
      const point = context.fleet().points.find((one) => one.id === `${params.owner}/${params.point}`);
      if (point === undefined) throw new WebError(404, words.error.noPoint);
      const history = query.raw ? context.rawHistory : context.store;
      const span = { fromMs: query.from, toMs: query.to };
      if (query.as === 'increase' && !isCounter(point)) throw new WebError(400, words.error.noCounter);
      const series = query.as === 'increase' ? await increaseSeries(history, point, span) : await chartSeries(history, point, span, query.buckets);
      return { ...series, t: [...series.t], mean: [...series.mean], min: series.min === null ? null : [...series.min], max: series.max === null ? null : [...series.max], suspectMs: [...series.suspectMs] };
    },
  }),
  endpoint({
    method: 'GET', path: '/api/alarms', summary: 'Alarms, newest first.',
    params: nothing,
    query: z.object({
      tank: z.string().max(200).optional(), open: z.stringbool({ truthy: ['true'], falsy: ['false'] }).optional(),
      from: msParam('Alarms whose life touches the span from here …').optional(), to: msParam('… to here.').optional(), limit,
    }),
    body: nothing, answer: z.object({ alarms: z.array(alarmShape) }), failures: {},
    async handle(context, { query }) {
      const alarms = await context.store.alarms({
        ...optional('tankId', query.tank), ...optional('open', query.open), ...optional('fromMs', query.from), ...optional('toMs', query.to), limit: query.limit,
      });
      return { alarms: alarms.map((alarm) => alarmAnswer(alarm, context.rules())) };
    },
  }),
  endpoint({
    method: 'GET', path: '/api/alarms/:id', summary: 'One alarm with its first checks.',
    params: id, query: nothing, body: nothing, answer: alarmShape.extend({ firstChecks: z.array(z.string()) }), failures: notFound,
    async handle(context, { params }) {
      const alarm = await alarmOf(context, params.id);
      return { ...alarmAnswer(alarm, context.rules()), firstChecks: [...surroundingsOf(context, alarm).firstChecks] };
    },
  }),
  endpoint({
    method: 'POST', path: '/api/alarms/:id/acknowledge', summary: 'Says that the person logged in looks after it.',
    params: id, query: nothing, body: nothing, answer: doneShape, failures: refusable,
    handle: (context, { params }, request) => change(context, params.id, (alarm) => context.engine.command({ type: 'acknowledge', alarmId: alarm.id, by: byOf(context, request), via: 'web' })),
  }),
  endpoint({
    method: 'POST', path: '/api/alarms/:id/shelve', summary: 'Holds the rule of the alarm back for a while; it comes back by itself.',
    params: id, query: nothing, body: z.object({ why: reason, hours: shelveHours }), answer: doneShape, failures: refusable,
    handle: (context, { params, body }, request) => change(context, params.id, hold(context, request, 'shelve', body.why, body.hours * HOUR)),
  }),
  endpoint({
    method: 'POST', path: '/api/alarms/:id/unshelve', summary: 'Ends a shelving early.',
    params: id, query: nothing, body: nothing, answer: doneShape, failures: refusable,
    handle: (context, { params }, request) => change(context, params.id, hold(context, request, 'unshelve', '', 0)),
  }),
  endpoint({
    method: 'POST', path: '/api/alarms/:id/out-of-service', summary: 'Takes the rule of the alarm out of service until somebody returns it.',
    params: id, query: nothing, body: z.object({ why: reason }), answer: doneShape, failures: refusable,
    handle: (context, { params, body }, request) => change(context, params.id, hold(context, request, 'out-of-service', body.why, 0)),
  }),
  endpoint({
    method: 'POST', path: '/api/alarms/:id/return-to-service', summary: 'Puts the rule of the alarm back into service.',
    params: id, query: nothing, body: nothing, answer: doneShape, failures: refusable,
    handle: (context, { params }, request) => change(context, params.id, hold(context, request, 'return-to-service', '', 0)),
  }),
  endpoint({
    method: 'GET', path: '/api/journal', summary: 'The journal, newest first.',
    params: nothing,
    query: z.object({
      tank: z.string().max(200).optional(), alarm: z.coerce.number().int().optional(), kind: z.enum(journalKinds).optional(), contains: z.string().max(200).optional(),
      before: z.coerce.number().int().describe('Entries with a smaller id.').optional(), limit,
    }),
    body: nothing, answer: z.object({ entries: z.array(journalShape) }), failures: {},
    async handle(context, { query }) {
      const entries = await context.store.journal({
        ...optional('tankId', query.tank), ...optional('alarmId', query.alarm), ...optional('kinds', query.kind === undefined ? undefined : [query.kind]),
        ...optional('contains', query.contains), ...optional('beforeId', query.before), limit: query.limit,
      });
      return { entries: entries.map((entry) => ({ ...entry, detail: { ...entry.detail } })) };
    },
  }),
];

async function change(context: WebContext, alarmId: string, act: (alarm: Alarm) => Promise<CommandResult>): Promise<z.infer<typeof doneShape>> {
  const alarm = await alarmOf(context, alarmId);
  const result = await act(alarm);
  if (result.outcome === 'refused') throw new WebError(409, result.why);
  return { outcome: 'done', alarm: alarmAnswer(await alarmOf(context, alarmId), context.rules()) };
}

function hold(context: WebContext, request: FastifyRequest, action: Parameters<typeof holdRule>[2], why: string, forMs: number) {
  return (alarm: Alarm): Promise<CommandResult> => holdRule(context.engine, alarm.ruleId, action, byOf(context, request), { why, forMs: Math.round(forMs) }, context.clock.now());
}
