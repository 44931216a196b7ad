/** Small stand-ins for what surrounds a source: a fleet with a few points, an engine that commits when told to. */
import { loadFormats } from '../../adapters/load.ts';
import { makeRouter, type Router } from '../../adapters/router.ts';
import type { SourceEvent } from '../../adapters/source.ts';
import type { Delivery } from '../../src/domain/delivery.ts';
import type { Fleet, Point, Site } from '../../src/domain/fleet.ts';

export function point(id: string, topic: string, format = 'number', options: unknown = {}): Point {
  return {
    id, siteId: 'harbor-lobby', tankId: null, equipmentId: null, name: id, kind: 'temperature', place: 'display', unit: '°C',
    everyMs: 30_000, silentAfterMs: 300_000, keepMs: null, source: { topic, format, options },
  };
}

export function site(id: string, topics = `${id}/`): Site {
  return { id, clientId: 'client', name: id, timeZone: 'UTC', address: null, contacts: [], access: null, breaker: null, waterShutOff: null, topics, account: null, httpTokenEnv: null };
}

export function fleetOf(sites: readonly Site[], points: readonly Point[]): Fleet {
  return { clients: [], sites, tanks: [], equipment: [], points, ruleSettings: [], people: [], onCall: { steps: [], repeatAfterMs: null } };
}

export const topicA = 'harbor-lobby/reef/temperature';

export async function router(points: readonly Point[] = [point('lobby-reef/temperature', topicA)], sites: readonly Site[] = [site('harbor-lobby')]): Promise<Router> {
  return makeRouter(fleetOf(sites, points), await loadFormats());
}

/** Takes deliveries as the engine does, and commits them when told to. */
export class FakeEngine {
  readonly taken: Delivery[] = [];
  readonly events: SourceEvent[] = [];
  /** Takes nothing beyond this many uncommitted ones. */
  room = Number.POSITIVE_INFINITY;
  commitAtOnce = false;
  #open: Delivery[] = [];

  readonly deliver = (delivery: Delivery): boolean => {
    if (this.#open.length >= this.room) return false;
    this.taken.push(delivery);
    this.#open.push(delivery);
    if (this.commitAtOnce && this.#open.length === 1) setImmediate(() => this.commit());
    return true;
  };

  readonly onEvent = (event: SourceEvent): void => {
    this.events.push(event);
  };

  commit(): void {
    const batch = this.#open;
    this.#open = [];
    for (const delivery of batch) delivery.committed();
  }

  get values(): (number | boolean | string)[] {
    return this.taken.flatMap(({ samples }) => samples.map(({ value }) => value));
  }

  get reasons(): string[] {
    return this.taken.flatMap(({ refusals }) => refusals.map(({ reason }) => reason));
  }

  get unclaimed(): string[] {
    return this.taken.flatMap(({ unclaimed = [] }) => unclaimed.map(({ topic }) => topic));
  }

  saw(kind: SourceEvent['kind']): SourceEvent[] {
    return this.events.filter((event) => event.kind === kind);
  }
}
