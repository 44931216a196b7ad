import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { StoreError } from '../../src/store/contract.ts';
import { lockDataDir } from '../../src/store/lock.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { temporaryFolder } from './temporary-folder.ts';

const folder = temporaryFolder();
const CHILD = fileURLToPath(new URL('lock-child.ts', import.meta.url));

function refusal(dir: string): StoreError {
  try {
    lockDataDir(dir).release();
  } catch (error) {
    if (error instanceof StoreError) return error;
    throw error;
  }
  throw new Error('the folder was not locked');
}

describe('data folder lock', () => {
  it('is refused to a second taker until released, and makes a missing folder', () => {
    const dir = join(folder.fresh(), 'made');
    const first = lockDataDir(dir);
    expect(refusal(dir)).toMatchObject({ permanent: true, cause: { code: 'SQLITE_BUSY' } });
    expect(refusal(dir).message).toBe(`another Tankbell is running on ${dir}: stop it first, or name another data folder`);
    first.release();
    first.release();
    lockDataDir(dir).release();
  });

  it('stands in the way of no other folder and of no reader of this one', async () => {
    const dir = folder.fresh();
    const lock = lockDataDir(dir);
    lockDataDir(folder.fresh()).release();
    const store = await openSqliteStore(join(dir, 'tankbell.db'));
    expect(await store.journal({ limit: 1 })).toEqual([]);
    await store.close();
    lock.release();
  });

  it('is held by a process that forgot its handle, and gone with the process when that is killed', async () => {
    const dir = folder.fresh();
    const child = spawn(process.execPath, ['--expose-gc', '--import', 'tsx', CHILD, dir], { stdio: ['pipe', 'pipe', 'inherit'] });
    try {
      const [told] = await once(child.stdout, 'data');
      expect(String(told)).toBe('held\n');
      expect(refusal(dir).permanent).toBe(true);
    } finally {
      child.kill('SIGKILL');
      await once(child, 'close');
    }
    lockDataDir(dir).release();
  });

  it('says so when the folder cannot be made', () => {
    const dir = folder.fresh();
    writeFileSync(join(dir, 'plain'), 'x');
    expect(refusal(join(dir, 'plain')).message).toContain('cannot be opened');
  });
});
