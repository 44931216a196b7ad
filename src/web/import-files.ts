/** Files handed in for import and the lists of what was refused in them: on disk, few, and not for long. */
import { randomBytes } from 'node:crypto';
import { createReadStream, createWriteStream, existsSync } from 'node:fs';
import { appendFile, mkdtemp, rm, stat } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import type { CsvChoices } from '../../adapters/csv-choices.ts';
import { DAY, HOUR, MINUTE } from '../domain/duration.ts';
import type { ImportFile, ImportLook, NotReadable, RejectedSink } from '../engine/import-contract.ts';
import { rejectedHead, rejectedRows } from './rejected-csv.ts';

const MAX_WAITING = 8;
const KEEP_MS = 15 * MINUTE;
/** One that takes longer has stalled, and another may have its place. */
const MOST_UPLOAD_MS = 2 * HOUR;
/** As long as the desk keeps what it says about an import. */
const KEEP_REJECTED_MS = DAY;
const MAX_REJECTED_FILES = 20;

/** A file that waits for somebody to say "import now". */
export interface HeldFile {
  readonly id: string;
  readonly accountId: number;
  readonly file: ImportFile;
  readonly tankId: string | null;
  readonly choices: CsvChoices;
  /** Nobody has looked at the choices yet: fill in what was said about such a file before. */
  readonly isFresh: boolean;
}

export interface ImportFiles {
  /** Writes the upload down. `null`: too many wait already. */
  put(upload: { readonly accountId: number; readonly fileName: string; readonly tankId: string | null; readonly choices: CsvChoices; readonly content: Readable }, nowMs: number): Promise<HeldFile | null>;
  get(id: string, accountId: number): HeldFile | null;
  /** What somebody has chosen now; the file waits anew. */
  answer(id: string, choices: CsvChoices, nowMs: number): void;
  /** The look at a file as it stands, made once for the same choices. */
  looked(id: string, make: () => Promise<ImportLook | NotReadable>): Promise<ImportLook | NotReadable>;
  /** The import has it now: it does not wait any more, and is deleted when `ended`. */
  take(id: string, ended: Promise<unknown>, nowMs: number): RejectedSink;
  /** All refused lines of an import, as CSV; `null` when there are none (any more). */
  rejected(id: string): Readable | null;
  drop(id: string): Promise<void>;
  dropExpired(nowMs: number): Promise<void>;
  stop(): Promise<void>;
}

interface Entry {
  held: HeldFile;
  readonly path: string;
  expiresMs: number;
  look: Promise<ImportLook | NotReadable> | null;
}

export function importFiles(onError: (error: unknown) => void): ImportFiles {
  const waiting = new Map<string, Entry>();
  const rejectedLists = new Map<string, { readonly path: string; readonly expiresMs: number }>();
  let folder: Promise<string> | null = null;
  let lookedMs = Number.NEGATIVE_INFINITY;

  async function drop(id: string): Promise<void> {
    const entry = waiting.get(id);
    waiting.delete(id);
    if (entry !== undefined) await rm(entry.path, { force: true });
  }

  async function dropRejected(id: string): Promise<void> {
    const list = rejectedLists.get(id);
    rejectedLists.delete(id);
    if (list !== undefined) await rm(list.path, { force: true });
  }

  return {
    drop,
    async put({ accountId, fileName, tankId, choices, content }, nowMs) {
      if (waiting.size >= MAX_WAITING) return null;
      folder ??= mkdtemp(join(tmpdir(), 'tankbell-import-'));
      const id = randomBytes(18).toString('base64url');
      const path = join(await folder, id);
      const held: HeldFile = { id, accountId, tankId, choices, isFresh: true, file: { name: fileName, bytes: 0, open: () => createReadStream(path) } };
      const entry: Entry = { held, path, expiresMs: nowMs + MOST_UPLOAD_MS, look: null };
      waiting.set(id, entry);
      try {
        await pipeline(content, createWriteStream(path, { mode: 0o600 }));
        entry.held = { ...held, file: { ...held.file, bytes: (await stat(path)).size } };
        // It waits from when it is whole: half a gigabyte over a slow line takes longer than that.
        entry.expiresMs = Math.max(nowMs, lookedMs) + KEEP_MS;
      } catch (error) {
        await drop(id);
        throw error;
      }
      return entry.held;
    },
    get(id, accountId) {
      const entry = waiting.get(id);
      return entry !== undefined && entry.held.accountId === accountId ? entry.held : null;
    },
    answer(id, choices, nowMs) {
      const entry = waiting.get(id);
      if (entry === undefined) return;
      entry.held = { ...entry.held, choices, isFresh: false };
      entry.expiresMs = nowMs + KEEP_MS;
      entry.look = null;
    },
    async looked(id, make) {
      const entry = waiting.get(id);
      if (entry === undefined) return make();
      entry.look ??= make();
      try {
        return await entry.look;
      } catch (error) {
        entry.look = null;
        throw error;
      }
    },
    take(id, ended, nowMs) {
      const entry = waiting.get(id);
      waiting.delete(id);
      const remove = async (): Promise<void> => {
        if (entry !== undefined) await rm(entry.path, { force: true });
      };
      ended.then(remove).catch(onError);
      const path = `${entry?.path ?? id}.rejected`;
      return async (refused) => {
        if (!rejectedLists.has(id)) {
          rejectedLists.set(id, { path, expiresMs: nowMs + KEEP_REJECTED_MS });
          const [oldest] = rejectedLists.keys();
          if (rejectedLists.size > MAX_REJECTED_FILES && oldest !== undefined) await dropRejected(oldest);
          await appendFile(path, rejectedHead, { mode: 0o600 });
        }
        await appendFile(path, rejectedRows(refused));
      };
    },
    rejected(id) {
      const list = rejectedLists.get(id);
      return list === undefined || !existsSync(list.path) ? null : createReadStream(list.path);
    },
    async dropExpired(nowMs) {
      lookedMs = nowMs;
      for (const [id, { expiresMs }] of waiting) if (expiresMs <= nowMs) await drop(id);
      for (const [id, { expiresMs }] of rejectedLists) if (expiresMs <= nowMs) await dropRejected(id);
    },
    async stop() {
      waiting.clear();
      rejectedLists.clear();
      if (folder !== null) await rm(await folder, { recursive: true, force: true });
    },
  };
}
