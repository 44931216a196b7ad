/** `tankbell check`: reads service and fleet files and says everything that is wrong with them. Connects to nothing, changes nothing. */
import { access, readFile } from 'node:fs/promises';
import { relative, resolve } from 'node:path';
import type { AnyFormat } from '../../adapters/contract.ts';
import { inFileOrder, type Mistake, showMistake } from '../config/mistake.ts';
import { readFleet } from '../config/fleet-file.ts';
import { type Environment, missingSecrets } from '../config/secrets.ts';
import type { ServiceConfig } from '../config/service.ts';
import { readService } from '../config/service-file.ts';
import { topKeys } from '../config/yaml-document.ts';
import type { Fleet } from '../domain/fleet.ts';
import { compileRules } from '../rules/compile.ts';
import type { RuleKind } from '../rules/contract.ts';

export interface CheckIo {
  /** One finished text for the standard output. */
  print(text: string): void;
  /** The same for the error output. */
  complain(text: string): void;
  readonly env: Environment;
  readonly kinds: ReadonlyMap<string, RuleKind>;
  readonly formats: ReadonlyMap<string, AnyFormat>;
}

/** @returns the exit code: 0 when every file is in order (warnings may remain), 1 when not. */
export async function check(files: readonly string[], io: CheckIo): Promise<number> {
  const found: Found = { mistakes: [], warnings: [], unreadable: [], fine: [] };
  const fleets = new Map<string, Broker[]>();
  const loneFleets: string[] = [];
  for (const file of files) {
    const text = await readText(file, found);
    if (text === null) continue;
    const sort = sortOf(text);
    if (sort === 'fleet') loneFleets.push(file);
    else if (sort === 'service') await checkService(file, text, io, found, fleets);
    else found.mistakes.push({ file, line: 1, column: 1, path: '', message: 'this is neither a service file nor a fleet file', fix: 'a service file has keys such as "data", "fleet", "web"; a fleet file has "clients", "people", "onCall"' });
  }
  for (const file of loneFleets) if (!fleets.has(resolve(file))) fleets.set(resolve(file), [null]);
  for (const [file, brokers] of fleets) {
    const name = loneFleets.find((given) => resolve(given) === file) ?? shownName(file);
    await checkFleet(name, file, brokers, io, found);
  }
  return report(found, io);
}

type Broker = ServiceConfig['mqtt']['broker'] | null;

interface Found {
  readonly mistakes: Mistake[];
  readonly warnings: Mistake[];
  /** Files that could not be read at all, in words. */
  readonly unreadable: string[];
  /** One line for each file in order. */
  readonly fine: string[];
}

function sortOf(text: string): 'service' | 'fleet' | 'neither' {
  const keys = topKeys(text);
  const count = (known: readonly string[]): number => keys.filter((key) => known.includes(key)).length;
  const fleet = count(['clients', 'people', 'onCall']);
  const service = count(['data', 'fleet', 'web', 'mqtt', 'mail', 'notice']);
  return fleet === 0 && service === 0 ? 'neither' : fleet > service ? 'fleet' : 'service';
}

async function checkService(file: string, text: string, io: CheckIo, found: Found, fleets: Map<string, Broker[]>): Promise<void> {
  const reading = readService(text, file, io.env);
  if ('mistakes' in reading) {
    found.mistakes.push(...reading.mistakes);
    return;
  }
  const { config } = reading;
  found.warnings.push(...reading.warnings, ...reading.missingSecrets, ...(await missingFiles(file, config)));
  found.fine.push(`${file}: in order: ${config.mqtt.broker === 'embedded' ? `built-in broker on ${config.mqtt.host}:${config.mqtt.port}` : `broker at ${config.mqtt.url}`}; pages at ${config.web.publicUrl}; ${config.mail === null ? 'no mail' : `mail through ${config.mail.host}`}`);
  fleets.set(config.fleetFile, [...(fleets.get(config.fleetFile) ?? []), config.mqtt.broker]);
}

/** Certificates may well be missing on the machine where the file is written; the service itself refuses to start without. */
async function missingFiles(file: string, { mqtt }: ServiceConfig): Promise<readonly Mistake[]> {
  const named = mqtt.broker === 'embedded' ? [mqtt.tls?.certFile, mqtt.tls?.keyFile] : [mqtt.caFile];
  const missing: Mistake[] = [];
  for (const path of named) {
    if (path === undefined || path === null || (await isReadable(path))) continue;
    missing.push({ file, line: 1, column: 1, path: 'mqtt', message: `the file ${shownName(path)} cannot be read here`, fix: 'put it there before the service is started; paths are relative to the folder of the service file' });
  }
  return missing;
}

async function checkFleet(name: string, file: string, brokers: readonly Broker[], io: CheckIo, found: Found): Promise<void> {
  const text = await readText(file, found, name);
  if (text === null) return;
  for (const broker of new Set(brokers)) {
    const reading = readFleet(text, name, { kinds: io.kinds, formats: io.formats, broker });
    if ('mistakes' in reading) {
      found.mistakes.push(...reading.mistakes);
      continue;
    }
    found.warnings.push(...missingSecrets(reading.secrets, io.env));
    const line = `${name}: in order: ${summaryOf(reading.fleet, io.kinds)}`;
    if (!found.fine.includes(line)) found.fine.push(line);
  }
}

/** `2 clients, 3 sites, …; 6 of 37 rules cannot judge yet:` and a line for each of these. */
function summaryOf(fleet: Fleet, kinds: ReadonlyMap<string, RuleKind>): string {
  const rules = compileRules(fleet, kinds);
  const blind = rules.filter(({ missing }) => missing !== null);
  const counts = [count(fleet.clients.length, 'client'), count(fleet.sites.length, 'site'), count(fleet.tanks.length, 'tank'), count(fleet.points.length, 'point'), count(rules.length, 'rule')].join(', ');
  if (blind.length === 0) return counts;
  return `${counts}; ${blind.length === 1 ? '1 rule cannot' : `${blind.length} rules cannot`} judge yet:${blind.map(({ facts, title, missing }) => `\n    ${facts.tank.id}: ${title}: ${missing ?? ''}`).join('')}`;
}

const count = (amount: number, thing: string): string => `${amount} ${thing}${amount === 1 ? '' : 's'}`;

function report(found: Found, io: CheckIo): number {
  const mistakes = inFileOrder(found.mistakes);
  for (const line of found.unreadable) io.complain(line);
  for (const mistake of mistakes) io.complain(showMistake(mistake));
  for (const warning of inFileOrder(found.warnings)) io.print(showMistake(warning, 'warning'));
  for (const line of found.fine) io.print(line);
  const wrong = mistakes.length + found.unreadable.length;
  if (wrong > 0) io.complain(`${count(wrong, 'mistake')} found.`);
  return wrong === 0 ? 0 : 1;
}

async function readText(file: string, found: Found, name: string = file): Promise<string | null> {
  try {
    return await readFile(file, 'utf8');
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? error.code : null;
    const why = code === 'ENOENT' ? 'there is no such file' : code === 'EISDIR' ? 'this is a folder, not a file' : code === 'EACCES' ? 'it may not be read by this user' : String(error);
    found.unreadable.push(`${name}: ${why}\n    write the path of a service or fleet file; a service file names its fleet file by "fleet:", relative to its own folder`);
    return null;
  }
}

async function isReadable(path: string): Promise<boolean> {
  return access(path).then(() => true, () => false);
}

/** Shown as a person would write it from here. */
function shownName(file: string): string {
  const fromHere = relative('', file);
  return fromHere.startsWith('..') ? file : fromHere;
}
