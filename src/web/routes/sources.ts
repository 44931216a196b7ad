import type { FastifyInstance } from 'fastify';
import { type WebContext, sendHtml, viewerOf } from '../context.ts';
import { sourcesPage } from '../pages/sources.tsx';
import { presentOf } from '../present.ts';

const REFUSALS_SHOWN = 200;

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
    return sendHtml(reply, sourcesPage({ viewer, sources: context.sources(), refusals: await context.store.refusals(REFUSALS_SHOWN), silent }));
  });
}
