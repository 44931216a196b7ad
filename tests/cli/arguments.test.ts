import { describe, expect, test } from 'vitest';
import { noChoices } from '../../adapters/csv-choices.ts';
import { type Arguments, commandNames, readArguments } from '../../src/cli/arguments.ts';

const read = (line: string): Arguments => readArguments(line.split(' ').filter((word) => word !== ''));
const mistakeIn = (line: string): string => {
  const read_ = read(line);
  return 'mistake' in read_ ? (read_.mistake.split('\n')[0] ?? '') : JSON.stringify(read_);
};

describe('commands', () => {
  test.each<[string, unknown]>([
    ['serve --config a.yaml', { command: 'serve', config: 'a.yaml' }],
    ['serve --config=a.yaml', { command: 'serve', config: 'a.yaml' }],
    ['check a.yaml b.yaml', { command: 'check', files: ['a.yaml', 'b.yaml'] }],
    ['import h.csv --config a.yaml', { command: 'import', file: 'h.csv', config: 'a.yaml', tank: null, dryRun: false, choices: noChoices, remembered: true, rejects: null }],
    [
      'import --config a.yaml --tank lobby-reef --dry-run --time-zone America/Denver --date-order dmy --decimal-comma h.csv',
      { command: 'import', file: 'h.csv', config: 'a.yaml', tank: 'lobby-reef', dryRun: true, choices: { ...noChoices, timeZone: 'America/Denver', dateOrder: 'dmy', decimalComma: true }, remembered: true, rejects: null },
    ],
    [
      'import h.csv --config a.yaml --map Temp=display-temperature:°F --map Zeit=@time --overlap in-order --time-format spreadsheet --forget --rejects r.csv',
      {
        command: 'import', file: 'h.csv', config: 'a.yaml', tank: null, dryRun: false, remembered: false, rejects: 'r.csv',
        choices: {
          ...noChoices, overlap: 'in-order', timeFormat: 'spreadsheet',
          columns: [{ label: 'Temp', target: 'display-temperature', unit: '°F' }, { label: 'Zeit', target: '@time', unit: null }],
        },
      },
    ],
    ['user add ana --config a.yaml', { command: 'user', action: 'add', name: 'ana', config: 'a.yaml', person: null, passwordFromStdin: false }],
    ['user add ana --person ana --password-stdin --config a.yaml', { command: 'user', action: 'add', name: 'ana', config: 'a.yaml', person: 'ana', passwordFromStdin: true }],
    ['user remove ana --config a.yaml', { command: 'user', action: 'remove', name: 'ana', config: 'a.yaml' }],
    ['user list --config a.yaml', { command: 'user', action: 'list', config: 'a.yaml' }],
    ['backup /mnt/stick --config a.yaml', { command: 'backup', target: '/mnt/stick', config: 'a.yaml' }],
    ['restore old.sqlite --replace --config a.yaml', { command: 'restore', file: 'old.sqlite', replace: true, config: 'a.yaml' }],
    ['restore old.sqlite --config a.yaml', { command: 'restore', file: 'old.sqlite', replace: false, config: 'a.yaml' }],
    ['check-store --config a.yaml', { command: 'check-store', config: 'a.yaml' }],
    ['page-test ana --config a.yaml', { command: 'page-test', person: 'ana', config: 'a.yaml' }],
  ])('%s', (line, run) => expect(read(line)).toEqual({ run }));

  test('a file whose name begins with a hyphen stands behind "--"', () => {
    expect(read('check -- -odd.yaml')).toEqual({ run: { command: 'check', files: ['-odd.yaml'] } });
  });
});

describe('mistakes say what there is', () => {
  test.each([
    ['chek a.yaml', 'there is no command "chek"; did you mean "check"?'],
    ['frobnicate', 'there is no command "frobnicate"'],
    ['constructor', 'there is no command "constructor"'],
    ['serve', 'serve: --config is missing; write --config and the service file'],
    ['serve a.yaml', 'serve: "a.yaml" is left over; the service file is named by --config'],
    ['serve --confg a.yaml', 'serve: there is no option --confg; did you mean --config?'],
    ['serve --config', 'serve: --config needs a value behind it'],
    ['serve --config --config', 'serve: --config needs a value behind it'],
    ['serve --config a --config b', 'serve: --config is given twice'],
    ['check', 'check: no file is named'],
    ['check --quickly a.yaml', 'check: there is no option --quickly; there is --help'],
    ['import --config a.yaml', 'import: no file is named'],
    ['import a.csv b.csv --config a.yaml', 'import: one file at a time; "b.csv" is left over'],
    ['import a.csv', 'import: --config is missing; write --config and the service file'],
    ['import a.csv --config a.yaml --date-order usa', 'import: "usa" is no date order; write one of: ymd, dmy, mdy'],
    ['import a.csv --config a.yaml --time-zone MST', 'import: "MST" is no time zone; write an IANA name "Area/City" such as America/Denver or Europe/Berlin'],
    ['import a.csv --config a.yaml --map Temp', 'import: "Temp" is no mapping; write "Column=point", "Column=point:unit" or "Column=@skip"'],
    ['import a.csv --config a.yaml --map Temp=@tim', 'import: "@tim" is nothing a column can be; write a point, or one of @time, @date, @time-of-day, @series, @value, @unit, @skip'],
    ['import a.csv --config a.yaml --dry-run=yes', 'import: --dry-run takes no value'],
    ['user', 'user: say "add", "remove" or "list"'],
    ['user ad ana --config a.yaml', 'user: "ad" is not "add", "remove" or "list"'],
    ['user add --config a.yaml', 'user: no name is given'],
    ['user add ana secret --config a.yaml', 'user: "secret" is left over'],
    ['user list --password-stdin --config a.yaml', 'user: --person and --password-stdin belong to "user add"'],
    ['backup --config a.yaml', 'backup: name a folder or a file to copy to, on another disk if there is one'],
    ['restore --config a.yaml', 'restore: no backup is named'],
    ['restore a b --config a.yaml', 'restore: "b" is left over'],
    ['check-store a.yaml', 'check-store: "a.yaml" is left over; the service file is named by --config'],
    ['page-test --config a.yaml', 'page-test: no person is named; write the id from the "people" of the fleet file'],
  ])('%s', (line, mistake) => expect(mistakeIn(line)).toBe(mistake));

  test('nothing at all shows what there is, as a mistake', () => {
    expect(read('')).toMatchObject({ mistake: expect.stringContaining('usage: tankbell COMMAND') as string });
  });
});

describe('help', () => {
  test('the overview names every command', () => {
    const overview = read('--help');
    for (const name of commandNames) expect('help' in overview ? overview.help : '').toContain(`\n  ${name} `);
  });
  test.each(commandNames)('%s has a text of its own, asked for in three ways', (name) => {
    const help = read(`help ${name}`);
    expect(help).toEqual({ help: expect.stringContaining(`usage: tankbell ${name}`) as string });
    expect(read(`${name} --help`)).toEqual(help);
    expect(read(`${name} -h`)).toEqual(help);
  });
});
