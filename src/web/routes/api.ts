import type { FastifyInstance } from 'fastify';
import { endpoints } from '../api/endpoints.ts';
import { openApiDocument } from '../api/openapi.ts';
import type { WebContext } from '../context.ts';
import { sentenceOf } from '../issues.ts';
import { WebError } from '../web-error.ts';

export function apiRoutes(app: FastifyInstance, context: WebContext): void {
  for (const one of endpoints) {
    app.route({
      method: one.method,
      url: one.path,
      async handler(request, reply) {
        const params = one.params.safeParse(request.params);
        const query = one.query.safeParse(request.query);
        const body = one.body.safeParse(request.body ?? {});
        for (const part of [params, query, body]) if (!part.success) throw new WebError(400, sentenceOf(part.error, 'with fields'));
        return reply.send(await one.handle(context, { params: params.data, query: query.data, body: body.data }, request));
      },
    });
  }
  const document = openApiDocument(endpoints, context.publicUrl);
  app.get('/api/openapi.json', async (_request, reply) => reply.send(document));
}
