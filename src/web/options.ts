/** What the web is handed; the composition root (`src/app.ts`) builds it. */
import type { PayloadFormat } from '../../adapters/contract.ts';
import type { Clock } from '../clock.ts';
import type { Fleet } from '../domain/fleet.ts';
import type { Measured } from '../engine/calibrated-history.ts';
import type { FleetDesk } from '../engine/claim-contract.ts';
import type { EngineFace } from '../engine/contract.ts';
import type { ImportDesk } from '../engine/import-contract.ts';
import type { Logger } from '../log.ts';
import type { Rule } from '../rules/contract.ts';
import type { Assets } from './assets.ts';
import type { AccountStore, HistoryReader, HistoryWriter, UnclaimedStore } from '../store/contract.ts';

export interface WebOptions {
  readonly host: string;
  /** 0: any free port; `startWeb` returns the address. */
  readonly port: number;
  /** Address under which people reach the pages, without a trailing slash. With `https:` the session cookie is `Secure`. */
  readonly publicUrl: string;
  /** A line shown on top of every page. */
  readonly notice: string | null;
  /** Troubles of the service that every page must say (no mail server, …), in words; empty when there are none. */
  readonly troubles?: () => readonly string[];
  readonly fleet: () => Fleet;
  readonly rules: () => readonly Rule[];
  readonly engine: EngineFace;
  readonly store: HistoryReader & AccountStore & HistoryWriter & Omit<UnclaimedStore, 'claimUnclaimed'>;
  /** Readings as they came; `store` shows them as calibrated. */
  readonly rawHistory: Measured;
  readonly desk: FleetDesk;
  readonly ackLinks: AckLinks;
  readonly imports: ImportDesk;
  /** Lets the command line on this machine import through the running service (`authorization: Bearer …`); it opens nothing else. */
  readonly localToken?: string;
  /** The token with which devices of a site post readings; `null`: none may. */
  readonly siteToken?: (siteId: string) => string | null;
  /** Payload formats by name, for bodies in one of them. */
  readonly formats?: ReadonlyMap<string, PayloadFormat>;
  readonly sources: () => readonly SourceStatus[];
  readonly health: () => Health;
  readonly clock: Clock;
  readonly log: Logger;
  /** Built before already; left out: built at the start. */
  readonly builtAssets?: Promise<Assets>;
}

/** Checks the token of an acknowledge link; it stands for one person and one alarm. */
export interface AckLinks {
  verify(token: string, nowMs: number): AckLink;
}

export type AckLink =
  | { readonly ok: true; readonly alarmId: number; readonly personId: string }
  | { readonly ok: false; readonly why: 'expired' | 'invalid' };

/** Where one adapter stands: a broker, a client connection, a mail sender. */
export interface SourceStatus {
  readonly name: string;
  /** `ok`: working; `idle`: nothing to do yet; `trouble`: needs somebody. */
  readonly state: 'ok' | 'idle' | 'trouble';
  readonly sinceMs: number | null;
  /** One sentence with the numbers. */
  readonly detail: string;
}

export interface Health {
  readonly ok: boolean;
  readonly facts: Readonly<Record<string, unknown>>;
}
