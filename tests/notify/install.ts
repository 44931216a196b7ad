/** One installed tank in trouble (invented), and the people who look after it. */
import { z } from 'zod';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Client, Equipment, Fleet, Person, Point, Site, Tank } from '../../src/domain/fleet.ts';
import type { OutboxPage, Page } from '../../src/domain/page.ts';
import { type Rule, defineRule } from '../../src/rules/contract.ts';
import type { PageFacts } from '../../src/notify/facts.ts';

/** 02:10 on a Tuesday in Denver. */
export const nowMs = Date.parse('2026-11-24T09:10:00Z');

export const client: Client = { id: 'harbor', name: 'Harbor Dental (invented)' };

export const site: Site = {
  id: 'harbor-main', clientId: 'harbor', name: 'Main Street lobby', timeZone: 'America/Denver', address: '12 Example Street, Sampletown',
  contacts: [{ name: 'Night guard', phone: '+1 555 0101' }, { name: 'Office manager', phone: '+1 555 0102' }],
  access: 'Side door, key safe by the meter; cabinet opens to the left', breaker: 'Panel B in the store room, breaker 14',
  waterShutOff: 'Under the sink in the store room', topics: 'harbor/', account: null, httpTokenEnv: null,
};

export const tank: Tank = { id: 'lobby-reef', siteId: 'harbor-main', name: 'Lobby reef', water: 'reef', displayLitres: 850, sumpLitres: 150 };

export const heater: Equipment = {
  id: 'lobby-reef/heater-1', tankId: 'lobby-reef', kind: 'heater', name: 'Heater 1', nameplateWatts: 300, setpointC: 25.5, bandK: 0.3,
  capacityLitres: null, fullMm: null, circuit: 'strip A, outlet 3',
};

const point = (id: string, name: string, kind: Point['kind'], equipmentId: string | null): Point => ({
  id: `lobby-reef/${id}`, siteId: 'harbor-main', tankId: 'lobby-reef', equipmentId, name, kind, place: 'display', unit: null,
  everyMs: 30 * SECOND, silentAfterMs: 5 * MINUTE, keepMs: null, source: null,
});
export const waterPoint = point('water', 'Water temperature', 'temperature', null);
export const powerPoint = point('heater-1-power', 'Heater 1 power', 'power', heater.id);

export const ana: Person = { id: 'ana', name: 'Ana Brightwater', email: 'ana@example.invalid', phone: null, timeZone: 'America/Denver', dayStartMinute: 420, dayEndMinute: 1200 };
export const ben: Person = { id: 'ben', name: 'Ben Møller', email: 'ben@example.invalid', phone: null, timeZone: 'America/Denver', dayStartMinute: 420, dayEndMinute: 1200 };

export const fleet: Fleet = {
  clients: [client], sites: [site], tanks: [tank], equipment: [heater], points: [waterPoint, powerPoint], ruleSettings: [], people: [ana, ben],
  onCall: { steps: [{ personId: 'ana', afterMs: 0 }, { personId: 'ben', afterMs: 5 * MINUTE }], repeatAfterMs: 30 * MINUTE },
};

export const firstChecks = [
  'Before you reach in: switch the heater off at the breaker, with dry hands.',
  'Unplug Heater 1 and watch its power fall to zero.',
  'If the water is above 29 °C, cool slowly: no more than 1 K an hour (common practice).',
];

export const rule: Rule = {
  id: 'lobby-reef/heater-stuck-on/heater-1',
  kind: defineRule<Record<string, never>, null>({
    kind: 'heater-stuck-on', watchesFor: 'a heater that does not switch off', settings: z.object({}), state: z.null(), initial: null,
    policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 0 }, apply: () => [], step: (state) => ({ state, verdict: { state: 'clear' } }),
    firstChecks: () => firstChecks,
  }),
  title: 'Heater 1 stuck on',
  facts: { tank, site, equipment: [heater], points: [waterPoint, powerPoint], neighbours: { equipment: [], points: [] } },
  subject: heater.id,
  roles: new Map([['power', powerPoint], ['water', waterPoint]]),
  equipment: heater, missing: null, settings: {}, policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 0 },
};

export const alarm: Alarm = {
  id: 12, ruleId: rule.id, ruleKind: 'heater-stuck-on', tankId: tank.id, siteId: site.id, title: rule.title,
  policy: { priority: 'urgent', onDelayMs: 0, offDelayMs: 0 }, state: 'unacknowledged', beganMs: nowMs - 6 * MINUTE, openedMs: nowMs,
  acknowledgedMs: null, acknowledgedBy: null, returnedMs: null, closedMs: null,
  summary: 'drawing 296 W for 6 min while the water is at 28.6 °C, 2.8 K above the 25.8 °C where it should have switched off',
  evidence: [
    { label: 'Heater 1 power', value: 296.2, kind: 'power', atMs: nowMs - 20 * SECOND },
    { label: 'Water', value: 28.61, kind: 'temperature', atMs: nowMs - 25 * SECOND },
    { label: 'Setpoint and band', value: '25.5 °C ± 0.3 K' },
    { label: 'Warming', value: 1.23456, },
  ],
  escalation: { nextStep: 1, dueMs: nowMs + 5 * MINUTE, paged: ['ana'] },
  cause: null,
};

export const page: Page = { id: '12-0-ana', alarmId: 12, personId: 'ana', reason: 'opened', createdMs: nowMs };

export const inOutbox = (one: Page, rest: Partial<OutboxPage> = {}): OutboxPage => ({
  ...one, state: 'claimed', attempts: 1, nextTryMs: one.createdMs, handedOverMs: null, lastError: null, ...rest,
});

export const facts: PageFacts = {
  page, person: ana, alarm, tank, site, client, equipment: heater, firstChecks,
  latest: [
    { pointName: 'Heater 1 power', kind: 'power', value: 296.2, atMs: nowMs - 20 * SECOND, current: true, offlineWhy: null },
    { pointName: 'Water temperature', kind: 'temperature', value: 28.61, atMs: nowMs - 25 * SECOND, current: true, offlineWhy: null },
  ],
  onCall: { paged: ['Ana Brightwater'], next: { personId: 'ben', name: 'Ben Møller', atMs: nowMs + 5 * MINUTE }, acknowledgedBy: null },
  explains: [],
  threadRoot: null, lateWhy: null,
  links: { acknowledge: { url: 'https://bell.example.invalid/acknowledge/t0k-3n_', expiresMs: nowMs + 72 * 60 * MINUTE }, alarm: 'https://bell.example.invalid/alarms/12' },
  nowMs, notice: null,
};
