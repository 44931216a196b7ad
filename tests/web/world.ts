/** An invented fleet with history and alarms in every state, behind a running web: what the tests of the web look at. */
import { z } from 'zod';
import { type KeptMetric, writeKept } from '../../adapters/sparkplug-kept.ts';
import type { Clock } from '../../src/clock.ts';
import type { Alarm, AlarmState, AlarmStatus, BaseState, Priority } from '../../src/domain/alarm.ts';
import { DAY, HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Equipment, Fleet, Point, Site, Tank } from '../../src/domain/fleet.ts';
import type { JournalEntry } from '../../src/domain/journal.ts';
import { Quality } from '../../src/domain/reading.ts';
import { makeLogger } from '../../src/log.ts';
import { type Rule, defineRule } from '../../src/rules/contract.ts';
import type { ImportRequest } from '../../src/engine/import-contract.ts';
import { importDesk } from '../../src/engine/import-desk.ts';
import type { ClaimOutcome, ClaimRequest, FleetOutcome } from '../../src/engine/claim-contract.ts';
import type { AckLink, WebOptions } from '../../src/web/options.ts';
import { hashPassword } from '../../src/web/passwords.ts';
import { FakeEngine, FakeStore } from './fakes.ts';

export const LOGIN = { name: 'pat', password: 'correct horse tank' };
export const GOOD_TOKEN = 'good-token-of-ada';

/** Hashing takes its time by design: once is enough. */
const loginHash = hashPassword(LOGIN.password);

export interface World {
  readonly options: WebOptions;
  readonly store: FakeStore;
  readonly engine: FakeEngine;
  readonly imports: ImportRequest[];
  readonly claims: ClaimRequest[];
  /** What the desk answers next. */
  readonly reloads: { next: FleetOutcome; claim: (request: ClaimRequest) => ClaimOutcome };
  fleet: Fleet;
}

export async function makeWorld(clock: Clock, change: (fleet: Fleet) => Fleet = (fleet) => fleet): Promise<World> {
  const store = new FakeStore();
  const engine = new FakeEngine(store, clock);
  const fleet = change(inventedFleet);
  const rules = fleet.tanks.flatMap((tank) => rulesOf(tank, fleet));
  const imports: ImportRequest[] = [];
  const claims: ClaimRequest[] = [];
  const reloads: World['reloads'] = {
    next: { outcome: 'taken', changes: 2 },
    claim: (request) => ({ outcome: 'claimed', pointId: `${request.ownerId}/display-temperature`, stored: 17, unreadable: 0 }),
  };
  await store.putAccount({ name: LOGIN.name, passwordHash: await loginHash, createdMs: clock.now(), personId: 'ada' });
  seedHistory(store, fleet, clock.now());
  await seedAlarms(store, engine, rules, clock.now());
  const desk = importDesk({
    engine, clock, log: makeLogger('silent', () => clock.now()), fleet: () => world.fleet,
    store: {
      addHistory: (history) => store.addHistory(history), appendJournal: (entries) => store.appendJournal(entries), readings: (series, fromMs, toMs) => store.readings(series, fromMs, toMs),
      importMemory: (key, tankId) => store.importMemory(key, tankId), rememberImport: (memory) => store.rememberImport(memory),
      seriesFor: async (pointIds) => new Map(pointIds.map((id) => [id, store.seriesFor(id)])),
    },
  });
  const world: World = {
    store, engine, imports, claims, reloads, fleet,
    options: {
      host: '127.0.0.1', port: 0, publicUrl: 'http://127.0.0.1', notice: 'Invented data: no such clients, sites or tanks exist.',
      fleet: () => world.fleet,
      rules: () => rules,
      engine, store, rawHistory: store,
      desk: {
        reload: async () => reloads.next,
        claim: async (request) => {
          claims.push(request);
          return reloads.claim(request);
        },
        calibrate: async (calibration) => {
          engine.calibrationRows.push(calibration);
        },
      },
      ackLinks: { verify: (token) => verify(token) },
      imports: {
        ...desk,
        start(request, rejected) {
          imports.push(request);
          return desk.start(request, rejected);
        },
      },
      sources: () => [
        { name: 'broker (embedded, port 1883)', state: 'ok', sinceMs: clock.now() - 3 * DAY, detail: '3 clients connected, 41 messages in the last minute' },
        { name: 'mail server mail.example.invalid:587', state: 'trouble', sinceMs: clock.now() - 20 * MINUTE, detail: 'connection refused, 2 pages wait' },
      ],
      health: () => ({ ok: engine.trouble === null, facts: { queue: 0 } }),
      clock,
      log: makeLogger('silent', () => clock.now()),
    },
  };
  return world;
}

function verify(token: string): AckLink {
  if (token === GOOD_TOKEN) return { ok: true, alarmId: 1, personId: 'ada' };
  if (token === 'gone-token') return { ok: true, alarmId: 1, personId: 'nobody' };
  return { ok: false, why: token.startsWith('old') ? 'expired' : 'invalid' };
}

const site = (id: string, clientId: string, name: string, timeZone: string): Site => ({
  id, clientId, name, timeZone, address: '12 Example Street, Springfield (invented)',
  contacts: [{ name: 'Front desk (invented)', phone: '+1 555 0142' }, { name: 'Building engineer (invented)', phone: '+1 555 0143' }],
  access: 'Key box left of the service door; cabinet under the tank opens from the right.', breaker: 'Panel B in the corridor, circuits 7 and 9', waterShutOff: null,
  topics: `sites/${id}/`, account: null, httpTokenEnv: null,
});

const tank = (id: string, siteId: string, name: string, water: Tank['water'], displayLitres: number): Tank => ({ id, siteId, name, water, displayLitres, sumpLitres: Math.round(displayLitres / 5) });

const equipment = (tankId: string, id: string, kind: Equipment['kind'], name: string, facts: Partial<Equipment> = {}): Equipment => ({
  id: `${tankId}/${id}`, tankId, kind, name, nameplateWatts: null, setpointC: null, bandK: null, capacityLitres: null, fullMm: null, circuit: null, ...facts,
});

const point = (owner: Tank, id: string, name: string, kind: Point['kind'], place: Point['place'], facts: Partial<Point> = {}): Point => ({
  id: `${owner.id}/${id}`, siteId: owner.siteId, tankId: owner.id, equipmentId: null, name, kind, place, unit: null, everyMs: MINUTE, silentAfterMs: 10 * MINUTE, keepMs: null, source: null, ...facts,
});

const lobby = tank('lobby', 'tower', 'Lobby reef (invented)', 'reef', 1200);
const cafe = tank('cafe', 'tower', 'Café cichlids (invented)', 'fresh', 450);
const ward = tank('ward', 'clinic', 'Waiting room (invented)', 'marine', 640);
const axolotl = tank('axolotl', 'clinic', 'Cold corner (invented)', 'cold', 180);
const bar = tank('bar', 'grill', 'Bar wall with a long name that has to break somewhere (invented)', 'marine', 2300);
const host = tank('host', 'grill', 'Host stand (invented)', 'fresh', 150);

const pointsOf = (owner: Tank): Point[] => [
  point(owner, 'display-temperature', 'Display temperature', 'temperature', 'display'),
  point(owner, 'reservoir-fill', 'Reservoir', 'fill', 'reservoir'),
  point(owner, 'heater-power', 'Heater 1 power', 'power', 'equipment', { equipmentId: `${owner.id}/heater-1` }),
  ...(owner.water === 'reef' || owner.water === 'marine' ? [point(owner, 'conductivity', 'Conductivity', 'conductivity', 'sump')] : []),
  point(owner, 'return-pump', 'Return pump', 'switch', 'equipment', { equipmentId: `${owner.id}/return-pump` }),
];

const tanks = [lobby, cafe, ward, axolotl, bar, host];

const inventedFleet: Fleet = {
  clients: [{ id: 'north', name: 'Northwind Tower (invented)' }, { id: 'harbour', name: 'Harbour Clinic (invented)' }, { id: 'ember', name: 'Ember Grill (invented)' }],
  sites: [site('tower', 'north', 'Main lobby', 'America/Denver'), site('clinic', 'harbour', 'First floor', 'America/Chicago'), site('grill', 'ember', 'Dining room', 'America/Denver')],
  tanks,
  equipment: tanks.flatMap((owner) => [
    equipment(owner.id, 'heater-1', 'heater', 'Heater 1', { nameplateWatts: 300, setpointC: 25, bandK: 0.5, circuit: 'strip A, outlet 2' }),
    equipment(owner.id, 'return-pump', 'return-pump', 'Return pump', { nameplateWatts: 65, circuit: 'strip A, outlet 1' }),
    equipment(owner.id, 'reservoir', 'top-off-reservoir', 'Top-off reservoir', { capacityLitres: 60 }),
  ]),
  points: tanks.flatMap(pointsOf),
  ruleSettings: [],
  people: [{ id: 'ada', name: 'Ada Example', email: 'ada@example.invalid', phone: '+1 555 0101', timeZone: 'America/Denver', dayStartMinute: 420, dayEndMinute: 1320 }],
  onCall: { steps: [{ personId: 'ada', afterMs: 0 }], repeatAfterMs: null },
};

const anything = z.unknown();
const firstChecks = (): readonly string[] => [
  'Dry your hands and switch the heater off at the breaker before reaching into the water. Salt water and mains kill.',
  'Read a second thermometer before you believe the first.',
  'Open the lid for evaporation; never add ice to the display.',
];
const kindOf = (kind: string, priority: Priority) => defineRule({
  kind, watchesFor: `watches for ${kind}`, settings: anything, state: anything, initial: null, policy: { priority, onDelayMs: MINUTE, offDelayMs: MINUTE },
  apply: () => [], step: (state) => ({ state, verdict: { state: 'clear' } }), firstChecks,
});
const limitKind = kindOf('limit', 'urgent');
const heaterKind = kindOf('heater-stuck-on', 'urgent');
const reservoirKind = kindOf('reservoir-empty', 'high');

function rulesOf(owner: Tank, fleet: Fleet): Rule[] {
  const homeSite = fleet.sites.find((one) => one.id === owner.siteId);
  if (homeSite === undefined) throw new Error(`no site ${owner.siteId}`);
  const points = fleet.points.filter((one) => one.tankId === owner.id);
  const facts = { tank: owner, site: homeSite, equipment: fleet.equipment.filter((one) => one.tankId === owner.id), points, neighbours: { equipment: [], points: [] } };
  const by = (suffix: string): [string, Point][] => points.filter((one) => one.id.endsWith(`/${suffix}`)).map((one) => ['value', one]);
  const rule = (kind: Rule['kind'], subject: string, title: string, roles: [string, Point][], settings: unknown, missing: string | null = null): Rule => ({
    id: `${owner.id}/${kind.kind}/${subject}`, kind, title, facts, subject: `${owner.id}/${subject}`, roles: new Map(roles), equipment: null, missing, settings, policy: kind.policy,
  });
  return [
    rule(limitKind, 'display-temperature', 'Display temperature out of limits', by('display-temperature'), owner.water === 'cold' ? { low: 14, high: 20 } : { low: 23, high: 28 }),
    rule(heaterKind, 'heater-1', 'Heater 1 stuck on', [...by('heater-power'), ...by('display-temperature').map(([, one]): [string, Point] => ['water', one])], {}),
    rule(reservoirKind, 'reservoir', 'Top-off reservoir running low', by('reservoir-fill'), {}),
    rule(kindOf('chiller-short-cycling', 'high'), 'chiller', 'Chiller short-cycling', [], {}, 'no chiller with a power point'),
  ];
}

/** A slow wave, a fault at the end for some; one silent point; a gap two hours long. */
function seedHistory(store: FakeStore, fleet: Fleet, nowMs: number): void {
  for (const one of fleet.points) {
    const hot = one.id === 'lobby/display-temperature';
    const silent = one.id === 'ward/display-temperature';
    const endMs = silent ? nowMs - 3 * HOUR : nowMs - 20 * SECOND;
    const values: [number, number, number?][] = [];
    for (let atMs = endMs - 2 * DAY; atMs <= endMs; atMs += 2 * MINUTE) {
      const hoursAgo = (nowMs - atMs) / HOUR;
      if (one.id === 'lobby/conductivity' && hoursAgo > 8 && hoursAgo < 10) continue;
      values.push([atMs, valueAt(one, atMs) + (hot && hoursAgo < 2 ? (2 - hoursAgo) * 2.2 : 0)]);
    }
    store.addReadings(one.id, values);
    if (hot) store.addReadings(one.id, [[nowMs - 5 * HOUR + 1, 85, Quality.outOfRange]]);
  }
}

function valueAt(one: Point, atMs: number): number {
  const day = Math.sin((atMs / DAY) * 2 * Math.PI);
  const cycle = (atMs / (40 * MINUTE)) % 1;
  switch (one.kind) {
    case 'temperature': return (one.tankId === 'axolotl' ? 17 : 25.2) + 0.5 * day;
    case 'fill': return 20 + 60 * (1 - ((atMs / DAY) % 7) / 7);
    case 'power': return cycle < 0.3 ? 297 : 0.4;
    case 'conductivity': return 53 + 0.2 * day;
    default: return 1;
  }
}

interface AlarmFacts {
  readonly id: number;
  readonly rule: Rule;
  readonly state: AlarmState;
  readonly base?: BaseState;
  readonly agoMs: number;
  readonly lastedMs?: number;
  readonly summary: string;
}

async function seedAlarms(store: FakeStore, engine: FakeEngine, rules: readonly Rule[], nowMs: number): Promise<void> {
  const ruleOf = (id: string): Rule => {
    const found = rules.find((one) => one.id === id);
    if (found === undefined) throw new Error(`no rule ${id}`);
    return found;
  };
  for (const rule of rules) store.statusRows.set(rule.id, statusOf(rule, nowMs));
  const add = (facts: AlarmFacts): void => {
    const alarm = alarmOf(facts, nowMs);
    store.alarmRows.set(alarm.id, alarm);
    if (alarm.closedMs !== null) return;
    const base = facts.base ?? 'unacknowledged';
    const hold = facts.state === 'shelved' ? { kind: 'shelved' as const, by: 'Ada Example', why: 'new heater arrives tomorrow', sinceMs: nowMs - HOUR, untilMs: nowMs + 7 * HOUR } : null;
    store.statusRows.set(facts.rule.id, { ...statusOf(facts.rule, nowMs), condition: 'breached', verdict: 'breached', verdictSinceMs: alarm.beganMs, base, hold, alarmId: alarm.id });
  };
  add({ id: 1, rule: ruleOf('lobby/limit/display-temperature'), state: 'unacknowledged', agoMs: 47 * MINUTE, summary: '29.4 °C for 47 min, limit 28.0 °C' });
  add({ id: 2, rule: ruleOf('lobby/heater-stuck-on/heater-1'), state: 'unacknowledged', agoMs: 30 * MINUTE, summary: 'draws 297 W while the water is 3.9 K above its setpoint' });
  add({ id: 3, rule: ruleOf('bar/reservoir-empty/reservoir'), state: 'acknowledged', base: 'acknowledged', agoMs: 5 * HOUR, summary: 'about 0.8 days left at 9.5 L a day' });
  add({ id: 4, rule: ruleOf('cafe/limit/display-temperature'), state: 'returned', base: 'returned', agoMs: 9 * HOUR, summary: '22.7 °C for 12 min, limit 23.0 °C' });
  add({ id: 5, rule: ruleOf('host/heater-stuck-on/heater-1'), state: 'shelved', agoMs: 26 * HOUR, summary: 'draws 297 W while the water is 0.9 K above its setpoint' });
  add({ id: 6, rule: ruleOf('lobby/reservoir-empty/reservoir'), state: 'normal', agoMs: 30 * HOUR, lastedMs: 3 * HOUR, summary: 'reservoir at 4 %' });
  const unknown = ruleOf('ward/limit/display-temperature');
  store.statusRows.set(unknown.id, { ...statusOf(unknown, nowMs), verdict: 'unknown', unknownWhy: 'nothing received from Display temperature for 3 h', verdictSinceMs: nowMs - 170 * MINUTE });
  engine.verdicts.set(unknown.id, { state: 'unknown', why: 'nothing received from Display temperature for 3 h' });
  const entry = (agoMs: number, kind: JournalEntry['kind'], alarmId: number | null, by: string, sentence: string): JournalEntry => ({
    atMs: nowMs - agoMs, kind, siteId: 'tower', tankId: 'lobby', alarmId, by, text: sentence, detail: {},
  });
  await store.appendJournal([
    entry(30 * HOUR, 'alarm', 6, 'tankbell', 'Top-off reservoir running low opened: reservoir at 4 %.'),
    entry(3 * DAY, 'service', null, 'tankbell', 'Started.'),
    entry(47 * MINUTE, 'alarm', 1, 'tankbell', 'Display temperature out of limits opened: 29.4 °C for 1 min, limit 28.0 °C.'),
    entry(46 * MINUTE, 'page', 1, 'tankbell', 'Ada Example is called.'),
    entry(45 * MINUTE, 'delivery', 1, 'tankbell', 'Message to Ada Example handed to the mail server.'),
  ]);
  store.pageRows.push(
    { id: '1/0/ada/opened', alarmId: 1, personId: 'ada', reason: 'opened', createdMs: nowMs - 46 * MINUTE, state: 'handed-over', attempts: 1, nextTryMs: nowMs, handedOverMs: nowMs - 45 * MINUTE, lastError: null },
    { id: '1/1/ada/repeated', alarmId: 1, personId: 'ada', reason: 'repeated', createdMs: nowMs - 16 * MINUTE, state: 'queued', attempts: 2, nextTryMs: nowMs + MINUTE, handedOverMs: null, lastError: 'connection refused' },
  );
  const message = (topic: string, agoMs: number, text: string | Uint8Array) => ({ topic, siteId: 'tower', arrivedMs: nowMs - agoMs, bytes: typeof text === 'string' ? new TextEncoder().encode(text) : text });
  const unclaimed = (topic: string, texts: readonly (string | Uint8Array)[], partial = false): void => {
    store.unclaimedRows.set(topic, {
      source: { topic, siteId: 'tower', partial, firstMs: nowMs - texts.length * 31 * SECOND, lastMs: nowMs - 31 * SECOND, messages: texts.length },
      messages: texts.map((text, index) => message(topic, (texts.length - index) * 31 * SECOND, text)),
    });
  };
  unclaimed('sites/tower/lobby/sump_temp', ['77.9', '78.1', '78.0', '<b>warm</b>', '78.2']);
  unclaimed('sites/tower/strip', [0, 1, 2].map((n) => JSON.stringify({ ts: Math.round((nowMs - (3 - n) * 31 * SECOND) / 1000), outlets: [{ watts: 290 + n }, { watts: 0 }], rssi: -61 })));
  unclaimed('sites/tower/picture', ['\u0000binary']);
  unclaimed('sites/tower/gateway', [0, 1, 2].map((n) => JSON.stringify([{ bn: 'urn:dev:ow:10e2073a01080063:', n: 'sump_temp', u: 'Cel', v: 25.1 + n / 4 }, { n: 'cond', u: 'S/m', v: 5.3 }])));
  const metrics = (n: number): KeptMetric[] => [
    { name: 'Plant room/Return manifold/Water temperature after the heat exchanger', datatype: 10, timestampMs: nowMs - (3 - n) * 31 * SECOND, isHistorical: false, raw: { type: 'double', value: 25.5 + n / 8 } },
    ...(n === 0 ? [{ name: 'Top-off/Float', datatype: 11, timestampMs: nowMs - 3 * 31 * SECOND, isHistorical: false, raw: { type: 'boolean' as const, value: true } }] : []),
  ];
  unclaimed('spBv1.0/tower/plant room/skid', [0, 1, 2].flatMap((n) => writeKept(metrics(n))));
  store.refusalRows.push(
    { source: 'sites/tower/lobby/temp', pointId: 'lobby/display-temperature', reason: '"n/a" is no number; send a plain number such as 25.4', excerpt: 'n/a', count: 12, lastMs: nowMs - 4 * MINUTE },
    { source: 'sites/tower/lobby/unknown-probe', pointId: null, reason: 'no point claims this topic; add it to the fleet file', excerpt: '{"t":<b>25.1</b>}', count: 3100, lastMs: nowMs - 9 * SECOND },
  );
}

const statusOf = (rule: Rule, nowMs: number): AlarmStatus => ({
  ruleId: rule.id, condition: 'clear', verdict: rule.missing === null ? 'clear' : 'unknown', unknownWhy: rule.missing, lastKnown: 'clear', verdictSinceMs: nowMs - DAY, breach: null, dueMs: null, heldBackMs: null, base: 'normal', hold: null, alarmId: null,
});

function alarmOf({ id, rule, state, agoMs, lastedMs, summary }: AlarmFacts, nowMs: number): Alarm {
  const beganMs = nowMs - agoMs;
  const acknowledged = state === 'acknowledged' || state === 'normal';
  const returnedMs = lastedMs !== undefined ? beganMs + lastedMs : state === 'returned' ? nowMs - 8 * HOUR : null;
  return {
    id, ruleId: rule.id, ruleKind: rule.kind.kind, tankId: rule.facts.tank.id, siteId: rule.facts.site.id, title: rule.title, policy: rule.policy, state,
    beganMs, openedMs: beganMs + MINUTE, acknowledgedMs: acknowledged ? beganMs + 10 * MINUTE : null, acknowledgedBy: acknowledged ? 'Ada Example' : null,
    returnedMs, closedMs: state === 'normal' ? returnedMs : null, summary,
    evidence: [
      { label: 'Display temperature', value: 29.4, kind: 'temperature', atMs: nowMs - MINUTE },
      { label: 'High limit', value: 28, kind: 'temperature' },
      { label: 'How it is known', value: 'measured in the display, every minute' },
    ],
    escalation: { nextStep: 1, dueMs: null, paged: ['ada'] },
    cause: null,
  };
}
