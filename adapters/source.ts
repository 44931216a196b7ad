/** What every source of live messages shows of itself: its state for the screens, its events for the journal. */

import type { BrokerAccount } from './accounts.ts';

export interface MqttSource {
  status(): SourceStatus;
  /** The fleet, and with it the router, has changed: lets in what is new, and no longer what is gone. */
  fleetChanged(accounts: readonly BrokerAccount[]): void;
  /** Takes nothing in any more, waits a moment for what is under way to be committed and acknowledged, then disconnects. */
  stop(): Promise<void>;
}

export interface SourceStatus {
  readonly broker: 'embedded' | 'external';
  /** `mqtts://broker.example.com:8883`; never with a password in it. */
  readonly address: string;
  readonly state: 'up' | 'down' | 'stopped';
  readonly sinceMs: number;
  /** Why it is down, in words. */
  readonly why: string | null;
  /** Devices connected (embedded broker only). */
  readonly clients: number | null;
  readonly messages: number;
  readonly lastMessageMs: number | null;
  /** Retained deliveries: old values, not taken as readings. */
  readonly retainedIgnored: number;
  /** Messages at QoS 0 lost because the queue was full. */
  readonly droppedQos0: number;
  /** Taken by the engine, not yet committed. */
  readonly underWay: number;
  /** Waiting for room in the engine's queue. */
  readonly waiting: number;
}

export type SourceEventKind =
  | 'connected' | 'disconnected' | 'session-new' | 'session-lost' | 'subscribe-refused'
  | 'client-connected' | 'client-gone' | 'login-refused' | 'publish-refused' | 'connection-refused';

/** Something worth a journal row. Repetitions of the same are folded (`event-fold.ts`), so a device gone mad fills nothing. */
export interface SourceEvent {
  readonly kind: SourceEventKind;
  readonly atMs: number;
  /** Account, client id or address it is about; at most 120 characters. */
  readonly who: string | null;
  /** At most 200 characters. */
  readonly topic: string | null;
  /** One plain sentence. */
  readonly text: string;
  /** How often it happened since it was last told, this time included. */
  readonly count: number;
}

export function shorten(text: string, length: number): string {
  const clean = text.replace(/\p{Cc}/gu, '·');
  return clean.length > length ? `${clean.slice(0, length - 1)}…` : clean;
}
