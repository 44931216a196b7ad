/** Writes the fleet file so that whoever reads it, or a crash at any instant, finds the old text or the new one and nothing between. */
import { randomBytes } from 'node:crypto';
import { closeSync, fsyncSync, openSync, realpathSync, renameSync, rmSync, statSync, writeSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';

/** @returns `null` when written, else why not, in words. */
export function writeFleetFile(file: string, text: string): string | null {
  let temporary: string | null = null;
  try {
    // A link stays a link: what it points to is replaced.
    const target = realpathSync(file);
    const { mode } = statSync(target);
    const draft = join(dirname(target), `.${basename(target)}.${randomBytes(6).toString('hex')}`);
    const handle = openSync(draft, 'wx', mode & 0o777);
    temporary = draft;
    try {
      writeSync(handle, text);
      fsyncSync(handle);
    } finally {
      closeSync(handle);
    }
    renameSync(draft, target);
    return null;
  } catch (error) {
    if (!(error instanceof Error && 'code' in error)) throw error;
    if (temporary !== null) rmSync(temporary, { force: true });
    return `Tankbell may not write the fleet file ${file} (${String(error.code)})`;
  }
}
