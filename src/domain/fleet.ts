/**
 * What is installed where, and who looks after it. The fleet file (`src/config/`) is checked into these types once;
 * inside, nothing is checked again. Ids are unique in the whole fleet: a point is `tank/point`, a site's own point `site/point`.
 */
import type { Priority } from './alarm.ts';
import type { Kind } from './kinds.ts';

export interface Fleet {
  readonly clients: readonly Client[];
  readonly sites: readonly Site[];
  readonly tanks: readonly Tank[];
  readonly equipment: readonly Equipment[];
  readonly points: readonly Point[];
  readonly ruleSettings: readonly RuleSetting[];
  readonly people: readonly Person[];
  readonly onCall: OnCall;
}

export interface Client {
  readonly id: string;
  readonly name: string;
}

export interface Site {
  readonly id: string;
  readonly clientId: string;
  readonly name: string;
  /** IANA time zone, e.g. `America/Denver`. */
  readonly timeZone: string;
  readonly address: string | null;
  readonly contacts: readonly Contact[];
  /** How to get in, where the cabinet is. */
  readonly access: string | null;
  /** Where to switch the power off. */
  readonly breaker: string | null;
  /** Where to shut the water off. */
  readonly waterShutOff: string | null;
  /** Every MQTT topic of the site begins with this; its broker account can publish nowhere else. Ends in `/`. */
  readonly topics: string;
  /** Group of the site's Sparkplug gateways; their topics begin with `spBv1.0/group/`. Left out: it has none. */
  readonly sparkplugGroup?: string;
  /** Broker account of the site: user name, and the name of the environment variable that holds its password. */
  readonly account: { readonly user: string; readonly passwordEnv: string } | null;
  /** Local date of the next visit, `2026-03-14`. Left out: not known. */
  readonly nextVisit?: string;
  /** Name of the environment variable with the token of devices that post readings over HTTP. */
  readonly httpTokenEnv: string | null;
}

export interface Contact {
  readonly name: string;
  readonly phone: string;
}

export type Water = 'reef' | 'marine' | 'fresh' | 'cold';

export interface Tank {
  readonly id: string;
  readonly siteId: string;
  readonly name: string;
  readonly water: Water;
  readonly displayLitres: number;
  readonly sumpLitres: number;
}

export const equipmentKinds = [
  'heater', 'chiller', 'return-pump', 'circulation-pump', 'top-off-pump', 'top-off-reservoir', 'skimmer', 'light', 'fan', 'uv', 'other',
] as const;
export type EquipmentKind = (typeof equipmentKinds)[number];

export interface Equipment {
  /** `tank/equipment`. */
  readonly id: string;
  readonly tankId: string;
  readonly kind: EquipmentKind;
  readonly name: string;
  readonly nameplateWatts: number | null;
  /** Thermostat setting of a heater or chiller, °C. */
  readonly setpointC: number | null;
  /** Half-width of the thermostat's dead zone, K. */
  readonly bandK: number | null;
  /** Contents of a top-off reservoir when full, L. */
  readonly capacityLitres: number | null;
  /** Level reading of a full reservoir, mm. */
  readonly fullMm: number | null;
  /** The strip, outlet or breaker it hangs on. */
  readonly circuit: string | null;
}

/** `floor`: under the tank, where a leak sensor lies. */
export const places = ['display', 'sump', 'reservoir', 'room', 'floor', 'equipment'] as const;
export type Place = (typeof places)[number];

export interface Point {
  /** `tank/point` or `site/point`. */
  readonly id: string;
  readonly siteId: string;
  /** `null` for a point of the site itself (room temperature, supply voltage). */
  readonly tankId: string | null;
  readonly equipmentId: string | null;
  readonly name: string;
  readonly kind: Kind;
  readonly place: Place;
  /** Unit in which the source sends; converted at the border. `null`: the canonical unit, or the one named by the payload. */
  readonly unit: string | null;
  /** Expected time between readings. */
  readonly everyMs: number;
  /** `sent`: what the source promises ("ut" of SenML) replaces both times here as soon as it is heard. Left out: these count. */
  readonly cadence?: 'sent';
  /** A value older than this is not current any more, and the point is silent. */
  readonly silentAfterMs: number;
  /** Readings of days older than this are forgotten; `null`: kept for ever. */
  readonly keepMs: number | null;
  readonly source: PointSource | null;
}

export interface PointSource {
  /** The full MQTT topic. */
  readonly topic: string;
  /** Name of a file in `adapters/payloads/`. */
  readonly format: string;
  /** Options of that format, already checked by it. */
  readonly options: unknown;
}

/** What the fleet file says about a rule: a change to one that applies by itself, or one more. */
export interface RuleSetting {
  readonly tankId: string;
  readonly kind: string;
  /** Point or equipment id the rule is about; `null` where the kind needs none. */
  readonly subject: string | null;
  readonly enabled: boolean;
  readonly priority: Priority | null;
  readonly onDelayMs: number | null;
  readonly offDelayMs: number | null;
  /** Settings of the kind, already checked by it. */
  readonly settings: unknown;
}

export interface Person {
  readonly id: string;
  readonly name: string;
  readonly email: string;
  readonly phone: string | null;
  readonly timeZone: string;
  /** Pages of priority `high` wait for these hours: minutes after local midnight. */
  readonly dayStartMinute: number;
  readonly dayEndMinute: number;
}

export interface OnCall {
  /** In order of escalation; the first is paged at once. */
  readonly steps: readonly { readonly personId: string; readonly afterMs: number }[];
  /** After the last step, start again after this long while nobody has acknowledged; `null`: never. */
  readonly repeatAfterMs: number | null;
}
