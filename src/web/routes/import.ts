/** Upload, report, and only then import. The file waits on disk between the two steps, so that nobody has to choose it twice. */
import { Readable } from 'node:stream';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { MINUTE } from '../../domain/duration.ts';
import { type WebContext, byOf, sendHtml, viewerOf } from '../context.ts';
import { importQuery, importSettings } from '../import-query.ts';
import { sentenceOf } from '../issues.ts';
import { type ImportSettings, importPage, importReportPage } from '../pages/import.tsx';
import type { PendingImport, PendingImports } from '../pending-imports.ts';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';

const MAX_FILE_BYTES = 512 * 1024 * 1024;

const noSettings: ImportSettings = { tankId: null, timeZone: null, dateOrder: null, timeFormat: null, decimalComma: false };

export function importRoutes(app: FastifyInstance, context: WebContext, pending: PendingImports): void {
  app.get('/import', async (request, reply) => form(request, reply, 200, noSettings, null));

  app.post('/import', async (request, reply) => {
    if (!request.isMultipart()) return form(request, reply, 400, noSettings, words.import.noFile);
    const upload = await receive(request);
    if ('problem' in upload) return form(request, reply, upload.status, noSettings, upload.problem);
    try {
      const report = await context.importCsv(requestFor(upload, byOf(context, request), true));
      return showReport(request, reply, upload.fileName, report, `/import/${upload.id}/run`);
    } catch (error) {
      await pending.drop(upload.id);
      throw error;
    }
  });

  app.post<{ Params: { id: string } }>('/import/:id/run', async (request, reply) => {
    const waiting = pending.get(request.params.id, request.account?.id ?? -1);
    if (waiting === null) return form(request, reply, 410, noSettings, words.import.gone);
    const report = await context.importCsv(requestFor(waiting, byOf(context, request), false));
    await pending.drop(waiting.id);
    return showReport(request, reply, waiting.fileName, report, null);
  });

  // Bytes of a CSV file as the body: for the command line and for programs.
  app.register(async (inner) => {
    inner.removeAllContentTypeParsers();
    inner.addContentTypeParser('*', { bodyLimit: MAX_FILE_BYTES }, (_request, payload, done) => done(null, payload));
    inner.post('/api/import', { config: { localToken: true }, bodyLimit: MAX_FILE_BYTES }, async (request, reply) => {
      const query = importQuery.safeParse(request.query);
      if (!query.success) throw new WebError(400, sentenceOf(query.error, 'with fields'));
      if (!(request.body instanceof Readable)) throw new WebError(400, words.import.noBody);
      const { tank: tankId, fileName, ...settings } = query.data;
      if (tankId !== null && !knows(tankId)) throw new WebError(404, words.import.unknownTank);
      const by = request.account === null ? words.import.commandLine : byOf(context, request);
      return reply.send(await context.importCsv({ ...settings, fileName, tankId, content: request.body, by }));
    });
  });

  async function receive(request: FastifyRequest): Promise<PendingImport | { readonly problem: string; readonly status: number }> {
    const fields: Record<string, string> = {};
    for await (const part of request.parts({ limits: { fileSize: MAX_FILE_BYTES, files: 1, fields: 12, fieldSize: 1000 } })) {
      if (part.type === 'field') {
        if (typeof part.value === 'string') fields[part.fieldname] = part.value;
        continue;
      }
      const settings = importSettings.safeParse(fields);
      const problem = part.filename === '' || part.filename === undefined ? words.import.noFile
        : !settings.success ? sentenceOf(settings.error, 'words only')
          : settings.data.tank !== null && !knows(settings.data.tank) ? words.import.unknownTank : null;
      if (problem !== null || !settings.success) {
        part.file.resume();
        return { problem: problem ?? words.import.noFile, status: 400 };
      }
      const { tank: tankId, ...rest } = settings.data;
      const written = await pending.put({ accountId: request.account?.id ?? -1, fileName: part.filename, settings: { tankId, ...rest }, content: part.file }, context.clock.now());
      if (written === null) {
        part.file.resume();
        return { problem: words.import.busy, status: 503 };
      }
      if (!part.file.truncated) return written;
      await pending.drop(written.id);
      return { problem: words.import.tooLarge(`${MAX_FILE_BYTES / 1024 / 1024} MB`), status: 413 };
    }
    return { problem: words.import.noFile, status: 400 };
  }

  const knows = (tankId: string): boolean => context.fleet().tanks.some((tank) => tank.id === tankId);

  const requestFor = (waiting: PendingImport, by: string, dryRun: boolean) => ({ fileName: waiting.fileName, content: waiting.open(), ...waiting.settings, dryRun, by });

  function form(request: FastifyRequest, reply: FastifyReply, status: number, settings: ImportSettings, problem: string | null): FastifyReply {
    return sendHtml(reply, importPage({ viewer: viewerOf(context, request), tanks: context.fleet().tanks, settings, problem }), status);
  }

  function showReport(request: FastifyRequest, reply: FastifyReply, fileName: string, report: Awaited<ReturnType<WebContext['importCsv']>>, runPath: string | null): FastifyReply {
    const names = new Map(context.fleet().points.map((point) => [point.id, point.name]));
    return sendHtml(reply, importReportPage({ viewer: viewerOf(context, request), fileName, report, runPath, nameOf: (id) => names.get(id) ?? id }));
  }
}

/** How often files that nobody came back for are thrown away. */
export const EXPIRE_EVERY_MS = MINUTE;
