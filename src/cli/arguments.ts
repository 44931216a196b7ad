/** What was asked for on the command line. Only reading it; nothing is done here. */
import { parseArgs } from 'node:util';
import { nearest } from '../config/nearest.ts';
import { timeZoneFix } from '../config/time-zone.ts';
import { type CsvChoices, readMapping } from '../../adapters/csv-choices.ts';
import { type Encoding, encodings } from '../../adapters/csv-encoding.ts';
import { csvDateOrders, csvOverlaps, csvTimeFormats } from '../../adapters/csv-time.ts';

export type Command =
  | { readonly command: 'serve'; readonly config: string }
  | { readonly command: 'check'; readonly files: readonly string[] }
  | {
      readonly command: 'import';
      readonly file: string;
      readonly config: string;
      /** Tank whose points the columns name; `null`: they are named in full. */
      readonly tank: string | null;
      readonly dryRun: boolean;
      readonly choices: CsvChoices;
      /** Fill in what is not said from what was said about a file with the same header before. */
      readonly remembered: boolean;
      /** Where to write every refused line; `null`: only the first are printed. */
      readonly rejects: string | null;
    }
  | { readonly command: 'user'; readonly action: 'add'; readonly name: string; readonly config: string; readonly person: string | null; readonly passwordFromStdin: boolean }
  | { readonly command: 'user'; readonly action: 'remove'; readonly name: string; readonly config: string }
  | { readonly command: 'user'; readonly action: 'list'; readonly config: string }
  | { readonly command: 'backup'; readonly target: string; readonly config: string }
  | { readonly command: 'restore'; readonly file: string; readonly replace: boolean; readonly config: string }
  | { readonly command: 'check-store'; readonly config: string }
  | { readonly command: 'page-test'; readonly person: string; readonly config: string };

export type Arguments =
  | { readonly run: Command }
  /** Asked for help: print and end well. */
  | { readonly help: string }
  /** Cannot be done as written: what is wrong and what to write, for the error output. */
  | { readonly mistake: string };

/** @param argv without the names of node and the script. */
export function readArguments(argv: readonly string[]): Arguments {
  const [name, ...rest] = argv;
  if (name === undefined) return { mistake: overview };
  if (name === '--help' || name === '-h') return { help: overview };
  if (name === 'help') return { help: (rest[0] !== undefined && Object.hasOwn(commands, rest[0]) ? commands[rest[0]]?.help : undefined) ?? overview };
  const known = Object.hasOwn(commands, name) ? commands[name] : undefined;
  if (known === undefined) {
    const guess = nearest(name, Object.keys(commands));
    return { mistake: `there is no command "${name}"${guess === null ? '' : `; did you mean "${guess}"?`}\n\n${overview}` };
  }
  const given = readGiven(known, rest);
  if ('mistake' in given) return { mistake: `${name}: ${given.mistake}\n\n${known.help}` };
  if (given.flags.has('help')) return { help: known.help };
  const built = known.build(given);
  return typeof built === 'string' ? { mistake: `${name}: ${built}\n\n${known.help}` } : { run: built };
}

interface Given {
  readonly words: readonly string[];
  readonly values: ReadonlyMap<string, string>;
  /** Of options that may be given more than once. */
  readonly lists: ReadonlyMap<string, readonly string[]>;
  readonly flags: ReadonlySet<string>;
}

interface KnownCommand {
  readonly oneLine: string;
  readonly help: string;
  /** Options that take a value, and flags that take none. */
  readonly values: readonly string[];
  /** Those of `values` that may be given more than once. */
  readonly repeatable?: readonly string[];
  readonly flags: readonly string[];
  /** @returns what is wrong, in words, when the arguments do not fit together. */
  build(given: Given): Command | string;
}

const configHelp = '  --config FILE        the service file (config/service.example.yaml shows every key)';

const commands: Readonly<Record<string, KnownCommand>> = {
  serve: {
    oneLine: 'run the service',
    help: `usage: tankbell serve --config FILE

Starts the broker or connects to one, watches, rings, and serves the web pages, until it is stopped by Ctrl-C or SIGTERM.
SIGHUP makes it read the fleet file again and go on with it, without a restart; one with mistakes is refused and the fleet before stays.

${configHelp}`,
    values: ['config'],
    flags: [],
    build: ({ words, values }) => noWords(words) ?? withConfig(values, (config) => ({ command: 'serve', config })),
  },
  check: {
    oneLine: 'check service and fleet files; connects to nothing',
    help: `usage: tankbell check FILE…

Checks service files, the fleet files they name, and fleet files by themselves. Every mistake is printed with its file, line and
column, and with what to write instead. Ends with 0 when all is well and 1 when not. Connects to nothing and changes nothing.`,
    values: [],
    flags: [],
    build: ({ words }) => (words.length === 0 ? 'no file is named' : { command: 'check', files: words }),
  },
  import: {
    oneLine: 'read the history of a logger from a CSV file',
    help: `usage: tankbell import FILE --config FILE [--tank TANK] [--dry-run] [--map "COLUMN=POINT[:UNIT]"]… [--rejects FILE] [options]

Stores readings from a CSV file: either one row per reading (time, series, value) or one column per series. What is known already is
left alone, so that importing twice does no harm. Old history never rings; readings recent enough to be current are judged like live ones.
How a file was read is remembered by its header and used the next time. Ctrl-C cancels: what is stored stays.

${configHelp}
  --tank TANK          the columns name points of this tank
  --dry-run            read and report everything, store nothing
  --map COLUMN=POINT   where a column (or, in a long file, a series) goes; with ":UNIT" behind it in which unit. Repeat for each.
                       POINT may be @skip (leave out), or say what else it is: @time, @date, @time-of-day, @series, @value, @unit
  --time-zone ZONE     of times without an offset, like America/Denver; the site's own when left out
  --date-order ORDER   ymd, dmy or mdy, for dates like 03/04/2024
  --time-format FORMAT s or ms since 1970, or spreadsheet (days since 1900), for times that are bare numbers
  --overlap WHICH      times that happened twice when clocks went back: in-order, earlier or later; refused when left out
  --encoding NAME      utf-8, utf-16le, utf-16be or windows-1252, where the file itself does not say it
  --decimal-comma      numbers are written 25,4
  --forget             do not use what was remembered for this header
  --rejects FILE       write every refused line to this CSV file`,
    values: ['config', 'tank', 'time-zone', 'date-order', 'time-format', 'overlap', 'encoding', 'rejects', 'map'],
    repeatable: ['map'],
    flags: ['dry-run', 'decimal-comma', 'forget'],
    build: ({ words, values, lists, flags }) => {
      const [file, ...others] = words;
      if (file === undefined) return 'no file is named';
      if (others.length > 0) return `one file at a time; "${others.join(' ')}" is left over`;
      const timeZone = values.get('time-zone') ?? null;
      const zoneFix = timeZone === null ? null : timeZoneFix(timeZone);
      if (zoneFix !== null) return `"${timeZone ?? ''}" is no time zone; ${zoneFix}`;
      const dateOrder = oneOf(values.get('date-order'), csvDateOrders, 'date order');
      const timeFormat = oneOf(values.get('time-format'), csvTimeFormats, 'time format');
      const overlap = oneOf(values.get('overlap'), csvOverlaps, 'way to read times that happened twice');
      const encoding = oneOf<Encoding>(values.get('encoding'), encodings, 'encoding');
      for (const read of [dateOrder, timeFormat, overlap, encoding]) if (read !== null && typeof read === 'object') return read.wrong;
      const columns = (lists.get('map') ?? []).map(readMapping);
      const wrong = columns.find((column) => 'wrong' in column);
      if (wrong !== undefined && 'wrong' in wrong) return wrong.wrong;
      const choices: CsvChoices = {
        timeZone, dateOrder: wordOf(dateOrder), timeFormat: wordOf(timeFormat), overlap: wordOf(overlap), encoding: wordOf(encoding), delimiter: null, decimalComma: flags.has('decimal-comma'),
        columns: columns.flatMap((column) => ('wrong' in column ? [] : [column])),
      };
      return withConfig(values, (config) => ({
        command: 'import', file, config, tank: values.get('tank') ?? null, dryRun: flags.has('dry-run'), choices, remembered: !flags.has('forget'), rejects: values.get('rejects') ?? null,
      }));
    },
  },
  user: {
    oneLine: 'add, remove or list logins of the web pages',
    help: `usage: tankbell user add NAME --config FILE [--person PERSON] [--password-stdin]
       tankbell user remove NAME --config FILE
       tankbell user list --config FILE

Adding a name that exists sets its password anew. The password is asked for on the terminal.

${configHelp}
  --person PERSON      the person of the fleet file this login belongs to
  --password-stdin     read the password from the first line of the standard input instead`,
    values: ['config', 'person'],
    flags: ['password-stdin'],
    build: ({ words, values, flags }) => {
      const [action, name, ...others] = words;
      if (others.length > 0) return `"${others.join(' ')}" is left over`;
      if (action !== 'add' && (values.has('person') || flags.has('password-stdin'))) return '--person and --password-stdin belong to "user add"';
      if (action === 'list') return name === undefined ? withConfig(values, (config) => ({ command: 'user', action, config })) : `"${name}" is left over`;
      if (action !== 'add' && action !== 'remove') return action === undefined ? 'say "add", "remove" or "list"' : `"${action}" is not "add", "remove" or "list"`;
      if (name === undefined) return 'no name is given';
      if (action === 'remove') return withConfig(values, (config) => ({ command: 'user', action, name, config }));
      return withConfig(values, (config) => ({ command: 'user', action, name, config, person: values.get('person') ?? null, passwordFromStdin: flags.has('password-stdin') }));
    },
  },
  backup: {
    oneLine: 'copy the store to a file, checked',
    help: `usage: tankbell backup FOLDER|FILE --config FILE

Copies everything that is kept (readings, alarms, journal, logins) into one file while the service runs, reads it back whole, and
writes a manifest with its SHA-256 beside it. In a folder the file is named after the time. A file that exists is never overwritten.

${configHelp}`,
    values: ['config'],
    flags: [],
    build: ({ words, values }) => {
      const [target, ...others] = words;
      if (target === undefined) return 'name a folder or a file to copy to, on another disk if there is one';
      if (others.length > 0) return `"${others.join(' ')}" is left over`;
      return withConfig(values, (config) => ({ command: 'backup', target, config }));
    },
  },
  restore: {
    oneLine: 'put a backup in place of the store',
    help: `usage: tankbell restore FILE --config FILE [--replace]

Checks a backup against its manifest and from the inside, and puts it into the data folder. Stop the service first.

${configHelp}
  --replace            there is a store already: keep it beside the restored one`,
    values: ['config'],
    flags: ['replace'],
    build: ({ words, values, flags }) => {
      const [file, ...others] = words;
      if (file === undefined) return 'no backup is named';
      if (others.length > 0) return `"${others.join(' ')}" is left over`;
      return withConfig(values, (config) => ({ command: 'restore', file, replace: flags.has('replace'), config }));
    },
  },
  'check-store': {
    oneLine: 'check that everything that is kept is whole',
    help: `usage: tankbell check-store --config FILE

Reads the whole store, every sealed day included, and lists what is damaged. Works beside a running service and changes nothing.
Ends with 0 when all is well and 1 when not.

${configHelp}`,
    values: ['config'],
    flags: [],
    build: ({ words, values }) => noWords(words) ?? withConfig(values, (config) => ({ command: 'check-store', config })),
  },
  'page-test': {
    oneLine: 'send a test page to one person',
    help: `usage: tankbell page-test PERSON --config FILE

Puts a test page for a person of the fleet file into the outbox, marked as a test.

${configHelp}`,
    values: ['config'],
    flags: [],
    build: ({ words, values }) => {
      const [person, ...others] = words;
      if (person === undefined) return 'no person is named; write the id from the "people" of the fleet file';
      if (others.length > 0) return `"${others.join(' ')}" is left over`;
      return withConfig(values, (config) => ({ command: 'page-test', person, config }));
    },
  },
};

export const commandNames: readonly string[] = Object.keys(commands);

const width = Math.max(...commandNames.map((name) => name.length));

const overview = `usage: tankbell COMMAND …

${Object.entries(commands).map(([name, { oneLine }]) => `  ${name.padEnd(width)}  ${oneLine}`).join('\n')}

"tankbell help COMMAND" says more about one.`;

function withConfig(values: ReadonlyMap<string, string>, build: (config: string) => Command): Command | string {
  const config = values.get('config');
  return config === undefined ? '--config is missing; write --config and the service file' : build(config);
}

/** @returns `null` when nothing is given. */
function oneOf<Word extends string>(given: string | undefined, words: readonly Word[], what: string): Word | null | { readonly wrong: string } {
  if (given === undefined) return null;
  return words.find((word) => word === given) ?? { wrong: `"${given}" is no ${what}; write one of: ${words.join(', ')}` };
}

const wordOf = <Word extends string>(read: Word | null | { readonly wrong: string }): Word | null => (typeof read === 'string' ? read : null);

const noWords = (words: readonly string[]): string | null => (words.length === 0 ? null : `"${words.join(' ')}" is left over; the service file is named by --config`);

function readGiven(known: KnownCommand, rest: readonly string[]): Given | { readonly mistake: string } {
  const all = [...known.values, ...known.flags, 'help'];
  const { tokens } = parseArgs({
    args: [...rest],
    strict: false,
    allowPositionals: true,
    tokens: true,
    options: {
      help: { type: 'boolean', short: 'h' },
      ...Object.fromEntries(known.values.map((name) => [name, { type: 'string' as const }])),
      ...Object.fromEntries(known.flags.map((name) => [name, { type: 'boolean' as const }])),
    },
  });
  const words: string[] = [];
  const values = new Map<string, string>();
  const lists = new Map<string, string[]>();
  const flags = new Set<string>();
  for (const token of tokens) {
    if (token.kind === 'positional') words.push(token.value);
    if (token.kind !== 'option') continue;
    if (!all.includes(token.name)) {
      const guess = nearest(token.name, all);
      return { mistake: `there is no option ${token.rawName}${guess === null ? `; there is ${all.map((name) => `--${name}`).join(', ')}` : `; did you mean --${guess}?`}` };
    }
    if (!known.values.includes(token.name)) {
      if (token.value !== undefined) return { mistake: `${token.rawName} takes no value` };
      flags.add(token.name);
      continue;
    }
    if (token.value === undefined || token.value === '' || (!token.inlineValue && token.value.startsWith('-'))) return { mistake: `${token.rawName} needs a value behind it` };
    if (known.repeatable?.includes(token.name) === true) {
      lists.set(token.name, [...(lists.get(token.name) ?? []), token.value]);
      continue;
    }
    if (values.has(token.name)) return { mistake: `${token.rawName} is given twice` };
    values.set(token.name, token.value);
  }
  return { words, values, lists, flags };
}
