/**
 * The composition root: builds every part, in the order in which they may fail, and stops them in the order in which nothing is lost.
 *
 * `startCore` is the heart (store, engine, outbox sender) without faces: for an import while no service runs. `startApp` adds the web
 * and, last, the source of messages, so that nothing arrives before everything stands.
 */
import { randomBytes } from 'node:crypto';
import { chmodSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { BrokerAccount } from '../adapters/accounts.ts';
import type { AnyFormat, PayloadFormat } from '../adapters/contract.ts';
import { HandOver, nobody } from '../adapters/hand-over.ts';
import { loadFormats } from '../adapters/load.ts';
import { startMqttBroker } from '../adapters/mqtt-broker.ts';
import { startMqttClient } from '../adapters/mqtt-client.ts';
import { replaceableRouter } from '../adapters/replaceable-router.ts';
import { makeRouter } from '../adapters/router.ts';
import type { MqttSource, SourceEvent } from '../adapters/source.ts';
import type { Clock } from './clock.ts';
import { applyFleet } from './config/apply-fleet.ts';
import { Desk } from './config/fleet-desk.ts';
import { type FleetReaders, readFleet } from './config/fleet-file.ts';
import { showMistake } from './config/mistake.ts';
import { type Environment, missingSecrets } from './config/secrets.ts';
import type { ServiceConfig } from './config/service.ts';
import { showDuration } from './domain/duration.ts';
import type { Fleet } from './domain/fleet.ts';
import type { JournalEntry } from './domain/journal.ts';
import { calibratedHistory } from './engine/calibrated-history.ts';
import { Engine } from './engine/engine.ts';
import type { ImportDesk } from './engine/import-contract.ts';
import { importDesk } from './engine/import-desk.ts';
import { type Housekeeping, startHousekeeping } from './housekeeping.ts';
import type { Logger } from './log.ts';
import { type AckLinks, makeAckLinks } from './notify/ack-link.ts';
import { MAIL_NOT_SET_UP, type Sender, startSender } from './notify/sender.ts';
import { makeSmtpChannel } from './notify/smtp.ts';
import { compileRules } from './rules/compile.ts';
import type { Rule } from './rules/contract.ts';
import { loadRuleKinds } from './rules/load.ts';
import type { Store } from './store/contract.ts';
import { lockDataDir } from './store/lock.ts';
import { RESERVE_PART_BYTES } from './store/reserve.ts';
import { openSqliteStore } from './store/sqlite.ts';
import { buildAssets } from './web/assets.ts';
import type { SourceStatus } from './web/options.ts';
import { startWeb } from './web/start.ts';

export interface AppParts {
  readonly config: ServiceConfig;
  readonly env: Environment;
  readonly clock: Clock;
  readonly log: Logger;
  /** A failure that trying again cannot mend: end the process, it starts again from its store. */
  readonly onFatal: (error: Error) => void;
}

export interface Core {
  readonly store: Store;
  /** The store as it is shown: readings as calibrated. */
  readonly history: Store;
  readonly engine: Engine;
  /** The fleet in force, its rules, and how it changes. */
  readonly desk: Desk;
  readonly sender: Sender;
  readonly ackLinks: AckLinks;
  readonly imports: ImportDesk;
  stop(): Promise<void>;
}

export interface App extends Core {
  /** Where the web page listens. */
  readonly url: string;
  /** Port of the embedded broker; `null` with an external one. */
  readonly brokerPort: number | null;
  sources(): readonly SourceStatus[];
}

/** The service cannot start as it is set up; the message says why and what to change. */
export class StartError extends Error {
  override readonly name = 'StartError';
}

const version = '0.1.0';

export async function startCore(parts: AppParts): Promise<Core> {
  const { config, clock, log } = parts;
  mkdirSync(config.dataDir, { recursive: true });
  const lock = lockDataDir(config.dataDir);
  const undo: (() => Promise<void> | void)[] = [() => lock.release()];
  try {
    // The thread that writes comes up while the fleet is read.
    const opening = openSqliteStore(join(config.dataDir, 'tankbell.sqlite'), { reserveBytes: RESERVE_PART_BYTES, thread: true });
    undo.push(() => opening.then((opened) => opened.close(), () => undefined));
    const taking = await takeFleet(parts, opening);
    const store = await opening;
    const { fleet, rules, readers } = taking;
    const ackLinks = makeAckLinks(signingKey(parts), config.web.publicUrl);
    const channel = config.mail === null ? null : makeSmtpChannel(config.mail, config.mail.passwordEnv === null ? null : (parts.env[config.mail.passwordEnv] ?? null));
    const started = serviceEntry(clock.now(), `Tankbell ${version} started`, { tanks: fleet.tanks.length, points: fleet.points.length, rules: rules.length });
    await store.appendJournal([started]);
    let sender: Sender | null = null;
    const engine = await Engine.start({ store, fleet, rules, clock, log, onPages: () => sender?.nudge(), onFatal: parts.onFatal });
    undo.push(async () => {
      await engine.stop();
      await store.appendJournal([serviceEntry(clock.now(), 'Tankbell stopped', { afterMs: clock.now() - engine.view.startedMs })]);
    });
    const desk = new Desk({
      fleetFile: config.fleetFile, readers, store, engine, clock, first: { fleet, rules },
      missing: (secrets) => missingSecrets(secrets, parts.env),
    });
    const history = { ...store, ...calibratedHistory(store, (pointId) => engine.view.calibrations(pointId)) };
    sender = startSender({ outbox: store, history, fleet: () => desk.inForce.fleet, rules: () => desk.inForce.rules, live: engine.view, channel, links: ackLinks, clock, log, notice: config.notice });
    const runningSender = sender;
    undo.push(() => runningSender.stop());
    const imports = importDesk({ store, engine, fleet: () => desk.inForce.fleet, clock, log });
    undo.push(() => imports.stop());
    return {
      store, history, engine, desk, sender, ackLinks, imports,
      stop: () => unwind(undo),
    };
  } catch (error) {
    await unwind(undo);
    throw error;
  }
}

export async function startApp(parts: AppParts): Promise<App> {
  const { config, clock, log } = parts;
  const assets = buildAssets();
  // Waited for below; a start that fails before has another reason.
  assets.catch(() => undefined);
  const core = await startCore(parts);
  const { store, history, engine, desk, sender, ackLinks } = core;
  const undo: (() => Promise<void> | void)[] = [() => core.stop()];
  try {
    let source: MqttSource | null = null;
    const formats = await loadFormats();
    const housekeeping = startHousekeeping({ store, fleet: () => desk.inForce.fleet, clock, log });
    undo.push(() => housekeeping.stop());
    const sources = (): readonly SourceStatus[] => [...(source === null ? [] : [brokerStatus(source, clock.now())]), mailStatus(config, sender), storeStatus(store, housekeeping)];
    const localToken = randomBytes(32).toString('base64url');
    const web = await startWeb({
      host: config.web.host, port: config.web.port, publicUrl: config.web.publicUrl, notice: config.notice,
      troubles: () => sources().filter(({ state }) => state === 'trouble').map(({ detail }) => detail),
      fleet: () => desk.inForce.fleet, rules: () => desk.inForce.rules, desk, engine, store: history, rawHistory: store, ackLinks, imports: core.imports, localToken,
      siteToken: (siteId) => tokenOf(desk.inForce.fleet, siteId, parts.env), formats: plainFormats(formats), sources,
      health: () => health(store, engine, sender, clock.now()), clock, log, builtAssets: assets,
    });
    undo.push(() => web.stop());
    // Lets the command line reach this process; readable by its own user only, like the database beside it.
    const runningFile = join(config.dataDir, 'running.json');
    writeFileSync(runningFile, JSON.stringify({ url: web.url, token: localToken, pid: process.pid }), { mode: 0o600 });
    undo.push(() => rmSync(runningFile, { force: true }));

    const hostId = config.mqtt.broker === 'external' ? config.mqtt.clientId : 'tankbell';
    const router = replaceableRouter(makeRouter(desk.inForce.fleet, formats, hostId));
    const onEvent = (event: SourceEvent): void => {
      log.info({ event }, event.text);
      store.appendJournal([sourceEntry(event)]).catch((error: unknown) => log.error({ err: error }, 'cannot journal what the broker said'));
    };
    const { mqtt } = config;
    let brokerPort: number | null = null;
    if (mqtt.broker === 'embedded') {
      const tls = mqtt.tls === null ? null : { cert: readFileSync(mqtt.tls.certFile, 'utf8'), key: readFileSync(mqtt.tls.keyFile, 'utf8') };
      const broker = await startMqttBroker({ host: mqtt.host, port: mqtt.port, tls, accounts: accountsOf(desk.inForce.fleet, parts.env), router, deliver: engine.deliver, clock, onEvent });
      brokerPort = broker.port;
      source = broker;
    } else {
      source = await startMqttClient({
        url: mqtt.url, clientId: mqtt.clientId, user: mqtt.user, password: mqtt.passwordEnv === null ? null : (parts.env[mqtt.passwordEnv] ?? null),
        ca: mqtt.caFile === null ? null : readFileSync(mqtt.caFile, 'utf8'), protocolVersion: mqtt.protocolVersion, router, deliver: engine.deliver, clock, onEvent,
        onReconnected: (fromMs) => engine.reconnected(fromMs),
      });
    }
    const running = source;
    undo.push(() => running.stop());
    // Waits where the engine has no room, as messages do.
    const handOver = new HandOver(engine.deliver, clock);
    undo.push(() => handOver.close());
    desk.onFleet(({ fleet }) => {
      const nowMs = clock.now();
      const presence = router.replace(makeRouter(fleet, formats, hostId), nowMs);
      if (presence.length > 0) handOver.put({ samples: [], refusals: [], presence }, nowMs, nobody, 0);
      running.fleetChanged(accountsOf(fleet, parts.env));
    });
    await desk.bringPast();
    return { ...core, url: web.url, brokerPort, sources, stop: () => unwind(undo) };
  } catch (error) {
    await unwind(undo);
    throw error;
  }
}

/** Reads and checks the fleet file, journals what changed since it was last applied, and compiles its rules. */
async function takeFleet({ config, env, clock }: AppParts, opening: Promise<Store>): Promise<{ fleet: Fleet; rules: readonly Rule[]; readers: FleetReaders }> {
  const kinds = await loadRuleKinds();
  const readers: FleetReaders = { kinds, formats: await loadFormats(), broker: config.mqtt.broker };
  const text = readFileSync(config.fleetFile, 'utf8');
  const read = readFleet(text, config.fleetFile, readers);
  if ('mistakes' in read) throw new StartError(read.mistakes.map((mistake) => showMistake(mistake)).join('\n'));
  const missing = missingSecrets(read.secrets, env);
  if (missing.length > 0) throw new StartError(missing.map((mistake) => showMistake(mistake)).join('\n'));
  const store = await opening;
  const storedText = await store.fleetText();
  const before = storedText === null ? null : readFleet(storedText, 'the fleet as last applied', readers);
  await applyFleet(store, text, read.fleet, before === null || 'mistakes' in before ? null : before.fleet, 'tankbell', clock.now());
  return { fleet: read.fleet, rules: compileRules(read.fleet, kinds), readers };
}

/** Those whose messages stand for themselves, and may so be posted. */
function plainFormats(formats: ReadonlyMap<string, AnyFormat>): ReadonlyMap<string, PayloadFormat> {
  return new Map([...formats].flatMap(([name, format]) => ('prepare' in format ? [[name, format] as const] : [])));
}

function accountsOf({ sites }: Fleet, env: Environment): readonly BrokerAccount[] {
  return sites.flatMap(({ account, topics, sparkplugGroup = null }) => (account === null ? [] : [{ user: account.user, password: env[account.passwordEnv] ?? '', topics, sparkplugGroup }]));
}

/** Signs acknowledge links. From the environment, or made once and kept beside the database. */
function signingKey({ config, env }: AppParts): Uint8Array {
  const given = env['TANKBELL_SECRET'];
  if (given !== undefined && given !== '') {
    if (given.length < 32) throw new StartError('TANKBELL_SECRET is shorter than 32 characters; write at least 32 random ones, or leave it out and a key is kept in the data folder');
    return Buffer.from(given, 'utf8');
  }
  const file = join(config.dataDir, 'secret.key');
  try {
    const kept = readFileSync(file);
    if (kept.length >= 32) return kept;
    throw new StartError(`${file} is damaged; delete it and a new one is made (acknowledge links sent so far stop working)`);
  } catch (error) {
    if (!(error instanceof Error && 'code' in error && error.code === 'ENOENT')) throw error;
  }
  const made = randomBytes(32);
  writeFileSync(file, made, { mode: 0o600, flag: 'wx' });
  chmodSync(file, 0o600);
  return made;
}

function tokenOf(fleet: Fleet, siteId: string, env: Environment): string | null {
  const variable = fleet.sites.find(({ id }) => id === siteId)?.httpTokenEnv ?? null;
  return variable === null ? null : (env[variable] ?? null);
}

async function unwind(undo: (() => Promise<void> | void)[]): Promise<void> {
  // Everything is stopped even if something on the way fails; the first failure is told.
  const failures: unknown[] = [];
  for (let step = undo.pop(); step !== undefined; step = undo.pop()) {
    try {
      await step();
    } catch (error) {
      failures.push(error);
    }
  }
  if (failures.length > 0) throw failures[0];
}

function brokerStatus(source: MqttSource, nowMs: number): SourceStatus {
  const { broker, address, state, sinceMs, why, clients, messages, lastMessageMs } = source.status();
  const heard = lastMessageMs === null ? 'nothing has arrived yet' : `${messages} messages since the start, the last ${showDuration(nowMs - lastMessageMs)} ago`;
  const detail = state === 'up'
    ? `${broker === 'embedded' ? 'Embedded broker' : 'Connected to the broker'} at ${address}${clients === null ? '' : `, ${clients} devices connected`}: ${heard}`
    : `No connection to the broker at ${address}${why === null ? '' : `: ${why}`}; ${heard}`;
  return { name: broker === 'embedded' ? 'MQTT broker' : 'MQTT', state: state !== 'up' ? 'trouble' : lastMessageMs === null ? 'idle' : 'ok', sinceMs, detail };
}

function mailStatus(config: ServiceConfig, sender: Sender): SourceStatus {
  if (config.mail === null) return { name: 'Mail', state: 'trouble', sinceMs: null, detail: `${MAIL_NOT_SET_UP.charAt(0).toUpperCase()}${MAIL_NOT_SET_UP.slice(1)}.` };
  const { lastError, lastErrorMs, lastHandedOverMs } = sender.status();
  if (lastError !== null) return { name: 'Mail', state: 'trouble', sinceMs: lastErrorMs, detail: `Mail does not go out: ${lastError}` };
  return {
    name: 'Mail', state: lastHandedOverMs === null ? 'idle' : 'ok', sinceMs: lastHandedOverMs,
    detail: lastHandedOverMs === null ? `Through ${config.mail.host}:${config.mail.port}; nothing sent since the start` : `Through ${config.mail.host}:${config.mail.port}; last message handed over`,
  };
}

function storeStatus(store: Store, housekeeping: Housekeeping): SourceStatus {
  const { trouble: full } = store.space();
  if (full !== null) return { name: 'Store', state: 'trouble', sinceMs: null, detail: full };
  const { trouble, troubleMs, doneMs, sealedReadings, droppedReadings, checkedDays, faults } = housekeeping.status();
  if (trouble !== null) return { name: 'Store', state: 'trouble', sinceMs: troubleMs, detail: `The chores of the store were not all done: ${trouble}` };
  const [fault] = faults;
  if (fault !== undefined) {
    return {
      name: 'Store', state: 'trouble', sinceMs: fault.foundMs,
      detail: `${faults.length === 1 ? 'A sealed day is' : `${faults.length} sealed days are`} damaged on the disk, what they held cannot be shown (${fault.pointId ?? 'no point'}: ${fault.what}). Keep a copy of the store and restore a backup; tankbell check-store lists all.`,
    };
  }
  if (doneMs === null) return { name: 'Store', state: 'ok', sinceMs: null, detail: 'Takes readings; its chores begin half a minute after the start and are not done yet' };
  return { name: 'Store', state: 'ok', sinceMs: doneMs, detail: `Chores done; the last time ${sealedReadings} readings were sealed and ${droppedReadings} forgotten, and ${checkedDays} sealed days looked at again` };
}

function health(store: Store, engine: Engine, sender: Sender, nowMs: number): { ok: boolean; facts: Record<string, unknown> } {
  const { view } = engine;
  const trouble = view.trouble ?? store.space().trouble;
  const { oldestUnsentMs, lastError } = sender.status();
  const sinceCommitMs = nowMs - view.committedMs;
  const ok = trouble === null && sinceCommitMs < 90_000 && (oldestUnsentMs === null || nowMs - oldestUnsentMs < 300_000);
  return {
    ok,
    facts: {
      version, upFor: showDuration(nowMs - view.startedMs), lastCommitSeconds: Math.round(sinceCommitMs / 1000), store: trouble ?? 'ok',
      oldestUnsentPageSeconds: oldestUnsentMs === null ? null : Math.round((nowMs - oldestUnsentMs) / 1000), mail: lastError ?? 'ok',
    },
  };
}

function serviceEntry(atMs: number, text: string, detail: Record<string, unknown>): JournalEntry {
  return { atMs, kind: 'service', siteId: null, tankId: null, alarmId: null, by: 'tankbell', text, detail };
}

function sourceEntry(event: SourceEvent): JournalEntry {
  const lost = event.kind === 'session-lost' || event.kind === 'disconnected';
  return { atMs: event.atMs, kind: lost ? 'gap' : 'service', siteId: null, tankId: null, alarmId: null, by: 'tankbell', text: event.text, detail: { event: event.kind, who: event.who, topic: event.topic, count: event.count } };
}
