/** What an import of a CSV file asks for, what a look at the file shows before, and what came of it. */
import type { Readable } from 'node:stream';
import type { CsvChoices } from '../../adapters/csv-choices.ts';
import type { CsvQuestion } from '../../adapters/csv-look.ts';
import type { Point } from '../domain/fleet.ts';

/** One import runs at a time; the others wait. */
export interface ImportDesk {
  /** Reads the file, as far as is asked for, and stores nothing. @throws StoreError */
  look(request: ImportRequest): Promise<ImportLook | NotReadable>;
  /** `null`: too many wait already. */
  start(request: ImportRequest, rejected: RejectedSink): ImportJob | null;
  /** Those of the last day, newest first; a few. */
  jobs(): readonly ImportJob[];
  job(id: string): ImportJob | null;
  /** Cancels what runs and waits; resolves when nothing is written any more. */
  stop(): Promise<void>;
}

export interface ImportFile {
  readonly name: string;
  readonly bytes: number;
  /** The bytes of the file; each call from the beginning. */
  open(): Readable;
}

export interface ImportRequest {
  /** Names the job; unique. */
  readonly id: string;
  readonly file: ImportFile;
  /** Tank whose points short names belong to; `null`: names are full point ids. */
  readonly tankId: string | null;
  readonly choices: CsvChoices;
  /** Fill in what is not said from what was said about such a file before. */
  readonly useMemory: boolean;
  /** A look counts likely points as chosen, for somebody who will see them; an import never does. */
  readonly propose: boolean;
  /** A look goes no further than so many bytes; `null`: to the end. An import always does. */
  readonly lookBytes: number | null;
  /** Person or account, as journaled. */
  readonly by: string;
}

/** Takes the refused lines as they come, so that all of them can be handed out; called in order, at most `rejectedBound` lines in all. */
export type RejectedSink = (refused: readonly ImportRefusal[]) => Promise<void>;

export const rejectedBound = 100_000;

/** The file cannot be opened as it is. */
export interface NotReadable {
  readonly line: number;
  readonly wrong: string;
}

export interface ImportLook {
  readonly headerLine: number;
  /** Lines above the header, left out. */
  readonly above: readonly { readonly line: number; readonly text: string }[];
  readonly unitsLine: number | null;
  readonly delimiter: string;
  readonly layout: 'long' | 'wide' | null;
  /** Zone that times without one are read in, and whose it is. */
  readonly timeZone: string | null;
  /** As asked for, with what was remembered and what is proposed filled in: what an import would use. */
  readonly choices: CsvChoices;
  readonly columns: readonly LookColumn[];
  readonly questions: readonly CsvQuestion[];
  readonly preview: readonly LookRow[];
  /** Who said so the last time, when something was remembered for this header. */
  readonly remembered: { readonly by: string; readonly savedMs: number } | null;
  /** Points the columns may go to. */
  readonly points: readonly Point[];
  /** How much of the file was looked at, when that is not all of it; counts, questions and the report are of this part. */
  readonly lookedAt: { readonly bytes: number; readonly ofBytes: number } | null;
  /** What an import would do; `null` while a question is open without whose answer nothing can be read. */
  readonly report: ImportReport | null;
}

/** A column (wide) or a series (long), or a column that says when. */
export interface LookColumn {
  readonly label: string;
  /** Unit the file names. */
  readonly unit: string | null;
  readonly samples: readonly string[];
  /** Point id or role; `null`: nobody has said where it goes. */
  readonly target: string | null;
  readonly chosenUnit: string | null;
  /** Why this target is proposed; `null` when it was said. */
  readonly why: string | null;
  /** Nobody has said so, and its name alone does not either. */
  readonly isProposal: boolean;
  /** Why it cannot go there. */
  readonly problem: string | null;
  /** It is a column of the header, so it may be a time as well; a series of a long file may not. */
  readonly isColumn: boolean;
}

export interface LookRow {
  readonly line: number;
  readonly time: string;
  readonly atMs: number | null;
  readonly why: string | null;
  readonly values: readonly { readonly label: string; readonly text: string; readonly pointId: string; /** Canonical. */ readonly value: number | null; readonly wrong: string | null }[];
}

export type ImportState = 'waiting' | 'running' | 'done' | 'cancelled' | 'failed';

export interface ImportJob {
  readonly id: string;
  readonly fileName: string;
  readonly bytes: number;
  readonly tankId: string | null;
  readonly by: string;
  readonly askedMs: number;
  progress(): ImportProgress;
  /** What is stored stays. */
  cancel(by: string): void;
  /** Resolves when it has ended, however; never rejects. */
  readonly ended: Promise<ImportProgress>;
}

export interface ImportProgress {
  readonly state: ImportState;
  readonly bytesRead: number;
  readonly endedMs: number | null;
  /** Up to now; final once it has ended. */
  readonly report: ImportReport;
  /** What stopped it, and where; for a cancelled one who did. */
  readonly problem: string | null;
}

export interface ImportReport {
  readonly rowsRead: number;
  /** Readings that are new; in a look those that would be offered to the store. */
  readonly stored: number;
  /** Readings whose series and time were stored before; not looked up in a look. */
  readonly alreadyKnown: number;
  /** How many lines or cells were refused in all. */
  readonly refusedTotal: number;
  /** The first of them, at most `refusedShown`. */
  readonly refused: readonly ImportRefusal[];
  /** Cells in which the file says that nothing was measured. */
  readonly missing: number;
  /** Time of the first and last accepted reading; `null` when there is none. */
  readonly span: { readonly fromMs: number; readonly toMs: number } | null;
  readonly perPoint: readonly { readonly label: string; readonly pointId: string; readonly readings: number }[];
  /** What was in the file and not taken, by column or series: those with most first, at most `leftOutShown`. */
  readonly leftOut: readonly LeftOut[];
  /** Values left out under all names. */
  readonly leftOutTotal: number;
}

export interface LeftOut {
  readonly label: string;
  /** Cells with something in them. */
  readonly values: number;
  /** `said`: somebody chose so, or the column is none of values; `nowhere`: no point takes it. */
  readonly why: 'said' | 'nowhere';
}

export const leftOutShown = 200;

export interface ImportRefusal {
  /** 1-based line of the file. */
  readonly line: number;
  /** What is wrong and what to write instead. */
  readonly reason: string;
}

export const refusedShown = 500;
