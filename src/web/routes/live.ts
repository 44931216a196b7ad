import type { FastifyInstance } from 'fastify';
import type { WebContext } from '../context.ts';
import { SESSION_COOKIE, accountOf } from '../session.ts';
import { WebError } from '../web-error.ts';

export function liveRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/api/live', async (request, reply) => {
    const token = request.cookies[SESSION_COOKIE];
    const stillAllowed = async (): Promise<boolean> => (await accountOf(context.store, token, context.clock.now())) !== null;
    const taken = context.hub.add(reply.raw, stillAllowed);
    if (!taken) throw new WebError(503, 'Too many pages are open at once; this one is not live. Close some and reload.');
    reply.hijack();
  });
}
