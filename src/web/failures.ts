/** What people and programs see when something does not work: the status, and words that say what to do. */
import type { FastifyError, FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { type WebContext, sendHtml, viewerOf } from './context.ts';
import { isApi } from './guard.ts';
import { errorPage } from './pages/error.tsx';
import { WebError } from './web-error.ts';
import { words } from './words.ts';

export function failures(app: FastifyInstance, context: WebContext): void {
  app.setErrorHandler<FastifyError>((error, request, reply) => {
    const status = statusOf(error);
    if (status >= 500 && !(error instanceof WebError)) context.log.error({ err: error, method: request.method, route: request.routeOptions.url ?? null }, 'a request failed');
    if (status === 413 && error.code === 'FST_ERR_CTP_BODY_TOO_LARGE') return answer(context, request, reply, status, words.error.tooLarge);
    // Words of ours are for the person whatever the status; those of others say what broke inside.
    return answer(context, request, reply, status, status >= 500 && !(error instanceof WebError) ? words.error.broke : error.message);
  });
  app.setNotFoundHandler((request, reply) => answer(context, request, reply, 404, words.error.notFound));
}

function answer(context: WebContext, request: FastifyRequest, reply: FastifyReply, status: number, message: string): FastifyReply {
  if (isApi(request.url)) return reply.code(status).send({ message });
  return sendHtml(reply, errorPage({ viewer: viewerOf(context, request), status, message }), status);
}

function statusOf(error: { readonly statusCode?: number }): number {
  const status = error.statusCode ?? 500;
  return status >= 400 && status <= 599 ? status : 500;
}
