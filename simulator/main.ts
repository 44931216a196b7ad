/**
 * `npm run demo`: the service with its embedded broker and database, an invented fleet that publishes over real MQTT, thirty days of history,
 * faults on a timetable, and a mailbox page that catches the e-mails. Everything listens on 127.0.0.1; what it keeps is in `var/demo`.
 */
import { randomBytes } from 'node:crypto';
import { copyFileSync, existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { join, resolve } from 'node:path';
import { loadFormats } from '../adapters/load.ts';
import { openPublisher } from '../adapters/mqtt-publish.ts';
import { StartError, startApp } from '../src/app.ts';
import { systemClock } from '../src/clock.ts';
import { readFleet } from '../src/config/fleet-file.ts';
import type { ServiceConfig } from '../src/config/service.ts';
import { DAY, MINUTE } from '../src/domain/duration.ts';
import type { Fleet } from '../src/domain/fleet.ts';
import { makeLogger } from '../src/log.ts';
import { makeAckLinks } from '../src/notify/ack-link.ts';
import { compileRules } from '../src/rules/compile.ts';
import { loadRuleKinds } from '../src/rules/load.ts';
import { StoreError } from '../src/store/contract.ts';
import { lockDataDir } from '../src/store/lock.ts';
import { openSqliteStore } from '../src/store/sqlite.ts';
import { hashPassword } from '../src/web/passwords.ts';
import { demoTimetable } from './demo-timetable.ts';
import { DemoMailbox, startMailServer } from './demo/mailbox.ts';
import { startMailboxPage } from './demo/mailbox-page.ts';
import { seedHistory } from './demo/seed.ts';
import { publishPaced } from './publish.ts';
import { makeScenario } from './scenario.ts';

const historyMs = 30 * DAY;
const historyEveryMs = 2 * MINUTE;
const login = { name: 'demo', password: 'demo-tankbell' } as const;
const wantedPorts = { web: 8710, mailbox: 8711, broker: 18830 } as const;

/** What a second start must know to continue the same invented world. */
interface DemoFacts {
  readonly seed: number;
  readonly startMs: number;
  readonly liveMs: number;
  /** Seeding ended well. */
  readonly seeded: boolean;
}

const say = (text: string): void => void process.stdout.write(`${text}\n`);

async function main(): Promise<void> {
  const folder = resolve(process.env['TANKBELL_DEMO_DATA'] ?? 'var/demo');
  const historyDays = Number(process.env['TANKBELL_DEMO_DAYS'] ?? historyMs / DAY);
  const clock = systemClock;
  const log = makeLogger('warn', clock.now);
  const inventedFleet = join(import.meta.dirname, 'fleet.yaml');
  // The service has a copy: what is claimed on its pages is written into it, and the simulator plays what was there before.
  const fleetFile = join(folder, 'fleet.yaml');
  mkdirSync(folder, { recursive: true });
  // A second demo on the same folder is refused before it touches anything.
  const lock = lockDataDir(folder);

  const facts = await factsOf(folder, clock.now(), historyDays * DAY);
  const { fleet, kinds } = await readDemoFleet(inventedFleet);
  const [webPort, mailboxPort, brokerPort] = [await freePort(wantedPorts.web), await freePort(wantedPorts.mailbox), await freePort(wantedPorts.broker)];
  const publicUrl = `http://127.0.0.1:${webPort}`;
  const mailboxUrl = `http://127.0.0.1:${mailboxPort}`;
  const notice = `Invented demo data. E-mails land in the demo mailbox: ${mailboxUrl}`;
  const mailbox = new DemoMailbox(join(folder, 'mail'));
  const secret = randomSecret(folder);
  const scenario = makeScenario({ fleet, seed: facts.seed, startMs: facts.startMs, timetable: demoTimetable(facts.liveMs), history: { untilMs: facts.liveMs, everyMs: historyEveryMs } });

  if (!facts.seeded || !existsSync(fleetFile)) copyFileSync(inventedFleet, fleetFile);
  if (!facts.seeded) {
    const store = await openSqliteStore(join(folder, 'tankbell.sqlite'));
    const startedMs = clock.now();
    await seedHistory({
      store, fleet, rules: compileRules(fleet, kinds), scenario, mailbox, links: makeAckLinks(Buffer.from(secret), publicUrl), log, notice, seed: facts.seed, now: clock.now,
      onProgress: (share) => say(`Seeding ${historyDays} days of invented history: ${String(Math.round(share * 100)).padStart(3)} %`),
    });
    await store.putAccount({ name: login.name, passwordHash: await hashPassword(login.password), createdMs: clock.now(), personId: fleet.people[0]?.id ?? null });
    await store.close();
    writeFacts(folder, { ...facts, seeded: true });
    say(`Seeded in ${Math.round((clock.now() - startedMs) / 1000)} s.`);
  } else {
    say('Continuing the demo of before (delete var/demo to begin anew) …');
    scenario.skip(clock.now());
  }
  lock.release();

  const mailServer = await startMailServer(mailbox, clock.now);
  const mailboxPage = await startMailboxPage(mailbox, mailboxPort, publicUrl);
  const env: Record<string, string> = { ...definedEnv(), TANKBELL_SECRET: secret };
  for (const { account } of fleet.sites) if (account !== null) env[account.passwordEnv] ??= randomBytes(12).toString('base64url');
  const config: ServiceConfig = {
    dataDir: folder, fleetFile, web: { host: '127.0.0.1', port: webPort, publicUrl }, mqtt: { broker: 'embedded', host: '127.0.0.1', port: brokerPort, tls: null },
    mail: { host: '127.0.0.1', port: mailServer.port, security: 'none', user: null, passwordEnv: null, from: 'Tankbell demo <tankbell@example.invalid>' }, notice,
  };
  const app = await startApp({
    config, env, clock, log,
    onFatal: (error) => {
      log.error({ err: error }, 'the demo cannot go on');
      process.exit(70);
    },
  });
  const publishers = new Map(fleet.sites.flatMap(({ id, account }) => {
    if (account === null) return [];
    return [[id, openPublisher({ url: `mqtt://127.0.0.1:${brokerPort}`, clientId: `simulator-${account.user}`, user: account.user, password: env[account.passwordEnv] ?? '' })] as const];
  }));
  const playing = publishPaced({
    scenario, clock,
    publish: (topic, payload, { siteId }) => publishers.get(siteId)?.publish(topic, payload),
    onFailure: ({ topic }, cause) => log.warn({ err: cause, topic }, 'the simulator could not publish'),
  });

  const someSite = fleet.sites.find(({ account }) => account !== null);
  say(`
Tankbell demo: ${fleet.clients.length} clients, ${fleet.tanks.length} tanks, all invented.

  Web page   ${publicUrl}     login ${login.name}, password ${login.password}
  Mailbox    ${mailboxUrl}     where the alarm e-mails land
  MQTT       127.0.0.1:${brokerPort}          e.g. user ${someSite?.account?.user ?? ''}, password ${someSite?.account === null || someSite === undefined ? '' : (env[someSite.account.passwordEnv] ?? '')}

Something rings within two minutes. Ctrl-C ends it; the next start continues.`);

  await new Promise<void>((done) => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => done());
  });
  say('Stopping …');
  await playing.stop();
  await Promise.all([...publishers.values()].map((publisher) => publisher.close()));
  await app.stop();
  await mailboxPage.stop();
  await mailServer.stop();
}

async function readDemoFleet(file: string): Promise<{ fleet: Fleet; kinds: Awaited<ReturnType<typeof loadRuleKinds>> }> {
  const kinds = await loadRuleKinds();
  const read = readFleet(readFileSync(file, 'utf8'), file, { kinds, formats: await loadFormats(), broker: 'embedded' });
  if ('mistakes' in read) throw new Error(`the demo fleet has mistakes: ${JSON.stringify(read.mistakes, null, 2)}`);
  return { fleet: read.fleet, kinds };
}

/** The facts of the demo in `folder`; a seeding that was interrupted is thrown away and begun anew. */
async function factsOf(folder: string, nowMs: number, spanMs: number): Promise<DemoFacts> {
  const file = join(folder, 'demo.json');
  if (existsSync(file)) {
    const facts: DemoFacts = JSON.parse(readFileSync(file, 'utf8'));
    if (facts.seeded) return facts;
    for (const name of ['tankbell.sqlite', 'tankbell.sqlite-wal', 'tankbell.sqlite-shm', 'mail']) rmSync(join(folder, name), { recursive: true, force: true });
  }
  const facts: DemoFacts = { seed: 20_260_301, startMs: nowMs - spanMs, liveMs: nowMs, seeded: false };
  writeFacts(folder, facts);
  return facts;
}

function writeFacts(folder: string, facts: DemoFacts): void {
  writeFileSync(join(folder, 'demo.json'), JSON.stringify(facts));
}

function randomSecret(folder: string): string {
  const file = join(folder, 'demo.secret');
  if (!existsSync(file)) writeFileSync(file, randomBytes(32).toString('hex'), { mode: 0o600 });
  return readFileSync(file, 'utf8');
}

function definedEnv(): Record<string, string> {
  return Object.fromEntries(Object.entries(process.env).flatMap(([name, value]) => (value === undefined ? [] : [[name, value]])));
}

/** The wanted port, or any free one when it is taken. */
function freePort(wanted: number): Promise<number> {
  return new Promise((done, reject) => {
    const server = createServer();
    server.once('error', () => {
      server.once('error', reject);
      server.listen(0, '127.0.0.1');
    });
    server.once('listening', () => {
      const address = server.address();
      server.close(() => (typeof address === 'object' && address !== null ? done(address.port) : reject(new Error('no free port'))));
    });
    server.listen(wanted, '127.0.0.1');
  });
}

try {
  await main();
} catch (error) {
  if (!(error instanceof StartError || error instanceof StoreError)) throw error;
  process.stderr.write(`${error.message}\n`);
  process.exitCode = 1;
}
