/**
 * What a fault is: one file here, exporting a function from its parameters to one of these. It acts on the world or on instruments, never
 * on readings: everything seen of it follows from physics.
 */
import type { Instrument } from '../instruments/instrument.ts';
import type { World } from '../world/world.ts';

export interface Fault {
  /** File name. */
  readonly name: string;
  /** What happens, in words, with the thing it happens to. */
  readonly does: string;
  readonly params: Readonly<Record<string, string | number | null>>;
  /** @throws Error when the stage has no such thing. */
  apply(stage: Stage, atMs: number): void;
  /** Before every step while it lasts: for what grows, or comes and goes. */
  progress?(stage: Stage, nowMs: number): void;
  /** Somebody has repaired it. */
  undo(stage: Stage, atMs: number): void;
}

export interface Stage {
  readonly world: World;
  /** By point id. */
  readonly instruments: ReadonlyMap<string, Instrument>;
}
