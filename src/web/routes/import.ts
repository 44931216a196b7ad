/**
 * Upload, look, choose, and only then import. The file waits on disk between the steps, so that nobody has to choose it twice; every page of it
 * has an address of its own, so that it can be reloaded, left and come back to.
 */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { MINUTE } from '../../domain/duration.ts';
import type { ImportRequest } from '../../engine/import-contract.ts';
import { type WebContext, byOf, sendHtml, viewerOf } from '../context.ts';
import type { HeldFile, ImportFiles } from '../import-files.ts';
import { choicesOf, importSettings, readColumnForm } from '../import-query.ts';
import { sentenceOf } from '../issues.ts';
import { importJobPage } from '../pages/import-job.tsx';
import { importLookPage } from '../pages/import-look.tsx';
import { importPage } from '../pages/import.tsx';
import { words } from '../words.ts';

export const MAX_FILE_BYTES = 512 * 1024 * 1024;
/**
 * A page that shows what a file holds is waited for: so much is read in 1 to 7 s on a small machine, and is a year of minutes in ten columns.
 * The import itself reads all of it.
 */
export const LOOK_BYTES = 32 * 1024 * 1024;
/** A mapping of hundreds of columns. */
const MAX_FORM_BYTES = 512 * 1024;

/** How often files that nobody came back for are thrown away. */
export const EXPIRE_EVERY_MS = MINUTE;

interface ById {
  readonly Params: { readonly id: string };
}

export function importRoutes(app: FastifyInstance, context: WebContext, files: ImportFiles): void {
  app.get('/import', async (request, reply) => form(request, reply, 200, null, null));

  app.post('/import', async (request, reply) => {
    if (!request.isMultipart()) return form(request, reply, 400, null, words.import.noFile);
    const upload = await receive(request);
    if ('problem' in upload) return form(request, reply, upload.status, null, upload.problem);
    return reply.redirect(`/import/${upload.id}`, 303);
  });

  app.get<ById>('/import/:id', async (request, reply) => {
    const job = context.imports.job(request.params.id);
    if (job !== null) {
      return sendHtml(reply, importJobPage({ viewer: viewerOf(context, request), job, points: context.fleet().points, hasRejected: files.rejected(job.id) !== null }));
    }
    const held = heldBy(request);
    return held === null ? form(request, reply, 410, null, words.import.gone) : look(request, reply, 200, held, null);
  });

  app.post<ById>('/import/:id', { bodyLimit: MAX_FORM_BYTES }, async (request, reply) => {
    // Pressed twice: it is under way.
    if (context.imports.job(request.params.id) !== null) return reply.redirect(`/import/${request.params.id}`, 303);
    const held = heldBy(request);
    if (held === null) return form(request, reply, 410, null, words.import.gone);
    const said = readColumnForm(request.body);
    if ('wrong' in said) return look(request, reply, 400, held, said.wrong);
    files.answer(held.id, said.choices, context.clock.now());
    if (wants(request.body) === 'run') {
      const answered = { ...held, choices: said.choices, isFresh: false };
      const looked = await lookAt(answered, byOf(context, request));
      // What is asked for is answered before anything is stored.
      if (!('wrong' in looked) && looked.report !== null) {
        const started = start(answered, byOf(context, request));
        if (!started) return look(request, reply, 503, answered, words.import.busy);
      }
    }
    return reply.redirect(`/import/${held.id}`, 303);
  });

  app.post<ById>('/import/:id/cancel', async (request, reply) => {
    context.imports.job(request.params.id)?.cancel(byOf(context, request));
    await files.drop(heldBy(request)?.id ?? '');
    return reply.redirect(context.imports.job(request.params.id) === null ? '/import' : `/import/${request.params.id}`, 303);
  });

  app.get<ById>('/import/:id/rejected.csv', async (request, reply) => {
    const list = files.rejected(request.params.id);
    if (list === null) return form(request, reply, 410, null, words.import.rejectedGone);
    return reply.type('text/csv; charset=utf-8').header('content-disposition', 'attachment; filename="rejected.csv"').send(list);
  });

  function start(held: HeldFile, by: string): boolean {
    const job = context.imports.start(requestFor(held, by), (refused) => sink(refused));
    if (job === null) return false;
    const sink = files.take(held.id, job.ended, context.clock.now());
    return true;
  }

  const lookAt = (held: HeldFile, by: string) => files.looked(held.id, () => context.imports.look(requestFor(held, by)));

  async function receive(request: FastifyRequest): Promise<HeldFile | { readonly problem: string; readonly status: number }> {
    const fields: Record<string, string> = {};
    for await (const part of request.parts({ limits: { fileSize: MAX_FILE_BYTES, files: 1, fields: 12, fieldSize: 1000 } })) {
      if (part.type === 'field') {
        if (typeof part.value === 'string') fields[part.fieldname] = part.value;
        continue;
      }
      const settings = importSettings.safeParse(fields);
      const problem = part.filename === '' || part.filename === undefined ? words.import.noFile
        : !settings.success ? sentenceOf(settings.error, 'words only')
          : settings.data.tank !== null && !context.fleet().tanks.some(({ id }) => id === settings.data.tank) ? words.import.unknownTank : null;
      if (problem !== null || !settings.success) {
        part.file.resume();
        return { problem: problem ?? words.import.noFile, status: 400 };
      }
      const { tank: tankId, ...rest } = settings.data;
      const held = await files.put({ accountId: request.account?.id ?? -1, fileName: part.filename, tankId, choices: choicesOf(rest), content: part.file }, context.clock.now());
      if (held === null) {
        part.file.resume();
        return { problem: words.import.busy, status: 503 };
      }
      if (!part.file.truncated) return held;
      await files.drop(held.id);
      return { problem: words.import.tooLarge(`${MAX_FILE_BYTES / 1024 / 1024} MB`), status: 413 };
    }
    return { problem: words.import.noFile, status: 400 };
  }

  const heldBy = (request: FastifyRequest<ById>): HeldFile | null => files.get(request.params.id, request.account?.id ?? -1);

  async function look(request: FastifyRequest, reply: FastifyReply, status: number, held: HeldFile, problem: string | null): Promise<FastifyReply> {
    const found = await lookAt(held, byOf(context, request));
    return sendHtml(reply, importLookPage({
      viewer: viewerOf(context, request), held, found, problem, tankName: context.fleet().tanks.find(({ id }) => id === held.tankId)?.name ?? null,
    }), status);
  }

  function form(request: FastifyRequest, reply: FastifyReply, status: number, tankId: string | null, problem: string | null): FastifyReply {
    return sendHtml(reply, importPage({ viewer: viewerOf(context, request), tanks: context.fleet().tanks, tankId, problem, jobs: context.imports.jobs() }), status);
  }
}

const requestFor = (held: HeldFile, by: string): ImportRequest => ({ id: held.id, file: held.file, tankId: held.tankId, choices: held.choices, useMemory: held.isFresh, propose: true, lookBytes: LOOK_BYTES, by });

const wants = (body: unknown): unknown => (typeof body === 'object' && body !== null && 'do' in body ? body.do : null);
