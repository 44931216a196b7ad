/** Pages and JSON go out compressed: a phone with one bar is the slowest part of the way. Nothing in them echoes a secret. */
import { promisify } from 'node:util';
import { constants, gzip } from 'node:zlib';
import type { FastifyInstance } from 'fastify';

const SMALL_BYTES = 1000;

export function compressAnswers(app: FastifyInstance): void {
  app.addHook('onSend', async (request, reply, payload) => {
    if (typeof payload !== 'string' || payload.length < SMALL_BYTES || reply.hasHeader('content-encoding')) return payload;
    reply.header('vary', 'accept-encoding');
    if (!/\bgzip\b/.test(request.headers['accept-encoding'] ?? '')) return payload;
    reply.header('content-encoding', 'gzip');
    reply.removeHeader('content-length');
    return promisify(gzip)(payload, { level: constants.Z_BEST_SPEED + 3 });
  });
}
