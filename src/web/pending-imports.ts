/** Files that were uploaded and reported on, waiting for somebody to say "import now". On disk, few, and not for long. */
import { randomBytes } from 'node:crypto';
import { createReadStream, createWriteStream } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { MINUTE } from '../domain/duration.ts';
import type { ImportSettings } from './pages/import.tsx';

const MAX_PENDING = 8;
const KEEP_MS = 15 * MINUTE;

export interface PendingImport {
  readonly id: string;
  readonly accountId: number;
  readonly fileName: string;
  readonly settings: ImportSettings;
  open(): Readable;
}

export interface PendingImports {
  /** Writes the upload down. `null`: too many wait already. */
  put(upload: { readonly accountId: number; readonly fileName: string; readonly settings: ImportSettings; readonly content: Readable }, nowMs: number): Promise<PendingImport | null>;
  get(id: string, accountId: number): PendingImport | null;
  drop(id: string): Promise<void>;
  dropExpired(nowMs: number): Promise<void>;
  stop(): Promise<void>;
}

export function pendingImports(): PendingImports {
  const waiting = new Map<string, { pending: PendingImport; path: string; expiresMs: number }>();
  let folder: Promise<string> | null = null;

  async function drop(id: string): Promise<void> {
    const entry = waiting.get(id);
    waiting.delete(id);
    if (entry !== undefined) await rm(entry.path, { force: true });
  }

  return {
    drop,
    async put({ accountId, fileName, settings, content }, nowMs) {
      if (waiting.size >= MAX_PENDING) return null;
      folder ??= mkdtemp(join(tmpdir(), 'tankbell-import-'));
      const id = randomBytes(18).toString('base64url');
      const path = join(await folder, id);
      const pending: PendingImport = { id, accountId, fileName, settings, open: () => createReadStream(path) };
      waiting.set(id, { pending, path, expiresMs: nowMs + KEEP_MS });
      try {
        await pipeline(content, createWriteStream(path, { mode: 0o600 }));
      } catch (error) {
        await drop(id);
        throw error;
      }
      return pending;
    },
    get(id, accountId) {
      const entry = waiting.get(id);
      return entry !== undefined && entry.pending.accountId === accountId ? entry.pending : null;
    },
    async dropExpired(nowMs) {
      for (const [id, { expiresMs }] of waiting) if (expiresMs <= nowMs) await drop(id);
    },
    async stop() {
      waiting.clear();
      if (folder !== null) await rm(await folder, { recursive: true, force: true });
    },
  };
}
