/** The kinds of tank that trials are run on; each has its fleet file in `tanks/`, read by whoever runs the trial, as the service would read it. */
import { join } from 'node:path';

export const tankKinds = ['small-reef', 'large-reef', 'planted-fresh', 'cold-marine'] as const;
export type TankKind = (typeof tankKinds)[number];

/** Words a person may write instead. */
const otherWords: Readonly<Record<string, TankKind>> = { reef: 'small-reef', large: 'large-reef', fresh: 'planted-fresh', planted: 'planted-fresh', cold: 'cold-marine' };

/** @returns `null` for a word that is no kind of tank. */
export function tankKindOf(word: string): TankKind | null {
  return tankKinds.find((kind) => kind === word) ?? (Object.hasOwn(otherWords, word) ? (otherWords[word] ?? null) : null);
}

export const tankWords: readonly string[] = [...tankKinds, ...Object.keys(otherWords)];

export const fleetFileOf = (kind: TankKind): string => join(import.meta.dirname, 'tanks', `${kind}.yaml`);
