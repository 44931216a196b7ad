/** The web: server-rendered pages, small islands, an API. Everything that matters after hours works without JavaScript. */
import cookie from '@fastify/cookie';
import formbody from '@fastify/formbody';
import multipart from '@fastify/multipart';
import fastify, { type FastifyInstance } from 'fastify';
import { compressAnswers } from './compress.ts';
import { buildAssets } from './assets.ts';
import type { WebContext } from './context.ts';
import { failures } from './failures.ts';
import { guard } from './guard.ts';
import { securityHeaders } from './headers.ts';
import { liveHub } from './live.ts';
import type { WebOptions } from './options.ts';
import { apiRoutes } from './routes/api.ts';
import { assetRoutes } from './routes/assets.ts';
import { acknowledgeRoutes } from './routes/acknowledge.ts';
import { alarmRoutes } from './routes/alarms.ts';
import { calibrateRoutes } from './routes/calibrate.ts';
import { claimRoutes } from './routes/claim.ts';
import { boardRoutes } from './routes/board.ts';
import { healthRoutes } from './routes/health.ts';
import { importApiRoutes } from './routes/import-api.ts';
import { EXPIRE_EVERY_MS, importRoutes } from './routes/import.ts';
import { journalRoutes } from './routes/journal.ts';
import { liveRoutes } from './routes/live.ts';
import { loginRoutes } from './routes/login.ts';
import { readingRoutes } from './routes/readings.ts';
import { sourceRoutes } from './routes/sources.ts';
import { tankRoutes } from './routes/tank.ts';
import { importFiles } from './import-files.ts';

/** @returns the address it listens on and how to stop it: open event streams end, answers under way are finished. */
export async function startWeb(options: WebOptions): Promise<{ url: string; stop(): Promise<void> }> {
  const { app, stop } = await buildWeb(options);
  const url = await app.listen({ host: options.host, port: options.port });
  return { url, stop };
}

export interface BuiltRoute {
  readonly method: string;
  readonly url: string;
}

/** The same without a socket: for tests that inject requests. */
export async function buildWeb(options: WebOptions): Promise<{ app: FastifyInstance; routes: readonly BuiltRoute[]; stop(): Promise<void> }> {
  const assets = await (options.builtAssets ?? buildAssets());
  const hub = liveHub(options);
  const uploads = importFiles((error) => options.log.error({ err: error }, 'a file of an import could not be deleted'));
  const stopExpiring = options.clock.every(EXPIRE_EVERY_MS, () => {
    uploads.dropExpired(options.clock.now()).catch((error: unknown) => options.log.error({ err: error }, 'an expired upload could not be deleted'));
  });
  const context: WebContext = { ...options, assets, hub };
  const app = fastify({
    bodyLimit: 64 * 1024,
    // The address of the person behind a proxy on this machine is believed; anybody else's claim is not.
    trustProxy: 'loopback',
    forceCloseConnections: 'idle',
    routerOptions: { maxParamLength: 2000 },
  });
  const routes: BuiltRoute[] = [];
  app.addHook('onRoute', ({ method, url }) => {
    routes.push(...[method].flat().map((one) => ({ method: one, url })));
  });
  await app.register(cookie);
  await app.register(formbody);
  await app.register(multipart);
  app.addHook('onRequest', async (_request, reply) => { reply.headers(securityHeaders); });
  compressAnswers(app);
  failures(app, context);
  guard(app, context);
  assetRoutes(app, context);
  healthRoutes(app, context);
  loginRoutes(app, context);
  boardRoutes(app, context);
  tankRoutes(app, context);
  alarmRoutes(app, context);
  acknowledgeRoutes(app, context);
  journalRoutes(app, context);
  sourceRoutes(app, context);
  claimRoutes(app, context);
  calibrateRoutes(app, context);
  importRoutes(app, context, uploads);
  importApiRoutes(app, context, uploads);
  readingRoutes(app, context);
  liveRoutes(app, context);
  apiRoutes(app, context);
  await app.ready();
  return {
    app,
    routes,
    async stop() {
      hub.stop();
      stopExpiring();
      await app.close();
      await uploads.stop();
    },
  };
}
