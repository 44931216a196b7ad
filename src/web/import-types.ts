/** What an upload of history asks for, and what came of it. The reading of CSV itself is an adapter's. */
import type { Readable } from 'node:stream';

export type ImportCsv = (request: ImportRequest) => Promise<ImportReport>;

export interface ImportRequest {
  readonly fileName: string;
  /** The bytes of the file, once. Whoever imports reads it to the end or destroys it. */
  readonly content: Readable;
  /** Tank whose points short series names belong to; `null`: names are full point ids. */
  readonly tankId: string | null;
  /** IANA zone of times that carry none. */
  readonly timeZone: string;
  /** Order of day and month in dates like 03/04/2026. */
  readonly dateOrder: DateOrder;
  /** `25,4` is a number. */
  readonly decimalComma: boolean;
  /** Reads and reports everything, stores nothing. */
  readonly dryRun: boolean;
  /** Person or account, as journaled. */
  readonly by: string;
}

export const dateOrders = ['ymd', 'dmy', 'mdy'] as const;
export type DateOrder = (typeof dateOrders)[number];

export interface ImportReport {
  readonly rowsRead: number;
  /** Readings that are new; in a dry run those that would be offered to the store. */
  readonly stored: number;
  /** Readings whose series and time were stored before; in a dry run 0 when not looked up. */
  readonly alreadyKnown: number;
  /** How many lines or cells were refused in all. */
  readonly refusedTotal: number;
  /** The first of them, at most a few hundred. */
  readonly refused: readonly ImportRefusal[];
  /** Time of the first and last accepted reading; `null` when there is none. */
  readonly span: { readonly fromMs: number; readonly toMs: number } | null;
  readonly perPoint: readonly { readonly pointId: string; readonly readings: number }[];
}

export interface ImportRefusal {
  /** 1-based line of the file. */
  readonly line: number;
  /** What is wrong and what to write instead. */
  readonly reason: string;
}
