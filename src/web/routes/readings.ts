/**
 * Readings of devices that speak HTTP, with a token for each site. The same way in as MQTT: into the engine's queue, and answered only once
 * everything is on the disk. When the queue is full the device is told to come back; nothing is taken half.
 */
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import type { Delivery } from '../../domain/delivery.ts';
import type { WebContext } from '../context.ts';
import { readPosted } from '../readings-body.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';

export const MAX_BODY_BYTES = 1024 * 1024;
/** Requests that wait for their commit: together they hold a bounded part of memory. */
const MAX_UNDER_WAY = 32;
const RETRY_AFTER_SECONDS = 5;
/** Refusals of one request that are kept for the Sources page; the answer names all. */
const KEPT_REFUSALS = 50;

export const takenShape = z.object({
  taken: z.number().int().describe('Readings on the disk now; one that was there before changes nothing and counts as taken.'),
  refused: z.array(z.object({ index: z.number().int().nullable().describe('Position in a JSON body, from 0.'), line: z.number().int().nullable().describe('Line of a CSV body, from 1.'), reason: z.string() })),
});

export function readingRoutes(app: FastifyInstance, context: WebContext): void {
  let underWay = 0;
  app.register(async (inner) => {
    inner.removeAllContentTypeParsers();
    inner.addContentTypeParser('*', { parseAs: 'buffer', bodyLimit: MAX_BODY_BYTES }, (_request, body, done) => done(null, body));
    inner.post<{ Params: { site: string } }>('/api/sites/:site/readings', { config: { siteToken: true }, bodyLimit: MAX_BODY_BYTES }, async (request, reply) => {
      const fleet = context.fleet();
      const site = fleet.sites.find(({ id }) => id === request.params.site);
      if (site === undefined) throw new WebError(401, words.readings.token);
      const encoding = request.headers['content-encoding'];
      if (encoding !== undefined && encoding !== 'identity') throw new WebError(415, words.readings.encoding(encoding));
      if (!(request.body instanceof Uint8Array)) throw new WebError(400, words.readings.noBody);
      const arrivedMs = context.clock.now();
      const mediaType = (request.headers['content-type'] ?? '').split(';')[0]?.trim().toLowerCase() ?? '';
      const posted = await readPosted(request.body, {
        mediaType, site, points: fleet.points.filter(({ siteId }) => siteId === site.id), formats: context.formats ?? new Map(), query: request.query, arrivedMs,
      });
      if ('wrong' in posted) throw new WebError(posted.status, posted.wrong);
      const { samples, refused } = posted;
      const kept = refused.slice(0, KEPT_REFUSALS).map(({ pointId, reason, excerpt }) => ({ source: `HTTP ${site.id}`, pointId, reason, excerpt }));
      if (underWay >= MAX_UNDER_WAY || !(await commit({ arrivedMs, samples, refusals: kept }))) {
        reply.header('retry-after', RETRY_AFTER_SECONDS);
        throw new WebError(503, words.readings.full(RETRY_AFTER_SECONDS));
      }
      const answer: z.infer<typeof takenShape> = { taken: samples.length, refused: refused.map(({ index, line, reason }) => ({ index, line, reason })) };
      return reply.code(samples.length === 0 && refused.length > 0 ? 422 : 200).send(answer);
    });
  });

  /** @returns `false` when the queue is full: nothing was taken. */
  async function commit(delivery: Omit<Delivery, 'committed'>): Promise<boolean> {
    underWay += 1;
    try {
      return await new Promise<boolean>((resolve) => {
        if (!context.engine.deliver({ ...delivery, committed: () => resolve(true) })) resolve(false);
      });
    } finally {
      underWay -= 1;
    }
  }
}
