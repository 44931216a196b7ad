/**
 * `tankbell import`: a CSV file into the store. While the service runs, it is asked to do it (so that what is recent is judged by the one
 * engine there is); otherwise the import brings its own for the moment.
 */
import { createReadStream, createWriteStream, existsSync, readFileSync, statSync } from 'node:fs';
import { appendFile, writeFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import type { ReadableStream } from 'node:stream/web';
import { StartError, startCore } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import type { ImportRequest } from '../engine/import-contract.ts';
import { makeLogger } from '../log.ts';
import { type ImportAnswer, jobAnswer, lookAnswer } from '../web/api/answers.ts';
import { rejectedHead, rejectedRows } from '../web/rejected-csv.ts';
import type { Command } from './arguments.ts';
import { loadFleet } from './fleet.ts';
import type { Terminal } from './terminal.ts';

type ImportCommand = Extract<Command, { command: 'import' }>;

/** How often a running import is asked how far it is. */
const ASK_MS = 400;

export async function runImport(command: ImportCommand, config: ServiceConfig, terminal: Terminal): Promise<number> {
  if (!existsSync(command.file)) throw new StartError(`there is no file ${command.file}`);
  const fleet = await loadFleet(config);
  if (command.tank !== null && !fleet.tanks.some(({ id }) => id === command.tank)) {
    throw new StartError(`there is no tank "${command.tank}" in ${config.fleetFile}; there is ${fleet.tanks.map(({ id }) => id).join(', ')}`);
  }
  const report = (await throughService(command, config, terminal)) ?? (await alone(command, config, terminal));
  terminal.print(reportText(report));
  if (command.dryRun) for (const line of lookLines(report)) terminal.print(line);
  for (const { line, reason } of report.refused) terminal.complain(`${command.file}:${line}: ${reason}`);
  if (report.refusedTotal > report.refused.length) terminal.complain(`… and ${report.refusedTotal - report.refused.length} more${command.rejects === null ? ' (--rejects FILE writes all of them)' : ''}`);
  if (report.problem !== null) terminal.complain(`${command.file}: ${report.problem}`);
  if (report.state === 'failed' || report.state === 'cancelled' || report.problem !== null || report.questions.some(({ needed }) => needed)) return 1;
  return report.refusedTotal > 0 && report.stored + report.alreadyKnown === 0 ? 1 : 0;
}

/** @returns `null` when no service runs on this data folder. */
async function throughService(command: ImportCommand, config: ServiceConfig, terminal: Terminal): Promise<ImportAnswer | null> {
  const file = join(config.dataDir, 'running.json');
  if (!existsSync(file)) return null;
  const running: { url: string; token: string } = JSON.parse(readFileSync(file, 'utf8'));
  const ask = async (path: string, options: RequestInit = {}): Promise<Response | null> => {
    let answer: Response;
    try {
      answer = await fetch(`${running.url}${path}`, { ...options, headers: { authorization: `Bearer ${running.token}`, ...options.headers } });
    } catch {
      // Left behind by a service that was killed: nobody answers, and the data folder is free.
      return null;
    }
    if (!answer.ok) throw new StartError(`the running service refused the import (${answer.status}): ${await answer.text()}`);
    return answer;
  };
  const body = Readable.toWeb(createReadStream(command.file));
  // Streams as bodies need "duplex", which the types of this Node do not know yet.
  const upload: RequestInit & { duplex: 'half' } = { method: 'POST', headers: { 'content-type': 'text/csv' }, body: body as unknown as NonNullable<RequestInit['body']>, duplex: 'half' };
  const begun = await ask(`/api/import?${queryOf(command).toString()}`, upload);
  if (begun === null) return null;
  let answer = await readAnswer(begun);
  if (answer.id === null) return answer;
  const { id } = answer;
  const lost = (): never => {
    throw new StartError('the service went away during the import; what was stored stays. Import the file again, it stores the rest');
  };
  const stopListening = onInterrupt(() => {
    terminal.complain('\ncancelling …');
    void ask(`/api/import/${id}/cancel`, { method: 'POST' }).catch((error: unknown) => terminal.complain(String(error)));
  });
  try {
    while (answer.state === 'waiting' || answer.state === 'running') {
      showProgress(answer);
      await terminal.clock.sleep(ASK_MS);
      answer = await readAnswer((await ask(`/api/import/${id}`)) ?? lost());
    }
  } finally {
    endProgress();
    stopListening();
  }
  if (command.rejects !== null && answer.refusedTotal > 0) {
    const list = (await ask(`/api/import/${id}/rejected.csv`)) ?? lost();
    if (list.body !== null) await pipeline(Readable.fromWeb(list.body as ReadableStream), createWriteStream(command.rejects));
  }
  return answer;
}

async function readAnswer(response: Response): Promise<ImportAnswer> {
  const answer: ImportAnswer = JSON.parse(await response.text());
  return answer;
}

function queryOf({ file, tank, dryRun, choices, remembered }: ImportCommand): URLSearchParams {
  const query = new URLSearchParams({ fileName: basename(file), dryRun: String(dryRun), wait: 'false', remembered: String(remembered), decimalComma: String(choices.decimalComma) });
  const optional = { tank, timeZone: choices.timeZone, dateOrder: choices.dateOrder, timeFormat: choices.timeFormat, overlap: choices.overlap, encoding: choices.encoding };
  for (const [key, value] of Object.entries(optional)) if (value !== null) query.set(key, value);
  for (const { label, target, unit } of choices.columns) query.append('map', `${label}=${target}${unit === null ? '' : `:${unit}`}`);
  return query;
}

async function alone(command: ImportCommand, config: ServiceConfig, terminal: Terminal): Promise<ImportAnswer> {
  const core = await startCore({
    config, env: terminal.env, clock: terminal.clock, log: makeLogger('warn', terminal.clock.now),
    onFatal: (error) => {
      throw error;
    },
  });
  try {
    const request: ImportRequest = {
      id: 'command-line', tankId: command.tank, choices: command.choices, useMemory: command.remembered, propose: false, lookBytes: null, by: 'command line',
      file: { name: basename(command.file), bytes: statSync(command.file).size, open: () => createReadStream(command.file) },
    };
    if (command.dryRun) return lookAnswer(await core.imports.look(request));
    const { rejects } = command;
    if (rejects !== null) await writeFile(rejects, rejectedHead);
    const job = core.imports.start(request, async (refused) => {
      if (rejects !== null) await appendFile(rejects, rejectedRows(refused));
    });
    if (job === null) throw new StartError('the import was not taken');
    const stopListening = onInterrupt(() => {
      terminal.complain('\ncancelling …');
      job.cancel('command line');
    });
    const stopShowing = terminal.clock.every(ASK_MS, () => showProgress(jobAnswer(job)));
    try {
      await job.ended;
    } finally {
      stopShowing();
      endProgress();
      stopListening();
    }
    return jobAnswer(job);
  } finally {
    await core.stop();
  }
}

/** Ctrl-C and the wish of a supervisor to end. */
function onInterrupt(run: () => void): () => void {
  process.once('SIGINT', run);
  process.once('SIGTERM', run);
  return () => {
    process.off('SIGINT', run);
    process.off('SIGTERM', run);
  };
}

/** One line that overwrites itself; only where somebody looks at it. */
function showProgress({ state, bytes, bytesRead, rowsRead, stored, alreadyKnown, refusedTotal }: ImportAnswer): void {
  if (!process.stderr.isTTY) return;
  const percent = bytes === 0 ? 100 : Math.floor((100 * bytesRead) / bytes);
  process.stderr.write(`\r\x1b[K${state === 'waiting' ? 'waits for another import' : `${percent} %: ${rowsRead} lines, ${stored} stored, ${alreadyKnown} known, ${refusedTotal} refused`}`);
}

function endProgress(): void {
  if (process.stderr.isTTY) process.stderr.write('\r\x1b[K');
}

function reportText(report: ImportAnswer): string {
  const span = report.span === null ? '' : `, from ${new Date(report.span.fromMs).toISOString()} to ${new Date(report.span.toMs).toISOString()}`;
  const head = report.state === 'looked'
    ? `${report.rowsRead} lines read: ${report.stored} readings would be offered to the store${span}; ${report.refusedTotal} refused. Nothing was stored (--dry-run).`
    : `${report.state === 'done' ? '' : `${report.state}: `}${report.rowsRead} lines read: ${report.stored} readings stored, ${report.alreadyKnown} known already${span}; ${report.refusedTotal} refused`;
  return [
    head,
    ...report.perPoint.map(({ label, pointId, readings }) => `  ${label} → ${pointId}: ${readings}`),
    ...(report.leftOutTotal === 0 ? [] : [`${report.leftOutTotal} values left out:`]),
    ...report.leftOut.map(({ label, values, why }) => `  ${label}: ${values}${why === 'nowhere' ? ' (no point takes it)' : ''}`),
  ].join('\n');
}

const optionNames: Readonly<Record<string, string>> = {
  dateOrder: '--date-order', timeZone: '--time-zone', timeFormat: '--time-format', decimalComma: '--decimal-comma', overlap: '--overlap', timeColumn: '--map "COLUMN=@time"',
};

/** Of a dry run: what has to be said, with the cell that raises it, and where columns could go. */
function lookLines({ questions, columns }: ImportAnswer): readonly string[] {
  return [
    ...questions.map(({ option, line, text, needed, remark, proof }) => [
      `${needed ? 'needed' : 'perhaps'}: ${optionNames[option] ?? option}, for "${text}" in line ${line}`,
      remark, proof === null ? null : `"${proof.text}" in line ${proof.line} can only be ${proof.value}`,
    ].filter((part) => part !== null).join('; ')),
    ...columns.flatMap(({ label, target, why, isProposal }) => {
      if (target === null) return [`"${label}" goes nowhere; --map "${label}=POINT", or "${label}=@skip"`];
      return isProposal ? [`"${label}" could be ${target} (${why ?? ''}); --map "${label}=${target}"`] : [];
    }),
  ];
}
