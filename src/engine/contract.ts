/** What the faces (web, CLI) see of the engine. */
import type { Alarm, AlarmStatus } from '../domain/alarm.ts';
import type { Calibration } from '../domain/calibration.ts';
import type { Command, CommandResult } from '../domain/command.ts';
import type { Deliver } from '../domain/delivery.ts';
import type { Point } from '../domain/fleet.ts';
import type { Reading } from '../domain/reading.ts';
import type { SourceClock } from '../domain/source-clock.ts';
import type { Verdict } from '../domain/verdict.ts';

export interface EngineFace {
  readonly deliver: Deliver;
  /** Resolves after the commit. */
  command(command: Command): Promise<CommandResult>;
  readonly view: LiveView;
  /** Calls `listener` after each commit that changed something a screen shows (at most once per commit), until the returned function is called. */
  onCommitted(listener: (change: Committed) => void): () => void;
}

export interface Committed {
  readonly nowMs: number;
  /** Points with a new reading. */
  readonly pointIds: ReadonlySet<string>;
  /** Tanks whose alarms changed. */
  readonly tankIds: ReadonlySet<string>;
}

/** Present state, from memory. Never older than the last commit. */
export interface LiveView {
  /** By rule id. */
  readonly statuses: ReadonlyMap<string, AlarmStatus>;
  /** By alarm id. */
  readonly openAlarms: ReadonlyMap<number, Alarm>;
  /** Latest usable reading of a point, as calibrated, however old: the caller compares it with the point's `silentAfterMs`. */
  latest(pointId: string): Reading | null;
  /** Why the latest value of a point cannot be believed although it is fresh (`its gateway … is offline since …`), or `null`. */
  offline(pointId: string): string | null;
  /** The point with the cadence its source promised, where it did. */
  atPresent(point: Point): Point;
  /** Time of the latest reading of any quality: later than that of `latest` when the newest cannot be true. */
  lastStampMs(pointId: string): number | null;
  /** Of every source that sends times of its own. */
  clocks(): readonly SourceClock[];
  /** Calibrations of a point, in order of time. */
  calibrations(pointId: string): readonly Calibration[];
  /** Latest verdict of a rule with its numbers; `null` before the first since the start. */
  verdict(ruleId: string): Verdict | null;
  readonly startedMs: number;
  /** Time of the last successful commit. */
  readonly committedMs: number;
  /** Readings committed since the start, repetitions included. */
  readonly committedReadings: number;
  /** Set while commits fail: the error, in words. */
  readonly trouble: string | null;
}
