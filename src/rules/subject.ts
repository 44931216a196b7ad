/** What a rule is about: a point or a piece of equipment, by full id (`lobby-reef/heater-1`) or, within its tank, by the last part of it. */
import type { Equipment, Point } from '../domain/fleet.ts';
import type { TankFacts } from './contract.ts';

export const lastPart = (id: string): string => id.slice(id.lastIndexOf('/') + 1);

/** Ids of everything a rule of this tank could be about. */
export function subjectsOf(facts: TankFacts): readonly string[] {
  return [...facts.points.map(({ id }) => id), ...facts.equipment.map(({ id }) => id)];
}

/** @returns the full id, or `null` when neither tank nor site has it. The tank's own things come before the site's. */
export function findSubject(facts: TankFacts, subject: string): string | null {
  const ids = subjectsOf(facts);
  return ids.find((id) => id === subject) ?? ids.find((id) => id === `${facts.tank.id}/${subject}`) ?? ids.find((id) => lastPart(id) === subject) ?? null;
}

export const pointById = (facts: TankFacts, id: string): Point | null => facts.points.find((point) => point.id === id) ?? null;

/** Does it tell of the tank itself, not of the room or the site it stands in? A pad on the floor does. */
export const tellsOfTank = ({ tankId, place, kind }: Point): boolean => tankId !== null && (place !== 'room' || kind === 'switch');

export const equipmentById = (facts: TankFacts, id: string): Equipment | null => facts.equipment.find((equipment) => equipment.id === id) ?? null;
