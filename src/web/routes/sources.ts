import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { type WebContext, sendHtml, viewerOf } from '../context.ts';
import { sourcesPage } from '../pages/sources.tsx';
import { presentOf } from '../present.ts';
import { unclaimedFacts } from '../unclaimed.ts';
import { words } from '../words.ts';

/** All that the store keeps. */
const REFUSALS_SHOWN = 500;

const count = z.coerce.number().int().min(0).max(1e9).optional().catch(undefined);
const doneQuery = z.object({ claimed: z.string().max(200).optional().catch(undefined), stored: count, changes: count });

export function sourceRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/sources', async (request, reply) => {
    const viewer = viewerOf(context, request);
    const { points, tanks, sites } = context.fleet();
    const nameOf = new Map([...tanks, ...sites].map((owner) => [owner.id, owner.name]));
    const silent = points
      .map((point) => presentOf(point, context.engine.view, [], viewer.nowMs))
      .filter((present) => present.state !== 'current')
      .map((present) => ({
        present, tankId: present.point.tankId, topic: present.point.source?.topic ?? null,
        ownerName: nameOf.get(present.point.tankId ?? present.point.siteId) ?? present.point.siteId,
      }));
    const { claimed, stored = 0, changes } = doneQuery.parse(request.query);
    const done = points.find(({ id }) => id === claimed);
    return sendHtml(reply, sourcesPage({
      viewer, sources: context.sources(), refusals: await context.store.refusals(REFUSALS_SHOWN), silent,
      unclaimed: await unclaimedFacts(context.store, context.fleet()), siteNameOf: (siteId) => nameOf.get(siteId) ?? siteId,
      clocks: context.engine.view.clocks(),
      outcome: done !== undefined ? words.unclaimed.done(done.name, stored) : changes !== undefined ? words.sources.reloaded(changes) : null,
    }));
  });
}
