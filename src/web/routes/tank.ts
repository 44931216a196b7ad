import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { Tank } from '../../domain/fleet.ts';
import { holdRule } from '../alarm-actions.ts';
import { drawnCharts } from '../alarm-facts.ts';
import { byAlarmNeed } from '../board.ts';
import { causeTrees, pastTrees } from '../causes.ts';
import { chosenSpan } from '../chart-range.ts';
import { type WebContext, byOf, sendHtml, viewerOf } from '../context.ts';
import { reasonForm, shelveForm } from '../hold-form.ts';
import { sentenceOf } from '../issues.ts';
import { type Outcome, type RuleStanding, tankPage } from '../pages/tank.tsx';
import { presentOf } from '../present.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';

const PAST_ALARMS = 12;
/** A gateway that fell silent leaves a dozen behind itself, which take no line of their own. */
const PAST_LOOKED_AT = 100;
const MARKED_ALARMS = 200;

const doneQuery = z.object({ done: z.enum(['shelve', 'unshelve', 'out-of-service', 'return-to-service']).optional().catch(undefined) });
const holdForm = z.object({ ruleId: z.string().max(300), action: z.enum(['shelve', 'unshelve', 'out-of-service', 'return-to-service']) });

export function tankRoutes(app: FastifyInstance, context: WebContext): void {
  app.get<{ Params: { id: string } }>('/tanks/:id', async (request, reply) => {
    const { done } = doneQuery.parse(request.query);
    return show(request, reply, tankOf(context, request.params.id), 200, done === undefined ? null : { good: true, text: words.alarm.done[done] });
  });

  app.post<{ Params: { id: string } }>('/tanks/:id/hold', async (request, reply) => {
    const tank = tankOf(context, request.params.id);
    const refuse = (status: number, why: string): Promise<FastifyReply> => show(request, reply, tank, status, { good: false, text: words.alarm.refused(why) });
    const form = holdForm.safeParse(request.body);
    const rule = form.success ? context.rules().find((one) => one.id === form.data.ruleId && one.facts.tank.id === tank.id) : undefined;
    if (!form.success || rule === undefined) return refuse(404, words.rule.noRule);
    const { action } = form.data;
    const details = action === 'shelve' ? shelveForm.safeParse(request.body) : action === 'out-of-service' ? reasonForm.safeParse(request.body) : null;
    if (details !== null && !details.success) return refuse(400, sentenceOf(details.error, 'words only'));
    const result = await holdRule(context.engine, rule.id, action, byOf(context, request), { why: '', forMs: 0, ...details?.data }, context.clock.now());
    if (result.outcome === 'refused') return refuse(409, result.why);
    return reply.redirect(`/tanks/${encodeURIComponent(tank.id)}?done=${action}`, 303);
  });

  async function show(request: FastifyRequest, reply: FastifyReply, tank: Tank, status: number, outcome: Outcome | null): Promise<FastifyReply> {
    const viewer = viewerOf(context, request);
    const { nowMs } = viewer;
    const fleet = context.fleet();
    const site = fleet.sites.find((one) => one.id === tank.siteId);
    if (site === undefined) throw new WebError(404, words.error.noTank);
    const { view } = context.engine;
    const rules = context.rules().filter((rule) => rule.facts.tank.id === tank.id);
    const points = fleet.points.filter((point) => point.tankId === tank.id || (point.tankId === null && point.siteId === tank.siteId));
    const span = chosenSpan(request.query, nowMs);
    const [pastAlarms, marked] = await Promise.all([
      context.store.alarms({ tankId: tank.id, open: false, limit: PAST_LOOKED_AT }),
      context.store.alarms({ tankId: tank.id, fromMs: span.fromMs, toMs: span.toMs, limit: MARKED_ALARMS }),
    ]);
    const drawn = await drawnCharts(context, { points, span, followsNow: span.followsNow, zone: site.timeZone, alarms: marked, nowMs });
    return sendHtml(reply, tankPage({
      viewer, tank, site, outcome,
      pastAlarms: (await pastTrees(pastAlarms, context.store)).slice(0, PAST_ALARMS),
      clientName: fleet.clients.find((client) => client.id === site.clientId)?.name ?? null,
      presents: points.map((point) => presentOf(point, view, rules, nowMs)),
      charts: { ...drawn, range: span.range },
      openAlarms: causeTrees([...view.openAlarms.values()].filter((alarm) => alarm.tankId === tank.id), view).toSorted((a, b) => byAlarmNeed(a.alarm, b.alarm)),
      tankNameOf: (tankId) => fleet.tanks.find(({ id }) => id === tankId)?.name ?? tankId,
      equipment: fleet.equipment.filter((one) => one.tankId === tank.id),
      rules: rules.map((rule) => ({ rule, status: view.statuses.get(rule.id) ?? null, verdict: view.verdict(rule.id) })).sort((a, b) => urgency(a) - urgency(b)),
    }), status);
  }
}

/** Breached first, then what cannot judge, then what is held back, then the clear ones. */
function urgency({ rule, status }: RuleStanding): number {
  if (status?.hold !== null && status?.hold !== undefined) return 2;
  if (rule.missing !== null || status === null || status.verdict === 'unknown') return 1;
  return status.verdict === 'breached' ? 0 : 3;
}

export function tankOf(context: WebContext, id: string): Tank {
  const tank = context.fleet().tanks.find((one) => one.id === id);
  if (tank === undefined) throw new WebError(404, words.error.noTank);
  return tank;
}
