/**
 * The link in a message. It works without login for one alarm only. Reading it never acts: mail scanners and previews fetch every link
 * they see. Only the button does.
 */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { Alarm } from '../../domain/alarm.ts';
import type { Person } from '../../domain/fleet.ts';
import { alarmCharts, surroundingsOf } from '../alarm-facts.ts';
import { explainedOf } from '../causes.ts';
import { type WebContext, sendHtml, viewerOf } from '../context.ts';
import { secretAddressHeaders } from '../headers.ts';
import { withPresentNumbers } from '../live-alarm.ts';
import { acknowledgePage, deadLinkPage } from '../pages/acknowledge.tsx';
import type { Outcome } from '../pages/tank.tsx';
import { words } from '../words.ts';

const config = { open: true, secretAddress: true } as const;

export function acknowledgeRoutes(app: FastifyInstance, context: WebContext): void {
  app.get<{ Params: { token: string }; Querystring: { done?: string } }>('/acknowledge/:token', { config }, async (request, reply) => {
    const found = await resolve(request.params.token);
    if ('dead' in found) return dead(request, reply, found);
    const byThem = found.alarm.acknowledgedBy === found.person.name;
    const outcome = request.query.done !== undefined && byThem ? { good: true, text: words.acknowledge.done(found.person.name) } : null;
    return show(request, reply, found, 200, outcome);
  });

  app.post<{ Params: { token: string } }>('/acknowledge/:token', { config }, async (request, reply) => {
    const found = await resolve(request.params.token);
    if ('dead' in found) return dead(request, reply, found);
    const result = await context.engine.command({ type: 'acknowledge', alarmId: found.alarm.id, by: found.person.name, via: 'link' });
    if (result.outcome === 'refused') {
      // Somebody may have been quicker: show it as it stands now.
      const alarm = (await liveAlarm(found.alarm.id)) ?? found.alarm;
      return show(request, reply, { ...found, alarm }, 409, { good: false, text: words.acknowledge.refused(result.why) });
    }
    return reply.headers(secretAddressHeaders).redirect(`/acknowledge/${encodeURIComponent(request.params.token)}?done=1`, 303);
  });

  interface Found {
    readonly alarm: Alarm;
    readonly person: Person;
  }

  async function resolve(token: string): Promise<Found | { readonly dead: string; readonly status: number }> {
    const link = context.ackLinks.verify(token, context.clock.now());
    if (!link.ok) return { dead: words.acknowledge[link.why], status: link.why === 'expired' ? 410 : 404 };
    const person = context.fleet().people.find((one) => one.id === link.personId);
    if (person === undefined) return { dead: words.acknowledge.personGone, status: 410 };
    const alarm = await liveAlarm(link.alarmId);
    return alarm === null ? { dead: words.acknowledge.alarmGone, status: 410 } : { alarm, person };
  }

  async function liveAlarm(id: number): Promise<Alarm | null> {
    return context.engine.view.openAlarms.get(id) ?? context.store.alarm(id);
  }

  async function show(request: FastifyRequest, reply: FastifyReply, { alarm, person }: Found, status: number, outcome: Outcome | null): Promise<FastifyReply> {
    const surroundings = surroundingsOf(context, alarm);
    const [charts, explained] = await Promise.all([alarmCharts(context, alarm, surroundings), explainedOf(alarm, context.store, context.engine.view)]);
    const { tanks } = context.fleet();
    return sendHtml(reply.headers(secretAddressHeaders), acknowledgePage({ viewer: { ...viewerOf(context, request), zone: person.timeZone }, alarm: withPresentNumbers(alarm, context.engine.view), atOpening: alarm.summary, person, charts, outcome, explained, tankNameOf: (tankId) => tanks.find(({ id }) => id === tankId)?.name ?? tankId, ...surroundings }), status);
  }

  function dead(request: FastifyRequest, reply: FastifyReply, { dead: why, status }: { dead: string; status: number }): FastifyReply {
    return sendHtml(reply.headers(secretAddressHeaders), deadLinkPage({ viewer: viewerOf(context, request), why }), status);
  }
}
