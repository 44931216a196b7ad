/** What the writer's thread and the rest of the service say to each other. */
import type { LiveStore } from './contract.ts';
import type { Committer } from './commit.ts';
import type { StoreWriter } from './writer.ts';

export interface ThreadData {
  readonly file: string;
  readonly reserveBytes: number | null;
}

/** What can be asked: `space` is told with every answer, and `commit` goes as `commitPacked`. */
export type Askable = Omit<StoreWriter, 'space' | 'commit'> & Pick<Committer, 'commitPacked'>;
export type Method = keyof Askable;

export interface Ask {
  readonly id: number;
  readonly method: Method;
  readonly args: readonly unknown[];
}

export type Space = ReturnType<LiveStore['space']>;

/** A StoreError, as it crosses. */
export interface ToldError {
  readonly message: string;
  readonly permanent: boolean;
  readonly cause: string | null;
}

/** The answer with id 0 tells whether the database could be opened. */
export type Answer = { readonly id: number; readonly space: Space } & ({ readonly value: unknown } | { readonly error: ToldError });

/** Id of the answer that comes unasked, when the thread has opened the database. */
export const OPENED = 0;
