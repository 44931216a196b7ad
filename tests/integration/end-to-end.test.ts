/**
 * The main job on real input: a stock MQTT client (mosquitto_pub) and a logger's CSV file in; a stored series, a judged rule, an alarm, an e-mail
 * in a real mailbox, an acknowledgement from its link, and rows in the journal out. The service is a real process.
 */
import { execFile } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { freePort, until } from '../adapters/mosquitto.ts';
import { type Mailbox, openMailbox } from '../notify/mailbox.ts';
import { isUp, type Running, type ServiceFiles, startService, tankbell, writeFiles } from './service.ts';

const run = promisify(execFile);
const password = 'a-long-password-for-tests';

let mailbox: Mailbox;
let files: ServiceFiles;
let running: Running;
let brokerPort: number;
let cookie = '';

beforeAll(async () => {
  mailbox = await openMailbox();
  brokerPort = await freePort();
  files = await writeFiles({
    mqtt: `{ embedded: { host: 127.0.0.1, port: ${brokerPort} } }`,
    mailPort: mailbox.port,
    env: { TANKBELL_HALL: 'hall-secret', TANKBELL_OTHER: 'other-secret' },
    fleet: `clients:
  - id: pellet-street
    name: Pellet Street Clinic (invented)
    sites:
      - id: hall
        name: Waiting hall
        timeZone: America/Denver
        address: 12 Example Street, Exampleton
        contacts: [{ name: Front desk, phone: "+1 555 0100" }]
        access: Side door; cabinet key on the hook.
        breaker: Panel B, breaker 14
        account: { user: hall, passwordEnv: TANKBELL_HALL }
        tanks:
          - id: hall-reef
            name: Hall reef
            water: reef
            display: 120 gal
            points:
              - { id: temperature, kind: temperature, unit: °F, every: 30s, source: { topic: hall/reef/temperature, format: number } }
              - { id: sump, kind: temperature, place: sump, every: 30s, source: { topic: hall/reef/probes, format: json, value: /sump/c } }
              - { id: logger, kind: temperature, place: sump, every: 1h }
            rules:
              - { kind: limit, subject: temperature, low: 23, high: 28, onDelay: 0s, offDelay: 0s }
              - { kind: limit, subject: logger, high: 28, onDelay: 0s, offDelay: 0s, priority: urgent }
      - id: other
        name: Other site
        timeZone: America/Denver
        account: { user: other, passwordEnv: TANKBELL_OTHER }
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, phone: "+1 555 0101", timeZone: America/Denver, day: "07:00-21:00" }]
onCall: { steps: [{ person: ana }] }
`,
  });
  const added = tankbell(files, ['user', 'add', 'ana', '--config', files.config, '--person', 'ana', '--password-stdin'], `${password}\n`);
  expect(added, added.err).toMatchObject({ code: 0 });
  running = startService(files);
  await isUp(files, running);
  const login = await fetch(`${files.url}/login`, { method: 'POST', redirect: 'manual', headers: { 'content-type': 'application/x-www-form-urlencoded', origin: files.url }, body: new URLSearchParams({ name: 'ana', password }).toString() });
  cookie = (login.headers.get('set-cookie') ?? '').split(';')[0] ?? '';
  expect(cookie).not.toBe('');
});

afterAll(async () => {
  await running?.kill();
  await mailbox?.close();
  files?.remove();
});

const publish = (args: readonly string[]): Promise<unknown> => run('mosquitto_pub', ['-h', '127.0.0.1', '-p', String(brokerPort), '-q', '1', ...args]);
const asHall = ['-u', 'hall', '-P', 'hall-secret'];
const page = async (path: string): Promise<string> => (await fetch(`${files.url}${path}`, { headers: { cookie } })).text();

/** Values of the last minutes, as the API gives them to the charts. */
const values = async (pointId: string): Promise<unknown> => {
  const nowMs = Date.now();
  const answer = await fetch(`${files.url}/api/points/${pointId}/series?from=${nowMs - 60_000}&to=${nowMs + 60_000}`, { headers: { cookie } });
  const body: { mean: unknown } = JSON.parse(await answer.text());
  return body.mean;
};

describe('from mosquitto_pub to the journal', () => {
  test('a plain number over MQTT 3.1.1 and JSON over MQTT 5 are stored, converted', async () => {
    await publish([...asHall, '-t', 'hall/reef/temperature', '-m', '78.8']);
    await publish([...asHall, '-V', '5', '-t', 'hall/reef/probes', '-m', '{"sump":{"c":25.75}}']);
    expect(await values('hall-reef/temperature')).toEqual([26]);
    expect(await values('hall-reef/sump')).toEqual([25.75]);
    expect(await page('/tanks/hall-reef')).toContain('26.00');
  });

  test('a wrong password is refused; a topic outside the fence and nonsense are seen and not stored', async () => {
    await expect(publish(['-u', 'hall', '-P', 'wrong', '-t', 'hall/reef/temperature', '-m', '99'])).rejects.toThrow();
    await publish(['-u', 'other', '-P', 'other-secret', '-t', 'hall/reef/temperature', '-m', '99']);
    await publish([...asHall, '-t', 'hall/reef/temperature', '-m', 'warm']);
    await publish([...asHall, '-t', 'hall/reef/unheard-of', '-m', '7.9']);
    const sources = await page('/sources');
    expect(sources).toContain('warm');
    expect(sources).toContain('hall/reef/unheard-of');
    expect(await values('hall-reef/temperature')).toEqual([26]);
  });

  test('too warm: an alarm, a mail that can be acted on, an acknowledgement by its link that a GET cannot make', async () => {
    await publish([...asHall, '-t', 'hall/reef/temperature', '-m', '86.9']);
    await until(() => mailbox.mails.length > 0, 'the mail');
    const mail = mailbox.mails[0];
    expect(mail?.to).toEqual(['ana@example.invalid']);
    expect(mail?.headers.get('auto-submitted')).toBe('auto-generated');
    expect(mail?.headers.get('subject')).toMatch(/^URGENT Hall reef: .*30\.5 °C/);
    for (const needed of ['30.50 °C', '28.00 °C', '12 Example Street', '+1 555 0100', 'Panel B, breaker 14', 'dry hands']) expect(mail?.text).toContain(needed);
    const link = /http:\/\/127\.0\.0\.1:\d+\/acknowledge\/\S+/.exec(mail?.text ?? '')?.[0] ?? '';

    const seen = await fetch(link);
    expect(seen.status).toBe(200);
    expect(await seen.text()).toMatch(/<button[^>]*>/);
    expect(await page('/journal?kind=acknowledgement')).not.toContain('acknowledged by Ana');
    const done = await fetch(link, { method: 'POST', headers: { 'content-type': 'application/x-www-form-urlencoded' }, body: '' });
    expect(done.status).toBe(200);
    expect(await page('/journal')).toContain('acknowledged by Ana Example (invented)');

    await publish([...asHall, '-t', 'hall/reef/temperature', '-m', '78.8']);
    await until(async () => mailbox.mails.length === 2 && (await page('/journal')).includes('back to normal'), 'the all-clear');
  });
});

describe('a CSV file made by hand', () => {
  const hour = 3_600_000;
  const csv = (): string => {
    const nowMs = Date.now();
    const rows = Array.from({ length: 48 }, (_, i) => `${new Date(nowMs - (60 - i) * 24 * hour).toISOString()},${25 + (i % 5) / 10}`);
    const recent = [`${new Date(nowMs - 3 * hour).toISOString()},25.4`, `${new Date(nowMs - 0.5 * hour).toISOString()},29.6`];
    return ['time,logger (°C)', ...rows, ...recent, `${new Date(nowMs - 0.2 * hour).toISOString()},hot`, ''].join('\n');
  };

  test('through the running service: stored, refused lines named, the recent part judged; the same file twice changes nothing', async () => {
    const file = join(files.folder, 'logger.csv');
    writeFileSync(file, csv());
    const mailsBefore = mailbox.mails.length;
    const dry = tankbell(files, ['import', file, '--config', files.config, '--tank', 'hall-reef', '--dry-run']);
    expect(dry.out).toContain('50 readings would be offered');
    const first = tankbell(files, ['import', file, '--config', files.config, '--tank', 'hall-reef']);
    expect(first.out).toContain('50 readings stored, 0 known already');
    expect(first.err).toMatch(/logger\.csv:52: .*hot/);
    await until(() => mailbox.mails.length > mailsBefore, 'the mail about the logger');
    expect(mailbox.mails.at(-1)?.headers.get('subject')).toContain('29.6 °C');
    const second = tankbell(files, ['import', file, '--config', files.config, '--tank', 'hall-reef']);
    expect(second.out).toContain('0 readings stored, 50 known already');
    expect(await page('/journal?kind=import')).toContain('logger.csv');
  });

  test('with the service stopped: the import brings its own engine', async () => {
    expect(await running.stop()).toBe(0);
    const file = join(files.folder, 'old.csv');
    writeFileSync(file, `time;series;value\n${new Date(Date.now() - 90 * 24 * hour).toISOString()};hall-reef/logger;24,8\n`);
    const imported = tankbell(files, ['import', file, '--config', files.config, '--decimal-comma']);
    expect(imported.out, imported.err).toContain('1 readings stored');
    running = startService(files);
    await isUp(files, running);
  });
});

test('a second service on the same data is refused, in words', async () => {
  const second = tankbell(files, ['serve', '--config', files.config]);
  expect(second.code).toBe(1);
  expect(second.err).toMatch(/already|another/i);
});

test('a test page goes to the person', async () => {
  const before = mailbox.mails.length;
  expect(tankbell(files, ['page-test', 'ana', '--config', files.config]).out).toContain('Ana Example');
  await until(() => mailbox.mails.length > before, 'the test page');
  expect(mailbox.mails.at(-1)?.headers.get('subject')).toMatch(/test/i);
});

describe('a sensor nobody has told Tankbell about', () => {
  test('is seen, claimed in one step with its past, and read from then on; the file is taken anew by SIGHUP; all without a restart', async () => {
    for (const value of ['70.1', '70.2', '70.3']) await publish([...asHall, '-t', 'hall/closet/temp_f', '-m', value]);
    await until(async () => (await page('/sources')).includes('70.3, 70.2, 70.1'), 'the values on the page');
    expect(await page('/sources')).toContain('perhaps temperature in °F');
    const started = running.child.pid;
    const claim = await fetch(`${files.url}/sources/claim`, {
      method: 'POST', redirect: 'manual', headers: { cookie, 'content-type': 'application/x-www-form-urlencoded', origin: files.url },
      body: new URLSearchParams({ topic: 'hall/closet/temp_f', owner: 'hall', pointId: 'closet', name: 'Closet', kind: 'temperature', unit: '°F', equipment: '', every: '30s' }).toString(),
    });
    expect([claim.status, claim.headers.get('location')]).toEqual([303, '/sources?claimed=hall%2Fcloset&stored=3']);
    expect(readFileSync(join(files.folder, 'fleet.yaml'), 'utf8')).toContain('- { id: closet, name: Closet, kind: temperature, unit: °F, every: 30s, source: { topic: hall/closet/temp_f, format: number } }');
    await publish([...asHall, '-t', 'hall/closet/temp_f', '-m', '77']);
    const series = async (): Promise<readonly number[]> => {
      const answer: unknown = await (await fetch(`${files.url}/api/points/hall/closet/series?from=${Date.now() - 600_000}&to=${Date.now() + 60_000}&buckets=2000`, { headers: { cookie } })).json();
      return (answer as { readonly mean: readonly number[] }).mean;
    };
    await until(async () => (await page('/tanks/hall-reef')).includes('<b>25.00 °C</b>'), 'the new reading on the page of the tank');
    // 70.1 to 70.3 and 77 °F.
    expect((await series()).map((value) => value.toFixed(2))).toEqual(['21.17', '21.22', '21.28', '25.00']);

    const edited = readFileSync(join(files.folder, 'fleet.yaml'), 'utf8').replace('name: Hall reef', 'name: Hall reef, left');
    writeFileSync(join(files.folder, 'fleet.yaml'), edited);
    running.child.kill('SIGHUP');
    await until(async () => (await page('/')).includes('Hall reef, left'), 'the new name');
    writeFileSync(join(files.folder, 'fleet.yaml'), edited.replace('water: reef', 'water: wine'));
    running.child.kill('SIGHUP');
    await until(async () => (await page('/journal?kind=fleet')).includes('The fleet file was not taken'), 'the refusal in the journal');
    writeFileSync(join(files.folder, 'fleet.yaml'), edited);
    expect([running.child.pid, running.child.exitCode]).toEqual([started, null]);
  });
});
