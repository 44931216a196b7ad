/**
 * `tankbell import`: a CSV file into the store. While the service runs, it is asked to do it (so that what is recent is judged by the one
 * engine there is); otherwise the import brings its own for the moment.
 */
import { createReadStream, existsSync, readFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import { StartError, startCore } from '../app.ts';
import type { ServiceConfig } from '../config/service.ts';
import type { ImportReport } from '../engine/import-contract.ts';
import { makeLogger } from '../log.ts';
import type { Command } from './arguments.ts';
import { loadFleet } from './fleet.ts';
import type { Terminal } from './terminal.ts';

type ImportCommand = Extract<Command, { command: 'import' }>;

export async function runImport(command: ImportCommand, config: ServiceConfig, terminal: Terminal): Promise<number> {
  if (!existsSync(command.file)) throw new StartError(`there is no file ${command.file}`);
  const fleet = await loadFleet(config);
  if (command.tank !== null && !fleet.tanks.some(({ id }) => id === command.tank)) {
    throw new StartError(`there is no tank "${command.tank}" in ${config.fleetFile}; there is ${fleet.tanks.map(({ id }) => id).join(', ')}`);
  }
  const report = (await throughService(command, config)) ?? (await alone(command, config, terminal));
  terminal.print(reportText(report, command.dryRun));
  for (const { line, reason } of report.refused) terminal.complain(`${command.file}:${line}: ${reason}`);
  if (report.refusedTotal > report.refused.length) terminal.complain(`… and ${report.refusedTotal - report.refused.length} more`);
  return report.refusedTotal > 0 && report.stored + report.alreadyKnown === 0 ? 1 : 0;
}

/** @returns `null` when no service runs on this data folder. */
async function throughService(command: ImportCommand, config: ServiceConfig): Promise<ImportReport | null> {
  const file = join(config.dataDir, 'running.json');
  if (!existsSync(file)) return null;
  const running: { url: string; token: string } = JSON.parse(readFileSync(file, 'utf8'));
  const query = new URLSearchParams({ fileName: basename(command.file), dryRun: String(command.dryRun), decimalComma: String(command.decimalComma) });
  const optional = { tank: command.tank, timeZone: command.timeZone, dateOrder: command.dateOrder, timeFormat: command.timeFormat };
  for (const [key, value] of Object.entries(optional)) if (value !== null) query.set(key, value);
  let answer: Response;
  try {
    answer = await fetch(`${running.url}/api/import?${query.toString()}`, {
      method: 'POST', headers: { authorization: `Bearer ${running.token}`, 'content-type': 'text/csv' }, body: new Blob([readFileSync(command.file)]),
    });
  } catch {
    // Left behind by a service that was killed: nobody answers, and the data folder is free.
    return null;
  }
  if (!answer.ok) throw new StartError(`the running service refused the import (${answer.status}): ${await answer.text()}`);
  const report: ImportReport = JSON.parse(await answer.text());
  return report;
}

async function alone(command: ImportCommand, config: ServiceConfig, terminal: Terminal): Promise<ImportReport> {
  const core = await startCore({
    config, env: terminal.env, clock: terminal.clock, log: makeLogger('warn', terminal.clock.now),
    onFatal: (error) => {
      throw error;
    },
  });
  try {
    return await core.importCsv({
      fileName: basename(command.file), content: createReadStream(command.file), tankId: command.tank, timeZone: command.timeZone, dateOrder: command.dateOrder,
      timeFormat: command.timeFormat, decimalComma: command.decimalComma, dryRun: command.dryRun, by: 'command line',
    });
  } finally {
    await core.stop();
  }
}

function reportText(report: ImportReport, dryRun: boolean): string {
  const span = report.span === null ? '' : `, from ${new Date(report.span.fromMs).toISOString()} to ${new Date(report.span.toMs).toISOString()}`;
  const head = dryRun
    ? `${report.rowsRead} lines read: ${report.stored} readings would be offered to the store${span}; ${report.refusedTotal} refused. Nothing was stored (--dry-run).`
    : `${report.rowsRead} lines read: ${report.stored} readings stored, ${report.alreadyKnown} known already${span}; ${report.refusedTotal} refused`;
  return [head, ...report.perPoint.map(({ pointId, readings }) => `  ${pointId}: ${readings}`)].join('\n');
}
