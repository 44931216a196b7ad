import type { FastifyInstance } from 'fastify';
import type { WebContext } from '../context.ts';

/** For an outside watcher: 200 or 503. The facts behind it are for those who are logged in. */
export function healthRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/health', { config: { open: true } }, async (request, reply) => {
    const { ok, facts } = context.health();
    return reply.code(ok ? 200 : 503).send(request.account === null ? { ok } : { ok, facts });
  });
}
