/** What an import of a CSV file asks for, and what came of it. */
import type { Readable } from 'node:stream';

export type ImportCsv = (request: ImportRequest) => Promise<ImportReport>;

export const dateOrders = ['ymd', 'dmy', 'mdy'] as const;
export type DateOrder = (typeof dateOrders)[number];

export interface ImportRequest {
  readonly fileName: string;
  /** The bytes of the file, once. Whoever imports reads it to the end or destroys it. */
  readonly content: Readable;
  /** Tank whose points short series names belong to; `null`: names are full point ids. */
  readonly tankId: string | null;
  /** IANA zone of times that carry none; `null`: that of the tank's site, and with no tank such times are refused. */
  readonly timeZone: string | null;
  /** Order of day and month in dates like 03/04/2026; `null`: such dates are refused. */
  readonly dateOrder: DateOrder | null;
  /** What bare numbers mean as times: seconds or milliseconds since 1970; `null`: they are refused. */
  readonly timeFormat: 's' | 'ms' | null;
  /** `25,4` is a number. */
  readonly decimalComma: boolean;
  /** Reads and reports everything, stores nothing. */
  readonly dryRun: boolean;
  /** Person or account, as journaled. */
  readonly by: string;
}

export interface ImportReport {
  readonly rowsRead: number;
  /** Readings that are new; in a dry run those that would be offered to the store. */
  readonly stored: number;
  /** Readings whose series and time were stored before; not looked up in a dry run. */
  readonly alreadyKnown: number;
  /** How many lines or cells were refused in all. */
  readonly refusedTotal: number;
  /** The first of them, at most `refusedShown`. */
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

export const refusedShown = 500;
