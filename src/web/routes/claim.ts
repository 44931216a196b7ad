/** Claiming a source nobody reads to a point, in one step. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { parseDuration } from '../../domain/duration.ts';
import type { Fleet } from '../../domain/fleet.ts';
import { type Kind, kindNames, kinds } from '../../domain/kinds.ts';
import { unitsOf } from '../../domain/units.ts';
import { type WebContext, byOf, sendHtml, viewerOf } from '../context.ts';
import { sentenceOf } from '../issues.ts';
import { type ClaimFields, claimPage } from '../pages/claim.tsx';
import { likelyCadence, likelyPointId, type UnclaimedFacts, type UnclaimedValue, unclaimedFact } from '../unclaimed.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';

const which = z.object({ topic: z.string().min(1).max(1000), part: z.string().max(500).optional().transform((part) => part ?? null) });
const w = words.unclaimed;
const claimForm = which.extend({
  owner: z.string().min(1).max(200),
  pointId: z.string().trim().min(1, w.needId).max(60),
  name: z.string().trim().max(100).default(''),
  kind: z.enum(kindNames as [Kind, ...Kind[]], { error: w.needKind }),
  unit: z.string().max(20).default(''),
  equipment: z.string().max(200).default(''),
  every: z.string().trim().refine((text) => (parseDuration(text) ?? 0) > 0, { error: w.needEvery }),
  useTime: z.literal('yes').optional().transform((yes) => yes === 'yes'),
});

export function claimRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/sources/claim', async (request, reply) => {
    const { facts, value } = await wanted(request.query);
    return show(request, reply, 200, facts, value, proposed(facts, value, context.fleet()), null);
  });

  app.post('/sources/claim', async (request, reply) => {
    const { facts, value } = await wanted(request.body);
    const form = claimForm.safeParse(request.body);
    if (!form.success) return show(request, reply, 400, facts, value, typed(request.body, facts, value, context.fleet()), { why: [sentenceOf(form.error, 'words only')], line: null });
    const { data } = form;
    const outcome = await context.desk.claim({
      topic: facts.source.topic, ownerId: data.owner, pointId: data.pointId, name: data.name === '' ? null : data.name, kind: data.kind,
      // The unit the message names for each value goes with the value.
      unit: data.unit === '' || data.unit === kinds[data.kind].unit || (value.place.format === 'senml' && data.unit === value.unit) ? null : data.unit,
      equipment: data.equipment === '' ? null : data.equipment.slice(data.equipment.indexOf('/') + 1), everyMs: parseDuration(data.every) ?? 0,
      place: value.place, unitPointer: value.unitPointer !== null && value.unit !== null && unitsOf(data.kind).includes(value.unit) ? value.unitPointer : null,
      time: data.useTime ? facts.time : null, by: byOf(context, request),
    });
    if (outcome.outcome === 'refused') return show(request, reply, 409, facts, value, data, outcome);
    return reply.redirect(`/sources?claimed=${encodeURIComponent(outcome.pointId)}&stored=${outcome.stored}`, 303);
  });

  app.post('/sources/reload', async (request, reply) => {
    const outcome = await context.desk.reload(byOf(context, request));
    if (outcome.outcome === 'taken') return reply.redirect(`/sources?changes=${outcome.changes}`, 303);
    throw new WebError(409, w.notTaken(outcome.mistakes.slice(0, 10).join('\n')));
  });

  async function wanted(given: unknown): Promise<{ readonly facts: UnclaimedFacts; readonly value: UnclaimedValue }> {
    const { topic, part } = which.parse(given);
    const facts = await unclaimedFact(context.store, context.fleet(), topic);
    const value = facts?.values.find((one) => one.part === part);
    if (facts === null || value === undefined) throw new WebError(404, w.gone);
    return { facts, value };
  }

  function show(request: FastifyRequest, reply: FastifyReply, status: number, facts: UnclaimedFacts, value: UnclaimedValue, fields: ClaimFields, problem: { readonly why: readonly string[]; readonly line: string | null } | null): FastifyReply {
    const { tanks, sites, equipment } = context.fleet();
    const { siteId } = facts.source;
    const near = tanks.filter((tank) => siteId === null || tank.siteId === siteId);
    return sendHtml(reply, claimPage({
      viewer: viewerOf(context, request), facts, value, fields, problem, tanks: near, sites: sites.filter((site) => siteId === null || site.id === siteId),
      equipment: equipment.filter((one) => near.some(({ id }) => id === one.tankId)),
    }), status);
  }
}

/** Guesses filled in, for a person to look over. */
function proposed({ source, everyMs: messageEveryMs, time }: UnclaimedFacts, { place, everyMs: ownEveryMs, guess }: UnclaimedValue, fleet: Fleet): ClaimFields {
  const site = fleet.sites.find(({ id }) => id === source.siteId);
  const tanks = fleet.tanks.filter(({ siteId }) => siteId === source.siteId);
  const named = tanks.find(({ id }) => source.topic.includes(id));
  const everyMs = ownEveryMs ?? messageEveryMs;
  const claimedEveryMs = fleet.points.find((point) => point.source?.topic === source.topic)?.everyMs ?? null;
  return {
    owner: (named ?? tanks[0])?.id ?? '', pointId: likelyPointId(source.topic, site?.topics ?? '', place), name: '', kind: guess?.kind ?? '', unit: guess?.unit ?? '', equipment: '',
    every: shortDuration(claimedEveryMs ?? (everyMs === null ? null : likelyCadence(everyMs))), useTime: time !== null,
  };
}

/** What was typed, kept for putting right. */
function typed(body: unknown, facts: UnclaimedFacts, value: UnclaimedValue, fleet: Fleet): ClaimFields {
  const given = z.record(z.string(), z.string().max(1000)).catch({}).parse(body);
  const before = proposed(facts, value, fleet);
  return {
    ...before, owner: given['owner'] ?? before.owner, pointId: given['pointId'] ?? '', name: given['name'] ?? '', kind: kindNames.find((kind) => kind === given['kind']) ?? '', unit: given['unit'] ?? '',
    equipment: given['equipment'] ?? '', every: given['every'] ?? '', useTime: given['useTime'] === 'yes',
  };
}

function shortDuration(ms: number | null): string {
  if (ms === null) return '60s';
  return ms % 3_600_000 === 0 ? `${ms / 3_600_000}h` : ms % 60_000 === 0 && ms >= 600_000 ? `${ms / 60_000}m` : `${Math.round(ms / 1000)}s`;
}
