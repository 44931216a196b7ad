/**
 * The blocks of the fleet file, key by key. Each block is checked by itself, so that a mistake in one hides none in another;
 * what ties blocks together (ids, topics, references) is checked in `fleet-file.ts`.
 * `meta.example` is what a message proposes when the key is missing or wrong.
 */
import { z } from 'zod';
import { priorities } from '../domain/alarm.ts';
import { SECOND } from '../domain/duration.ts';
import { equipmentKinds, places } from '../domain/fleet.ts';
import { celsius, duration, keeping, kelvin, litres, millimetres, watts } from './quantity.ts';
import { timeZoneFix } from './time-zone.ts';

const refuseUnless = (good: (text: string) => string | null) => (text: string, context: z.RefinementCtx<string>) => {
  const fix = good(text);
  if (fix !== null) context.addIssue({ code: 'custom', message: `"${text}" is not accepted here`, params: { fix } });
};

const text = () => z.string().trim().min(1);

const id = (example: string) =>
  z
    .string()
    .superRefine((value, context) => {
      if (/^[a-z0-9]+(-[a-z0-9]+)*$/.test(value) && value.length <= 60) return;
      const repaired = value.normalize('NFKD').toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-+|-+$/g, '').slice(0, 60);
      context.addIssue({
        code: 'custom',
        message: `"${value}" cannot be an id: ids are small letters a-z, digits and single hyphens, at most 60`,
        params: { fix: `write "id: ${repaired === '' ? example : repaired}"` },
      });
    });

const reference = (example: string, description: string) => text().meta({ example, description });
const entries = (example: string) => z.array(z.unknown()).meta({ example });

const timeZone = z
  .string()
  .superRefine((value, context) => {
    const fix = timeZoneFix(value);
    if (fix !== null) context.addIssue({ code: 'custom', message: `"${value}" is no time zone`, params: { fix } });
  })
  .meta({ example: 'America/Denver', description: 'IANA time zone' });

const phone = z
  .string()
  .superRefine((value, context) => {
    if (/^\+?[\d ().\/-]+(\s*(x|ext\.?)\s*\d+)?$/.test(value) && value.replace(/\D/g, '').length >= 5) return;
    context.addIssue({ code: 'custom', message: `"${value}" is no phone number`, params: { fix: 'write it with its country code, in quotes, like "+1 555 0100"' } });
  })
  .meta({ example: '"+1 555 0100"' });

export const environmentName = z
  .string()
  .superRefine((value, context) => {
    if (/^[A-Za-z_][A-Za-z0-9_]*$/.test(value)) return;
    // The value is not repeated: it may be the password itself.
    context.addIssue({ code: 'custom', message: 'this is not the name of an environment variable (letters, digits, underscores)', params: { fix: 'write only the name, like "passwordEnv: TANKBELL_LOBBY", and set the password in the environment' } });
  })
  .meta({ example: 'TANKBELL_LOBBY', description: 'name of the environment variable that holds the password' });

/** Addresses as in RFC 5321 without the rarities (quoted local parts, address literals). */
export const isMailAddress = (value: string): boolean =>
  /^[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?)+$/.test(value) && value.length <= 254;

const topics = z
  .string()
  .superRefine((value, context) => {
    const refuse = (message: string, fix: string) => context.addIssue({ code: 'custom', message, params: { fix } });
    if (/[+#\0]/.test(value)) return refuse(`"${value}" holds a wildcard`, 'write the plain beginning shared by every topic of the site, like "harbor-lobby/"');
    if (value.startsWith('$')) return refuse(`"${value}" begins with "$", which brokers keep for themselves`, 'begin with the name of the site, like "harbor-lobby/"');
    if (value !== '' && !value.endsWith('/')) return refuse(`"${value}" does not end in "/": it would let the site write into topics of others that begin alike`, `write "topics: ${value}/"`);
  })
  .meta({ example: 'harbor-lobby/', description: 'what every MQTT topic of the site begins with' });

/** Eclipse Sparkplug 3.0.0, chapter 4: no `+`, `/` or `#`; `STATE` is where hosts tell theirs. */
const sparkplugGroup = z
  .string()
  .superRefine((value, context) => {
    if (value.trim() !== '' && !/[+#/\0]/.test(value) && value !== 'STATE') return;
    context.addIssue({ code: 'custom', message: `"${value}" is no name of a Sparkplug group`, params: { fix: 'write the group as set in the gateways, without + # and /, like "sparkplugGroup: harbor"' } });
  })
  .meta({ example: 'harbor', description: "group of the site's Sparkplug gateways" });

const topic = z
  .string()
  .superRefine((value, context) => {
    const refuse = (message: string, fix: string) => context.addIssue({ code: 'custom', message, params: { fix } });
    if (value === '') return refuse('the topic is empty', 'write the full topic, like "harbor-lobby/reef/temperature"');
    if (/[+#]/.test(value)) return refuse(`"${value}" holds a wildcard: a point listens to one topic`, 'write the full topic, and one point for each');
    // Sparkplug names its gateways as people do.
    if (/[\0\s]/.test(value) && !/^spBv1\.0\/[^\0\r\n\t]+$/.test(value)) return refuse(`"${value}" holds a space`, 'write the topic exactly as the sensor publishes it, without spaces');
    if (value.endsWith('/')) return refuse(`"${value}" ends in "/"`, `write the full topic, like "${value}temperature"`);
    if (value.startsWith('$')) return refuse(`"${value}" begins with "$", which brokers keep for themselves`, 'write a topic that the sensor publishes');
  })
  .meta({ example: 'harbor-lobby/reef/temperature', description: 'the full MQTT topic' });

const calendarDay = z
  .string()
  .superRefine((value, context) => {
    const midnightMs = /^\d{4}-\d{2}-\d{2}$/.test(value) ? Date.parse(`${value}T00:00:00Z`) : Number.NaN;
    if (Number.isFinite(midnightMs) && new Date(midnightMs).toISOString().startsWith(value)) return;
    context.addIssue({ code: 'custom', message: `"${value}" is no day of the calendar`, params: { fix: 'write year, month and day with hyphens, like "nextVisit: 2026-03-14"' } });
  })
  .meta({ example: '2026-03-14', description: 'day of the next visit to the site' });

/** Minutes after midnight. */
const dayHours = z
  .string()
  .transform((value, context): { readonly startMinute: number; readonly endMinute: number } => {
    const refuse = (message: string, fix: string): never => {
      context.addIssue({ code: 'custom', message, params: { fix } });
      return z.NEVER;
    };
    const found = /^(\d{1,2}):(\d{2})\s*[-–]\s*(\d{1,2}):(\d{2})$/.exec(value.trim());
    if (found === null) return refuse(`"${value}" is no span of hours`, 'write two times of a 24-hour clock, like day: "07:00-21:00"');
    const [, startHour, startMin, endHour, endMin] = found.map(Number);
    const startMinute = minuteOfDay(startHour, startMin);
    const endMinute = minuteOfDay(endHour, endMin);
    if (startMinute === null || endMinute === null) return refuse(`"${value}" names an hour that does not exist`, 'write times from 00:00 to 24:00, like day: "07:00-21:00"');
    if (startMinute === endMinute) return refuse(`"${value}" is no time at all`, 'write two different times; "00:00-24:00" is any hour, "21:00-07:00" a night');
    return { startMinute, endMinute };
  })
  .meta({ example: '"07:00-21:00"', description: 'hours in which pages of priority "high" are sent' });

function minuteOfDay(hour: number | undefined, minute: number | undefined): number | null {
  if (hour === undefined || minute === undefined || minute > 59) return null;
  const total = hour * 60 + minute;
  return total <= 24 * 60 ? total : null;
}

export const fleetShapes = {
  fleet: z.strictObject({
    clients: entries('- { id: harbor-dental, name: …, sites: […] }'),
    people: entries('- { id: ana, name: …, email: …, timeZone: … }').optional(),
    onCall: z.unknown().optional(),
  }),
  client: z.strictObject({
    id: id('harbor-dental').meta({ example: 'harbor-dental' }),
    name: text().meta({ example: 'Harbor Dental' }),
    sites: entries('- { id: harbor-lobby, … }').optional(),
  }),
  site: z.strictObject({
    id: id('harbor-lobby').meta({ example: 'harbor-lobby' }),
    name: text().meta({ example: 'Harbor Dental, lobby' }),
    timeZone,
    address: text().optional().meta({ example: '12 Example Street, Exampleton' }),
    contacts: entries('- { name: Front desk, phone: "+1 555 0100" }').optional(),
    access: text().optional().meta({ example: 'Key at the front desk' }),
    breaker: text().optional().meta({ example: 'Utility room, panel B, breaker 14' }),
    waterShutOff: text().optional().meta({ example: 'Under the sink' }),
    topics: topics.optional().meta({ example: 'harbor-lobby/' }),
    sparkplugGroup: sparkplugGroup.optional(),
    nextVisit: calendarDay.optional(),
    account: z.unknown().optional().meta({ example: '{ user: harbor-lobby, passwordEnv: TANKBELL_HARBOR_LOBBY }' }),
    httpTokenEnv: environmentName.optional().meta({ example: 'TANKBELL_HARBOR_LOBBY_HTTP', description: 'name of the environment variable that holds the token of devices that post over HTTP' }),
    points: entries('- { id: room-temperature, … }').optional(),
    tanks: entries('- { id: lobby-reef, … }').optional(),
  }),
  contact: z.strictObject({ name: text().meta({ example: 'Front desk' }), phone }),
  account: z.strictObject({
    user: z.string().superRefine(refuseUnless((value) => (/^[\w.@-]+$/.test(value) ? null : 'write letters, digits and . _ - @ only, like "harbor-lobby"'))).meta({ example: 'harbor-lobby' }),
    passwordEnv: environmentName,
  }),
  tank: z.strictObject({
    id: id('lobby-reef').meta({ example: 'lobby-reef' }),
    name: text().meta({ example: 'Lobby reef' }),
    water: z.enum(['reef', 'marine', 'fresh', 'cold']).meta({ example: 'reef', description: 'reef, marine, fresh or cold' }),
    display: litres('240 gal', 1).meta({ example: '240 gal', description: 'volume of the display' }),
    sump: litres('60 gal', 0).optional().meta({ example: '60 gal' }),
    equipment: entries('- { id: heater-1, kind: heater, nameplate: 500 W }').optional(),
    points: entries('- { id: display-temperature, … }').optional(),
    rules: entries('- { kind: limit, subject: display-temperature, high: 27.5 }').optional(),
  }),
  equipment: z.strictObject({
    id: id('heater-1').meta({ example: 'heater-1' }),
    kind: z.enum(equipmentKinds).meta({ example: 'heater', description: `one of ${equipmentKinds.join(', ')}` }),
    name: text().optional().meta({ example: 'Heater 1' }),
    nameplate: watts('500 W').optional().meta({ example: '500 W' }),
    setpoint: celsius('25.5 °C').optional().meta({ example: '25.5 °C' }),
    band: kelvin('0.3 K').optional().meta({ example: '0.3 K' }),
    capacity: litres('60 L', 0.1).optional().meta({ example: '60 L' }),
    full: millimetres('400 mm').optional().meta({ example: '400 mm' }),
    circuit: text().optional().meta({ example: 'Strip A, outlet 1' }),
  }),
  point: z.strictObject({
    id: id('display-temperature').meta({ example: 'display-temperature' }),
    name: text().optional().meta({ example: 'Display temperature' }),
    kind: reference('temperature', 'the quantity that is measured'),
    place: z.enum(places).optional().meta({ example: 'display' }),
    equipment: reference('heater-1', 'id of a piece of equipment of the tank').optional().meta({ example: 'heater-1' }),
    unit: text().optional().meta({ example: '°C' }),
    every: duration('30s', SECOND / 10).meta({ example: '30s', description: 'expected time between readings' }),
    cadence: z.enum(['declared', 'sent']).optional().meta({ example: 'sent', description: 'declared, or sent' }),
    silentAfter: duration('10m', SECOND).optional().meta({ example: '10m' }),
    keep: keeping('5y').optional().meta({ example: '5y' }),
    source: z.unknown().optional().meta({ example: '{ topic: harbor-lobby/reef/temperature, format: number }' }),
  }),
  /** Keys beside these are the options of the format. */
  source: z.looseObject({ topic, format: reference('number', 'payload format') }),
  /** Keys beside these are the settings of the rule kind. */
  rule: z.looseObject({
    kind: reference('limit', 'rule kind'),
    subject: text().optional().meta({ example: 'display-temperature' }),
    enabled: z.boolean().optional().meta({ example: 'true' }),
    priority: z.enum(priorities).optional().meta({ example: 'urgent' }),
    onDelay: duration('10m', 0).optional().meta({ example: '10m' }),
    offDelay: duration('5m', 0).optional().meta({ example: '5m' }),
  }),
  person: z.strictObject({
    id: id('ana').meta({ example: 'ana' }),
    name: text().meta({ example: 'Ana Example' }),
    email: z
      .string()
      .superRefine((value, context) => {
        if (!isMailAddress(value)) context.addIssue({ code: 'custom', message: `"${value}" is no e-mail address`, params: { fix: 'write one address, like "ana@example.com"' } });
      })
      .meta({ example: 'ana@example.com', description: 'where pages are sent' }),
    phone: phone.optional().meta({ example: '"+1 555 0101"' }),
    timeZone,
    day: dayHours.optional().meta({ example: '"07:00-21:00"' }),
  }),
  onCall: z.strictObject({
    steps: entries('- { person: ana }'),
    repeatAfter: duration('30m', 60 * SECOND).optional().meta({ example: '30m' }),
  }),
  step: z.strictObject({
    person: reference('ana', 'id of a person'),
    after: duration('5m', 0).optional().meta({ example: '5m' }),
  }),
} as const;
