/**
 * What a fault is: one file here, exporting a function from its parameters to one of these, and by default its kind. It acts on the world or on
 * instruments, never on readings: everything seen of it follows from physics. Which rules should name it stands in `named-by.ts`.
 */
import type { Instrument } from '../instruments/instrument.ts';
import type { World } from '../world/world.ts';
import type { Chance, Target } from './target.ts';

export interface Fault {
  /** File name. */
  readonly name: string;
  /** What happens, in words, with the thing it happens to. */
  readonly does: string;
  readonly params: Readonly<Record<string, string | number | boolean | null>>;
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

/** A fault before it is decided what it happens to, and how badly. */
export interface FaultKind {
  readonly name: string;
  /** It creeps: hours or days go by before anybody could see it. */
  readonly gradual: boolean;
  /** Whoever watches should have named it this long after it began. */
  readonly watchMs: number;
  /** When it matters: a chiller that fails in January is found in May. */
  readonly season: 'winter' | 'summer' | 'any';
  /** @returns the fault on this tank, its numbers drawn from `chance`; `null` where the tank has nothing it could happen to, or nothing that would show it. */
  plan(target: Target, chance: Chance): Fault | null;
}

/** @throws Error naming the point that is not there. */
export function instrumentOf({ instruments }: Stage, pointId: string): Instrument {
  const instrument = instruments.get(pointId);
  if (instrument === undefined) throw new Error(`no point "${pointId}" in the simulated fleet`);
  return instrument;
}
