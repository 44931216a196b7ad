import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { Alarm } from '../../domain/alarm.ts';
import type { CommandResult } from '../../domain/command.ts';
import type { Fleet } from '../../domain/fleet.ts';
import { type AlarmAction, alarmActions, holdRule } from '../alarm-actions.ts';
import { alarmCharts, surroundingsOf } from '../alarm-facts.ts';
import { byAlarmNeed } from '../board.ts';
import { causeTrees, explainedOf, pastTrees } from '../causes.ts';
import { type WebContext, byOf, sendHtml, viewerOf } from '../context.ts';
import { reasonForm, shelveForm } from '../hold-form.ts';
import { sentenceOf } from '../issues.ts';
import { withPresentNumbers } from '../live-alarm.ts';
import { alarmPage } from '../pages/alarm.tsx';
import { alarmsPage } from '../pages/alarms.tsx';
import type { Outcome } from '../pages/tank.tsx';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';

const PAST_SHOWN = 50;
const MAX_SHOWN = 1000;
const HISTORY_SHOWN = 100;
const PAGES_SHOWN = 50;

const listQuery = z.object({
  tank: z.string().max(200).transform((id) => (id === '' ? null : id)).nullable().catch(null).default(null),
  show: z.coerce.number().int().min(PAST_SHOWN).max(MAX_SHOWN).catch(PAST_SHOWN),
});
const doneQuery = z.object({ done: z.enum(alarmActions).optional().catch(undefined) });

export function alarmRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/alarms', async (request, reply) => {
    const viewer = viewerOf(context, request);
    const { tank: tankId, show } = listQuery.parse(request.query);
    const fleet = context.fleet();
    const past = await context.store.alarms({ ...(tankId === null ? {} : { tankId }), open: false, limit: show + 1 });
    const { view } = context.engine;
    const open = causeTrees([...view.openAlarms.values()].filter((alarm) => tankId === null || alarm.tankId === tankId), view).toSorted((a, b) => byAlarmNeed(a.alarm, b.alarm));
    const sites = new Map(fleet.sites.map((site) => [site.id, site]));
    const tanks = new Map(fleet.tanks.map((tank) => [tank.id, tank.name]));
    const more = past.length > show && show < MAX_SHOWN;
    return sendHtml(reply, alarmsPage({
      viewer, tanks: fleet.tanks, tankId, open,
      past: await pastTrees(past.slice(0, show), context.store),
      olderHref: more ? `/alarms?${new URLSearchParams({ ...(tankId === null ? {} : { tank: tankId }), show: String(Math.min(MAX_SHOWN, show * 2)) }).toString()}` : null,
      placeOf: (alarm) => ({ tankName: tanks.get(alarm.tankId) ?? null, zone: sites.get(alarm.siteId)?.timeZone ?? viewer.zone }),
    }));
  });

  app.get<{ Params: { id: string } }>('/alarms/:id', async (request, reply) => {
    const { done } = doneQuery.parse(request.query);
    return show(request, reply, await alarmOf(context, request.params.id), 200, done === undefined ? null : { good: true, text: words.alarm.done[done] });
  });

  // One tap for what a long outage leaves behind: everything that is over by itself, each journaled as its own acknowledgement.
  app.post('/alarms/acknowledge-returned', async (request, reply) => {
    const { tank: tankId } = listQuery.parse(request.body ?? {});
    const by = byOf(context, request);
    const over = [...context.engine.view.openAlarms.values()].filter((alarm) => alarm.state === 'returned' && (tankId === null || alarm.tankId === tankId));
    // One that came back in between stays as it is: only what is over now is acknowledged.
    for (const { id } of over) if (context.engine.view.openAlarms.get(id)?.state === 'returned') await context.engine.command({ type: 'acknowledge', alarmId: id, by, via: 'web' });
    return reply.redirect(tankId === null ? '/alarms' : `/alarms?${new URLSearchParams({ tank: tankId }).toString()}`, 303);
  });

  for (const action of alarmActions) {
    app.post<{ Params: { id: string } }>(`/alarms/:id/${action}`, async (request, reply) => {
      const alarm = await alarmOf(context, request.params.id);
      const refuse = (status: number, why: string): Promise<FastifyReply> => show(request, reply, alarm, status, { good: false, text: words.alarm.refused(why) });
      const details = detailsOf(action, request.body);
      if (!details.success) return refuse(400, sentenceOf(details.error, 'words only'));
      const result = await act(context, alarm, action, byOf(context, request), details.data);
      if (result.outcome === 'refused') return refuse(409, result.why);
      return reply.redirect(`/alarms/${alarm.id}?done=${action}`, 303);
    });
  }

  async function show(request: FastifyRequest, reply: FastifyReply, alarm: Alarm, status: number, outcome: Outcome | null): Promise<FastifyReply> {
    const viewer = viewerOf(context, request);
    const { people, tanks } = context.fleet();
    const surroundings = surroundingsOf(context, alarm);
    const [charts, explained, pages, history] = await Promise.all([
      alarmCharts(context, alarm, surroundings),
      explainedOf(alarm, context.store, context.engine.view),
      context.store.pages({ alarmId: alarm.id, limit: PAGES_SHOWN }),
      context.store.journal({ alarmId: alarm.id, limit: HISTORY_SHOWN }),
    ]);
    return sendHtml(reply, alarmPage({
      viewer, charts, history, outcome, explained, ...surroundings,
      tankNameOf: (tankId) => tanks.find(({ id }) => id === tankId)?.name ?? tankId,
      alarm: withPresentNumbers(alarm, context.engine.view),
      atOpening: alarm.summary,
      status: context.engine.view.statuses.get(alarm.ruleId) ?? null,
      nextPage: nextPageOf(alarm, context.fleet()),
      pages: pages.map((page) => ({ ...page, personName: people.find((person) => person.id === page.personId)?.name ?? page.personId })),
    }), status);
  }
}

/** Who is paged next, and when, if nobody acknowledges. */
function nextPageOf({ escalation }: Alarm, { onCall, people }: Fleet): { readonly personName: string; readonly atMs: number } | null {
  const step = onCall.steps[escalation.nextStep % Math.max(1, onCall.steps.length)];
  if (escalation.dueMs === null || step === undefined) return null;
  return { personName: people.find((person) => person.id === step.personId)?.name ?? step.personId, atMs: escalation.dueMs };
}

/** The live one if it is open: the store may be a commit behind on nothing, but the live one is at hand. */
export async function alarmOf(context: WebContext, id: string): Promise<Alarm> {
  const number = /^\d{1,15}$/.test(id) ? Number(id) : null;
  const alarm = number === null ? null : (context.engine.view.openAlarms.get(number) ?? (await context.store.alarm(number)));
  if (alarm === null) throw new WebError(404, words.error.noAlarm);
  return alarm;
}

interface Details {
  readonly why?: string;
  readonly forMs?: number;
}

function detailsOf(action: AlarmAction, body: unknown): z.ZodSafeParseResult<Details> {
  switch (action) {
    case 'shelve': return shelveForm.safeParse(body);
    case 'out-of-service': return reasonForm.safeParse(body);
    default: return { success: true, data: {} };
  }
}

async function act(context: WebContext, alarm: Alarm, action: AlarmAction, by: string, { why = '', forMs = 0 }: Details): Promise<CommandResult> {
  if (action === 'acknowledge') return context.engine.command({ type: 'acknowledge', alarmId: alarm.id, by, via: 'web' });
  return holdRule(context.engine, alarm.ruleId, action, by, { why, forMs }, context.clock.now());
}
