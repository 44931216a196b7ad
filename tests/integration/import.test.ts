/** Import and HTTP beside each other in the real process: neither starves the other, Ctrl-C leaves what is stored, and it is on the disk when it is answered. */
import { spawn } from 'node:child_process';
import { createWriteStream, existsSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { finished } from 'node:stream/promises';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { freePort, until } from '../adapters/mosquitto.ts';
import { isUp, type Running, type ServiceFiles, startService, tankbell, writeFiles } from './service.ts';

const root = resolve(import.meta.dirname, '../..');
const token = 'token-of-the-hall-for-tests';
const password = 'a-long-password-for-tests';
let files: ServiceFiles;
let running: Running;
let cookie = '';
let refusedStarts: readonly ReturnType<typeof tankbell>[] = [];

beforeAll(async () => {
  files = await writeFiles({
    mqtt: `{ embedded: { host: 127.0.0.1, port: ${await freePort()} } }`,
    mailPort: null,
    env: { TANKBELL_HALL_HTTP: token },
    fleet: `clients:
  - id: pellet-street
    name: Pellet Street Clinic (invented)
    sites:
      - id: hall
        name: Waiting hall
        timeZone: America/Denver
        httpTokenEnv: TANKBELL_HALL_HTTP
        tanks:
          - id: hall-reef
            name: Hall reef
            water: fresh
            display: 120 gal
            points:
              - { id: temperature, kind: temperature, unit: °F, every: 30s }
              - { id: logger, kind: temperature, place: sump, every: 30s }
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, phone: "+1 555 0101", timeZone: America/Denver }]
onCall: { steps: [{ person: ana }] }
`,
  });
  tankbell(files, ['user', 'add', 'ana', '--config', files.config, '--person', 'ana', '--password-stdin'], `${password}\n`);
  // Before the service holds the data folder.
  refusedStarts = ['', 'guess-me'].map((wrong) => tankbell({ env: { ...files.env, TANKBELL_HALL_HTTP: wrong } }, ['serve', '--config', files.config]));
  running = startService(files);
  await isUp(files, running);
  const login = await fetch(`${files.url}/login`, { method: 'POST', redirect: 'manual', headers: { 'content-type': 'application/x-www-form-urlencoded' }, body: new URLSearchParams({ name: 'ana', password }).toString() });
  cookie = (login.headers.get('set-cookie') ?? '').split(';')[0] ?? '';
});

afterAll(async () => {
  await running?.kill();
  files?.remove();
});

const post = (body: unknown, bearer = token): Promise<Response> =>
  fetch(`${files.url}/api/sites/hall/readings`, { method: 'POST', headers: { authorization: `Bearer ${bearer}`, 'content-type': 'application/json' }, body: JSON.stringify(body) });
const stored = async (pointId: string, fromMs: number, toMs: number): Promise<readonly number[]> => {
  const answer: { mean: number[] } = JSON.parse(await (await fetch(`${files.url}/api/points/${pointId}/series?from=${fromMs}&to=${toMs}`, { headers: { cookie } })).text());
  return answer.mean;
};
const journal = async (): Promise<string> => (await fetch(`${files.url}/journal?kinds=import`, { headers: { cookie } })).text();

test('a token that is not set, or could be guessed, does not start', () => {
  const [without, short] = refusedStarts;
  expect([without?.code, without?.err]).toEqual([1, expect.stringContaining('TANKBELL_HALL_HTTP is not set, so HTTP for the site "hall" has no token')]);
  expect([short?.code, short?.err]).toEqual([1, expect.stringContaining('shorter than 16 characters')]);
});

test('what was answered is there after kill -9', async () => {
  const nowMs = Date.now();
  const answer = await post({ readings: [{ point: 'hall-reef/temperature', at: new Date(nowMs).toISOString(), value: 78.8 }, { point: 'hall-reef/none', value: 1 }] });
  expect(await answer.json()).toEqual({ taken: 1, refused: [{ index: 1, line: null, reason: expect.stringContaining('is no point of hall') }] });
  await running.kill();
  running = startService(files);
  await isUp(files, running);
  expect(await stored('hall-reef/temperature', nowMs - 1000, nowMs + 1000)).toEqual([26]);
  expect((await post({ point: 'hall-reef/temperature', value: 78 }, 'another-token-of-nobody')).status).toBe(401);
});

test('a large import is cancelled by Ctrl-C; live readings are taken meanwhile; the second time the rest is stored', async () => {
  const file = join(files.folder, 'big.csv');
  const out = createWriteStream(file);
  const rows = 600_000;
  const startMs = Date.UTC(2025, 0, 1);
  out.write('Zeit;Sonde (°C);Notiz\n');
  for (let n = 0; n < rows; n += 1) out.write(`${new Date(startMs + n * 1000).toISOString()};${(25 + (n % 40) / 100).toFixed(2)};${n % 1000 === 999 ? '=1+1' : ''}\n`);
  out.end();
  await finished(out);
  const rejects = join(files.folder, 'rejects.csv');
  const child = spawn(process.execPath, ['--import', 'tsx', join(root, 'src/main.ts'), 'import', file, '--config', files.config, '--tank', 'hall-reef', '--map', 'Zeit=@time', '--map', 'Sonde=logger', '--map', 'Notiz=@skip'], { cwd: root, env: { ...process.env, ...files.env }, stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  child.stdout.on('data', (chunk: Buffer) => { said += chunk.toString(); });
  child.stderr.on('data', (chunk: Buffer) => { said += chunk.toString(); });
  const gone = new Promise<number | null>((done) => child.once('exit', (code) => done(code)));
  await until(async () => (await stored('hall-reef/logger', startMs, startMs + 10_000)).length > 0, 'the first chunk', 20_000);
  const slowest: number[] = [];
  for (let n = 0; n < 5; n += 1) {
    const fromMs = Date.now();
    expect((await post({ point: 'hall-reef/temperature', value: 78 })).status).toBe(200);
    slowest.push(Date.now() - fromMs);
  }
  child.kill('SIGINT');
  expect([await gone, said]).toEqual([1, expect.stringContaining('cancelled by command line')]);
  // Not a figure, a bound: far below the seconds the whole import takes.
  expect(Math.max(...slowest)).toBeLessThan(1500);
  expect(await journal()).toMatch(/big\.csv: \d+ readings stored, 0 known already, 0 refused, \d+ left out; cancelled by command line/);
  // Every thousandth line has a note, which was to be left out.
  expect(said).toMatch(/\n\d+ values left out:\n  Notiz: \d+\n/);
  const before = Number(/(\d+) readings stored/.exec(said)?.[1]);
  expect(before).toBeGreaterThan(0);
  expect(before).toBeLessThan(rows);

  const again = tankbell(files, ['import', file, '--config', files.config, '--tank', 'hall-reef', '--map', 'Zeit=@time', '--map', 'Sonde=logger', '--map', 'Notiz=temperature', '--rejects', rejects]);
  expect(again.out, again.err).toContain(`${rows} lines read: ${rows - before} readings stored, ${before} known already`);
  const list = readFileSync(rejects, 'utf8').split('\r\n');
  expect(list).toHaveLength(2 + rows / 1000);
  expect(list[1]).toBe(`1001,"Notiz: the value ""=1+1"" is no number; send a number such as 23.5, or on / off for a switch"`);
  // What was said is remembered by the header.
  const third = tankbell(files, ['import', file, '--config', files.config, '--tank', 'hall-reef', '--dry-run']);
  expect(third.out, third.err).toContain(`${rows} lines read: ${rows} readings would be offered`);
  expect(existsSync(join(files.dataDir, 'running.json'))).toBe(true);
}, 120_000);

test('a dry run on the command line says what has to be said, with the evidence, and what could be mapped', async () => {
  const file = join(files.folder, 'dates.csv');
  const out = createWriteStream(file);
  out.end('time;Temp (°F);Sonde\n03/04/2025 12:00;78,8;1\n25/04/2025 12:00;78,9;2\n');
  await finished(out);
  const dry = tankbell(files, ['import', file, '--config', files.config, '--tank', 'hall-reef', '--dry-run']);
  expect(dry.code).toBe(1);
  expect(dry.out).toContain('needed: --date-order, for "03/04/2025 12:00" in line 2; "25/04/2025 12:00" in line 3 can only be dmy');
  expect(dry.out).toContain('perhaps: --decimal-comma, for "78,8" in line 2');
  expect(dry.out).toContain('"Temp (°F)" could be hall-reef/temperature (its name is alike); --map "Temp (°F)=hall-reef/temperature"');
});
