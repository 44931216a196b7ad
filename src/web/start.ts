/** The web: server-rendered pages, small islands, an API. Everything that matters after hours works without JavaScript. */
import cookie from '@fastify/cookie';
import formbody from '@fastify/formbody';
import fastify, { type FastifyInstance } from 'fastify';
import { compressAnswers } from './compress.ts';
import { buildAssets } from './assets.ts';
import type { WebContext } from './context.ts';
import { failures } from './failures.ts';
import { guard } from './guard.ts';
import { securityHeaders } from './headers.ts';
import { liveHub } from './live.ts';
import type { WebOptions } from './options.ts';
import { assetRoutes } from './routes/assets.ts';
import { boardRoutes } from './routes/board.ts';
import { healthRoutes } from './routes/health.ts';
import { liveRoutes } from './routes/live.ts';
import { loginRoutes } from './routes/login.ts';

/** @returns the address it listens on and how to stop it: open event streams end, answers under way are finished. */
export async function startWeb(options: WebOptions): Promise<{ url: string; stop(): Promise<void> }> {
  const { app, stop } = await buildWeb(options);
  const url = await app.listen({ host: options.host, port: options.port });
  return { url, stop };
}

/** The same without a socket: for tests that inject requests. */
export async function buildWeb(options: WebOptions): Promise<{ app: FastifyInstance; stop(): Promise<void> }> {
  const assets = await buildAssets();
  const hub = liveHub(options);
  const context: WebContext = { ...options, assets, hub };
  const app = fastify({
    bodyLimit: 64 * 1024,
    // The address of the person behind a proxy on this machine is believed; anybody else's claim is not.
    trustProxy: 'loopback',
    forceCloseConnections: 'idle',
    routerOptions: { maxParamLength: 2000 },
  });
  await app.register(cookie);
  await app.register(formbody);
  app.addHook('onRequest', async (_request, reply) => { reply.headers(securityHeaders); });
  compressAnswers(app);
  failures(app, context);
  guard(app, context);
  assetRoutes(app, context);
  healthRoutes(app, context);
  loginRoutes(app, context);
  boardRoutes(app, context);
  liveRoutes(app, context);
  await app.ready();
  return {
    app,
    async stop() {
      hub.stop();
      await app.close();
    },
  };
}
