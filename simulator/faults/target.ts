/** The tank a fault is planned for: what is installed there, and what would show it. */
import type { Equipment, EquipmentKind, Fleet, Place, Point, Tank } from '../../src/domain/fleet.ts';
import type { Kind } from '../../src/domain/kinds.ts';
import { streamKey, uniformAt } from '../random.ts';

export class Target {
  readonly tank: Tank;
  readonly equipment: readonly Equipment[];
  /** Points of the tank and of its site. */
  readonly points: readonly Point[];

  /** @throws Error for a tank the fleet does not have. */
  constructor(fleet: Fleet, tankId: string) {
    const tank = fleet.tanks.find(({ id }) => id === tankId);
    if (tank === undefined) throw new Error(`no tank "${tankId}" in the fleet; there are: ${fleet.tanks.map(({ id }) => id).join(', ')}`);
    this.tank = tank;
    this.equipment = fleet.equipment.filter((piece) => piece.tankId === tankId);
    this.points = fleet.points.filter((point) => point.tankId === tankId || (point.tankId === null && point.siteId === tank.siteId));
  }

  /** The first of its kind; the main one, where a second is there to help out. */
  piece(kind: EquipmentKind): Equipment | null {
    return this.equipment.find((piece) => piece.kind === kind) ?? null;
  }

  /** The same, if its draw is metered. */
  metered(kind: EquipmentKind): Equipment | null {
    const piece = this.piece(kind);
    return piece !== null && this.points.some(({ equipmentId, kind: measures }) => equipmentId === piece.id && (measures === 'power' || measures === 'current')) ? piece : null;
  }

  point(kind: Kind, place: Place): Point | null {
    return this.points.find((point) => point.kind === kind && point.place === place) ?? null;
  }

  /** A point of the tank's water. */
  inWater(kind: Kind): Point | null {
    return this.point(kind, 'display') ?? this.point(kind, 'sump');
  }

  get hasSump(): boolean {
    return this.tank.sumpLitres > 0;
  }

  get litres(): number {
    return this.tank.displayLitres + this.tank.sumpLitres;
  }

  get isSalt(): boolean {
    return this.tank.water !== 'fresh';
  }
}

export interface Chance {
  /** Uniform between the two. */
  between(low: number, high: number): number;
  /** One of these. */
  oneOf<Choice>(choices: readonly Choice[]): Choice | null;
  /** A seed for what the fault draws while it lasts. */
  readonly seed: number;
}

export function chanceOf(seed: number, name: string): Chance {
  const key = streamKey(seed, `fault ${name}`);
  let count = 0;
  const uniform = (): number => {
    count += 1;
    return uniformAt(key, count);
  };
  return {
    between: (low, high) => low + (high - low) * uniform(),
    oneOf: (choices) => choices[Math.floor(uniform() * choices.length)] ?? null,
    seed: key,
  };
}

/** Rounded to so many digits that a person can read it. */
export const readable = (value: number): number => Number(value.toPrecision(3));
