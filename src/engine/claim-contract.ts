/** Changing the fleet while the service runs: taking the file anew, and claiming a source to a point. */
import type { Calibration } from '../domain/calibration.ts';
import type { Kind } from '../domain/kinds.ts';
import type { MessageTime, ValuePlace } from '../domain/unclaimed.ts';

export interface FleetDesk {
  /** Reads the fleet file again and takes it. */
  reload(by: string): Promise<FleetOutcome>;
  claim(request: ClaimRequest): Promise<ClaimOutcome>;
  /** In force from its time on, for what is judged from now and for what is shown of then. What rang, rang. */
  calibrate(calibration: Calibration): Promise<void>;
}

export type FleetOutcome =
  | { readonly outcome: 'taken'; readonly changes: number }
  /** Nothing changed; every mistake with place and fix. */
  | { readonly outcome: 'refused'; readonly mistakes: readonly string[] };

export interface ClaimRequest {
  readonly topic: string;
  /** Tank, or site for a point of the site itself. */
  readonly ownerId: string;
  /** As written in the fleet file, without the tank. */
  readonly pointId: string;
  readonly name: string | null;
  readonly kind: Kind;
  readonly unit: string | null;
  /** Id of a piece of equipment of the tank, without the tank. */
  readonly equipment: string | null;
  readonly everyMs: number;
  readonly place: ValuePlace;
  /** JSON Pointer of the unit that a document gives for the value. */
  readonly unitPointer: string | null;
  readonly time: MessageTime | null;
  /** Person, as journaled. */
  readonly by: string;
}

export type ClaimOutcome =
  | {
      readonly outcome: 'claimed';
      /** In full. */
      readonly pointId: string;
      /** Kept messages that became readings, and those that could not. */
      readonly stored: number;
      readonly unreadable: number;
    }
  | {
      readonly outcome: 'refused';
      /** Nothing changed. */
      readonly why: readonly string[];
      /** What to write into the fleet file by hand. */
      readonly line: string;
    };
