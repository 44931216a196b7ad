/** Import for the command line and for programs: the bytes of a CSV file as the body; then how far it is, cancel, and the refused lines. */
import { Readable } from 'node:stream';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { ImportJob, ImportRequest } from '../../engine/import-contract.ts';
import { jobAnswer, lookAnswer } from '../api/answers.ts';
import { type WebContext, byOf } from '../context.ts';
import type { ImportFiles } from '../import-files.ts';
import { choicesOf, importQuery } from '../import-query.ts';
import { sentenceOf } from '../issues.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';
import { MAX_FILE_BYTES } from './import.ts';

interface ById {
  readonly Params: { readonly id: string };
}

export function importApiRoutes(app: FastifyInstance, context: WebContext, files: ImportFiles): void {
  app.register(async (inner) => {
    inner.removeAllContentTypeParsers();
    inner.addContentTypeParser('*', { bodyLimit: MAX_FILE_BYTES }, (_request, payload, done) => done(null, payload));
    inner.post('/api/import', { config: { localToken: true }, bodyLimit: MAX_FILE_BYTES }, (request, reply) => take(request, reply));
  });

  app.get<ById>('/api/import/:id', { config: { localToken: true } }, async (request, reply) => reply.send(jobAnswer(jobOf(request.params.id))));

  app.post<ById>('/api/import/:id/cancel', { config: { localToken: true } }, async (request, reply) => {
    const job = jobOf(request.params.id);
    job.cancel(who(request));
    return reply.send(jobAnswer(job));
  });

  app.get<ById>('/api/import/:id/rejected.csv', { config: { localToken: true } }, async (request, reply) => {
    const list = files.rejected(request.params.id);
    if (list === null) throw new WebError(404, words.import.rejectedGone);
    return reply.type('text/csv; charset=utf-8').send(list);
  });

  async function take(request: FastifyRequest, reply: FastifyReply): Promise<FastifyReply> {
    const query = importQuery.safeParse(request.query);
    if (!query.success) throw new WebError(400, sentenceOf(query.error, 'with fields'));
    if (!(request.body instanceof Readable)) throw new WebError(400, words.import.noBody);
    const { tank: tankId, fileName, dryRun, wait, remembered, map, ...settings } = query.data;
    if (tankId !== null && !context.fleet().tanks.some(({ id }) => id === tankId)) throw new WebError(404, words.import.unknownTank);
    const held = await files.put({ accountId: request.account?.id ?? -1, fileName, tankId, choices: choicesOf(settings, map), content: bounded(request.body) }, context.clock.now());
    if (held === null) throw new WebError(503, words.import.busy);
    const order: ImportRequest = { id: held.id, file: held.file, tankId, choices: held.choices, useMemory: remembered, propose: false, lookBytes: null, by: who(request) };
    if (dryRun) {
      try {
        return reply.send(lookAnswer(await context.imports.look(order)));
      } finally {
        await files.drop(held.id);
      }
    }
    const job = context.imports.start(order, (refused) => sink(refused));
    if (job === null) {
      await files.drop(held.id);
      throw new WebError(503, words.import.busy);
    }
    const sink = files.take(held.id, job.ended, context.clock.now());
    if (wait) await job.ended;
    return reply.code(wait ? 200 : 202).send(jobAnswer(job));
  }

  function jobOf(id: string): ImportJob {
    const job = context.imports.job(id);
    if (job === null) throw new WebError(404, words.import.noJob);
    return job;
  }

  const who = (request: FastifyRequest): string => (request.account === null ? words.import.commandLine : byOf(context, request));
}

/** The body is taken as a stream, so its length is counted here. */
function bounded(body: Readable): Readable {
  return Readable.from((async function* () {
    let bytes = 0;
    for await (const chunk of body as AsyncIterable<Uint8Array>) {
      bytes += chunk.length;
      if (bytes > MAX_FILE_BYTES) throw new WebError(413, words.import.tooLarge(`${MAX_FILE_BYTES / 1024 / 1024} MB`));
      yield chunk;
    }
  })());
}
