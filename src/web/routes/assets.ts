import type { FastifyInstance } from 'fastify';
import type { WebContext } from '../context.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';

/** Style sheet, icon, islands: open to everybody, kept by browsers for a year because the name changes with the content. */
export function assetRoutes(app: FastifyInstance, { assets }: WebContext): void {
  app.get<{ Params: { name: string } }>('/assets/:name', { config: { open: true } }, async (request, reply) => {
    const asset = assets.files.get(`/assets/${request.params.name}`);
    if (asset === undefined) throw new WebError(404, words.error.notFound);
    const accepted = request.headers['accept-encoding'] ?? '';
    const encoding = /\bbr\b/.test(accepted) ? 'br' : /\bgzip\b/.test(accepted) ? 'gzip' : null;
    reply.headers({ 'cache-control': 'public, max-age=31536000, immutable', vary: 'accept-encoding' }).type(asset.type);
    if (encoding !== null) reply.header('content-encoding', encoding);
    return reply.send(encoding === 'br' ? asset.brotli : encoding === 'gzip' ? asset.gzip : asset.plain);
  });
  app.get('/favicon.ico', { config: { open: true } }, async (_request, reply) => reply.redirect(assets.urls.icon, 302));
}
