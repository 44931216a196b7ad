/**
 * Tells open pages that something changed (server-sent events). Commits come up to thousands a second: they are folded and sent at
 * most once a second. What changed is only named, never shown: the page asks for it with its own rights.
 */
import type { ServerResponse } from 'node:http';
import type { Clock } from '../clock.ts';
import { SECOND } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';
import type { EngineFace } from '../engine/contract.ts';

export interface LiveHub {
  /** Takes over the response. `stillAllowed` is asked now and then; when it says no the stream ends. `false`: too many listeners. */
  add(response: ServerResponse, stillAllowed: () => Promise<boolean>): boolean;
  stop(): void;
}

const MAX_LISTENERS = 300;
const TICK_MS = SECOND;
const ALIVE_TICKS = 15;
const RIGHTS_TICKS = 60;
/** A listener whose connection does not drain is cut off: it comes back by itself and renews. */
const MAX_BUFFERED_BYTES = 64 * 1024;

interface Listener {
  readonly response: ServerResponse;
  readonly stillAllowed: () => Promise<boolean>;
}

export function liveHub({ engine, fleet, clock }: { engine: EngineFace; fleet: () => Fleet; clock: Clock }): LiveHub {
  const listeners = new Set<Listener>();
  const pointIds = new Set<string>();
  const alarmTanks = new Set<string>();
  let ticks = 0;

  const unsubscribe = engine.onCommitted((change) => {
    if (listeners.size === 0) return;
    for (const id of change.pointIds) pointIds.add(id);
    for (const id of change.tankIds) alarmTanks.add(id);
  });

  const stopTicking = clock.every(TICK_MS, () => {
    ticks += 1;
    if (pointIds.size > 0 || alarmTanks.size > 0) {
      const data = JSON.stringify({ readings: tanksOf(pointIds, fleet()), alarms: [...alarmTanks] });
      pointIds.clear();
      alarmTanks.clear();
      send(`event: change\ndata: ${data}\n\n`);
    } else if (ticks % ALIVE_TICKS === 0) {
      send('event: alive\ndata: {}\n\n');
    }
    if (ticks % RIGHTS_TICKS === 0) for (const listener of listeners) void checkRights(listener);
  });

  function send(text: string): void {
    for (const listener of listeners) {
      if (listener.response.writableLength > MAX_BUFFERED_BYTES) drop(listener);
      else listener.response.write(text);
    }
  }

  async function checkRights(listener: Listener): Promise<void> {
    const allowed = await listener.stillAllowed().catch(() => false);
    if (!allowed) drop(listener);
  }

  function drop(listener: Listener): void {
    listeners.delete(listener);
    listener.response.end();
  }

  return {
    add(response, stillAllowed) {
      if (listeners.size >= MAX_LISTENERS) return false;
      const listener = { response, stillAllowed };
      response.writeHead(200, {
        'content-type': 'text/event-stream; charset=utf-8', 'cache-control': 'no-store', 'x-accel-buffering': 'no', 'x-content-type-options': 'nosniff',
      });
      // A page that lost the stream comes back after this many milliseconds.
      response.write('retry: 3000\nevent: alive\ndata: {}\n\n');
      listeners.add(listener);
      response.on('close', () => listeners.delete(listener));
      response.on('error', () => listeners.delete(listener));
      return true;
    },
    stop() {
      unsubscribe();
      stopTicking();
      for (const listener of listeners) drop(listener);
    },
  };
}

/** Tanks of the points; a point of a site concerns every tank there. */
function tanksOf(pointIds: ReadonlySet<string>, fleet: Fleet): readonly string[] {
  const tanks = new Set<string>();
  for (const point of fleet.points) {
    if (!pointIds.has(point.id)) continue;
    if (point.tankId !== null) tanks.add(point.tankId);
    else for (const tank of fleet.tanks) if (tank.siteId === point.siteId) tanks.add(tank.id);
  }
  return [...tanks];
}
