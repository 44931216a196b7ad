import type { FastifyInstance } from 'fastify';
import { boardRows } from '../board.ts';
import { type WebContext, sendHtml, viewerOf } from '../context.ts';
import { boardPage } from '../pages/board.tsx';

export function boardRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/', async (request, reply) => {
    const viewer = viewerOf(context, request);
    const rows = boardRows(context.fleet(), context.rules(), context.engine.view, viewer.nowMs);
    return sendHtml(reply, boardPage({ viewer, rows }));
  });
}
