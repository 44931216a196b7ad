/** What `npm run simulate` was asked for. Only reading it; nothing is done here. */
import { parseArgs } from 'node:util';
import { DAY } from '../src/domain/duration.ts';
import { faultKinds } from './faults/all.ts';
import { type SentFormat, sentFormats } from './sent-as.ts';
import { type TankKind, tankKindOf, tankKinds, tankWords } from './tank-kinds.ts';
import type { Habits } from './world/world.ts';

export interface SimulateOptions {
  readonly tankKind: TankKind;
  /** A fleet file of your own instead. */
  readonly fleetFile: string | null;
  readonly tankId: string | null;
  readonly fault: string | null;
  readonly seed: number;
  readonly lastsMs: number;
  /** Of it, before the fault begins. */
  readonly settleMs: number;
  readonly startMs: number | null;
  readonly habits: Habits;
  readonly out: { readonly type: 'csv'; readonly file: string } | { readonly type: 'mqtt'; readonly url: string; readonly user: string; readonly passwordEnv: string | null; readonly speed: number };
  /** `null`: as the fleet file says. */
  readonly sentAs: SentFormat | null;
}

export type SimulateArguments = { readonly run: SimulateOptions } | { readonly print: string } | { readonly mistake: string };

export const simulateHelp = `npm run simulate -- --out FILE.csv [options]
npm run simulate -- --mqtt URL [options]

Lives the life of an invented tank and writes what its sensors would have sent.

  --tank-kind KIND     ${tankKinds.join(', ')} (default ${tankKinds[0]}; also: ${tankWords.filter((word) => tankKindOf(word) !== word).join(', ')})
  --fleet FILE         a fleet file of your own instead
  --tank ID            the tank a fault happens to, where the fleet has several
  --fault NAME         what goes wrong; --list names them (default: nothing)
  --seed N             a whole number from 0; the same gives the same readings (default 1)
  --days D             how long, in days (default 30)
  --fault-after D      days of healthy life before the fault (default 10, at most a third of --days)
  --start TIME         2026-07-01 or 2026-07-01T08:00:00Z (default: drawn from the seed, in the season of the fault; with --mqtt now)
  --calm               nobody feeds, visits more than once a week, opens windows
  --out FILE           writes CSV: time, series, value, unit; "tankbell import" reads it
  --mqtt URL           publishes instead: mqtt://127.0.0.1:1883
  --user NAME          broker account (default trial-site)
  --password-env NAME  environment variable with its password (default: none)
  --send FORMAT        ${sentFormats.join(', ')} instead of what the fleet file says
  --speed X            with --mqtt: so many times faster than the clock (default 1); times in messages run ahead with it
  --list               lists faults and kinds of tank`;

const options = {
  'tank-kind': { type: 'string' }, fleet: { type: 'string' }, tank: { type: 'string' }, fault: { type: 'string' }, seed: { type: 'string' }, days: { type: 'string' },
  'fault-after': { type: 'string' }, start: { type: 'string' }, calm: { type: 'boolean' }, out: { type: 'string' }, mqtt: { type: 'string' }, user: { type: 'string' },
  'password-env': { type: 'string' }, send: { type: 'string' }, speed: { type: 'string' }, list: { type: 'boolean' }, help: { type: 'boolean', short: 'h' },
} as const;

class Mistake extends Error {}

/** @param argv without the names of node and the script. */
export function readSimulateArguments(argv: readonly string[]): SimulateArguments {
  try {
    return read(argv);
  } catch (error) {
    // What `parseArgs` says of an unknown option is a TypeError.
    if (error instanceof Mistake || error instanceof TypeError) return { mistake: error.message };
    throw error;
  }
}

function read(argv: readonly string[]): SimulateArguments {
  const { values } = parseArgs({ args: [...argv], options, strict: true, allowPositionals: false });
  if (values.help === true) return { print: simulateHelp };
  if (values.list === true) return { print: list() };
  if (values.fleet !== undefined && values['tank-kind'] !== undefined) throw new Mistake('--fleet and --tank-kind exclude each other; leave one out');
  const tankKind = tankKindOf(values['tank-kind'] ?? tankKinds[0]);
  if (tankKind === null) throw new Mistake(`--tank-kind: there is no "${values['tank-kind']}"; write one of: ${tankWords.join(', ')}`);
  const { fault = null } = values;
  if (fault !== null && !faultKinds.some(({ name }) => name === fault)) throw new Mistake(`--fault: there is no "${fault}"; write one of: ${faultKinds.map(({ name }) => name).join(', ')}`);
  const lastsMs = DAY * number('days', values.days, 30, { above: 0, most: 3660 });
  const settleMs = DAY * number('fault-after', values['fault-after'], Math.min(10, lastsMs / DAY / 3), { least: 0, most: 3660 });
  if (settleMs >= lastsMs && fault !== null) throw new Mistake(`--fault-after: the fault would begin after ${settleMs / DAY} days, and all is over after ${lastsMs / DAY}; write less than --days`);
  const send = sentFormats.find((format) => format === values.send) ?? null;
  if (values.send !== undefined && send === null) throw new Mistake(`--send: the simulator cannot write "${values.send}"; write one of: ${sentFormats.join(', ')}`);
  return {
    run: {
      tankKind, fleetFile: values.fleet ?? null, tankId: values.tank ?? null, fault, lastsMs, settleMs,
      seed: wholeNumber('seed', values.seed, 1), startMs: timeOf(values.start), habits: values.calm === true ? 'calm' : 'messy',
      out: outOf(values), sentAs: send,
    },
  };
}

function outOf(values: { readonly out?: string; readonly mqtt?: string; readonly user?: string; readonly 'password-env'?: string; readonly speed?: string }): SimulateOptions['out'] {
  if (values.out !== undefined && values.mqtt !== undefined) throw new Mistake('--out and --mqtt exclude each other; leave one out');
  if (values.mqtt !== undefined) {
    if (!/^(mqtts?|wss?):\/\/[^/]+/.test(values.mqtt)) throw new Mistake(`--mqtt: "${values.mqtt}" is no address of a broker; write it like mqtt://127.0.0.1:1883`);
    return { type: 'mqtt', url: values.mqtt, user: values.user ?? 'trial-site', passwordEnv: values['password-env'] ?? null, speed: number('speed', values.speed, 1, { above: 0, most: 10_000 }) };
  }
  if (values.out === undefined) throw new Mistake('say where the readings go: --out FILE.csv, or --mqtt URL');
  return { type: 'csv', file: values.out };
}

function number(name: string, text: string | undefined, otherwise: number, bounds: { readonly least?: number; readonly above?: number; readonly most: number }): number {
  const value = text === undefined ? otherwise : text.trim() === '' ? Number.NaN : Number(text);
  const { least = Number.NEGATIVE_INFINITY, above = Number.NEGATIVE_INFINITY, most } = bounds;
  if (!(value >= least && value > above && value <= most)) throw new Mistake(`--${name}: "${text}" will not do; write a number ${above > Number.NEGATIVE_INFINITY ? `above ${above}` : `from ${least}`} up to ${most}, such as ${otherwise}`);
  return value;
}

function wholeNumber(name: string, text: string | undefined, otherwise: number): number {
  const value = text === undefined ? otherwise : Number(text);
  if (!Number.isSafeInteger(value) || value < 0 || text?.trim() === '') throw new Mistake(`--${name}: "${text}" is no whole number from 0; write one like ${otherwise}`);
  return value;
}

function timeOf(text: string | undefined): number | null {
  if (text === undefined) return null;
  const whole = /^(\d{4}-\d\d-\d\d)(T\d\d:\d\d(:\d\d)?Z)?$/.exec(text);
  const atMs = whole === null ? Number.NaN : Date.parse(whole[2] === undefined ? `${text}T00:00:00Z` : text);
  // A date that does not exist (February 30th) is moved by some readers and refused by others.
  if (Number.isNaN(atMs) || new Date(atMs).toISOString().slice(0, 10) !== whole?.[1]) throw new Mistake(`--start: "${text}" is no time; write it like 2026-07-01 or 2026-07-01T08:00:00Z`);
  return atMs;
}

function list(): string {
  return ['Kinds of tank:', ...tankKinds.map((kind) => `  ${kind}`), '', 'Faults:', ...faultKinds.map(({ name, gradual, season }) => `  ${name.padEnd(26)}${gradual ? 'creeping' : 'sudden'}${season === 'any' ? '' : `, in ${season}`}`)].join('\n');
}
