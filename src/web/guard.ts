/** Before every handler: who is asking, may they, and does the request come from our own pages. */
import { createHash, timingSafeEqual } from 'node:crypto';
import type { FastifyInstance } from 'fastify';
import { showDuration } from '../domain/duration.ts';
import { attemptLimit } from './attempts.ts';
import type { WebContext } from './context.ts';
import { foreignOrigin } from './same-origin.ts';
import { SESSION_COOKIE, accountOf } from './session.ts';
import { WebError } from './web-error.ts';
import { words } from './words.ts';

export function guard(app: FastifyInstance, context: WebContext): void {
  const wrongTokens = attemptLimit();
  app.decorateRequest('account', null);
  app.addHook('onRequest', async (request, reply) => {
    const { open = false, secretAddress = false, localToken = false, siteToken = false } = request.routeOptions.config;
    if (request.method !== 'GET' && request.method !== 'HEAD') {
      const why = foreignOrigin({
        secFetchSite: one(request.headers['sec-fetch-site']),
        origin: request.headers.origin,
        host: request.headers.host,
        publicUrl: context.publicUrl,
        nullOriginAllowed: secretAddress,
      });
      if (why !== null) throw new WebError(403, words.error.foreign(why));
    }
    if (siteToken) {
      const token = context.siteToken?.(siteIn(request.params)) ?? undefined;
      if (bearsToken(request.headers.authorization, token)) return;
      // Only wrong tokens are counted: whoever tries them cannot lock a device out.
      const waitMs = wrongTokens.take(request.ip, request.ip, context.clock.now());
      if (waitMs > 0) {
        reply.header('retry-after', Math.ceil(waitMs / 1000));
        throw new WebError(429, words.readings.wait(showDuration(Math.ceil(waitMs / 1000) * 1000)));
      }
      reply.header('www-authenticate', 'Bearer');
      throw new WebError(401, words.readings.token);
    }
    if (!secretAddress) request.account = await accountOf(context.store, request.cookies[SESSION_COOKIE], context.clock.now());
    if (open || request.account !== null || (localToken && bearsToken(request.headers.authorization, context.localToken))) return;
    if (isApi(request.url)) throw new WebError(401, words.error.login);
    const wanted = request.method === 'GET' ? `?next=${encodeURIComponent(request.url)}` : '';
    return reply.redirect(`/login${wanted}`, 302);
  });
}

/** Compared by digest, so that neither content nor length shows in the time it takes. */
function bearsToken(header: string | undefined, token: string | undefined): boolean {
  if (token === undefined || token === '' || header === undefined) return false;
  const digest = (text: string): Buffer => createHash('sha256').update(text).digest();
  return timingSafeEqual(digest(header), digest(`Bearer ${token}`));
}

const siteIn = (params: unknown): string => (typeof params === 'object' && params !== null && 'site' in params && typeof params.site === 'string' ? params.site : '');

export const isApi = (url: string): boolean => url === '/api' || url.startsWith('/api/');

const one = (header: string | string[] | undefined): string | undefined => (Array.isArray(header) ? header.join(',') : header);
