/** Folders for one test file, removed when it is done. */
import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll } from 'vitest';

export function temporaryFolder(): { fresh(): string; names(dir: string): readonly string[] } {
  const made: string[] = [];
  afterAll(() => {
    for (const dir of made) rmSync(dir, { recursive: true, force: true });
  });
  return {
    fresh() {
      const dir = mkdtempSync(join(tmpdir(), 'tankbell-store-'));
      made.push(dir);
      return dir;
    },
    names: (dir) => readdirSync(dir).sort(),
  };
}
