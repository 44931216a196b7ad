/** Which failures of the database pass by themselves, and what to tell the technician. */
import { dirname } from 'node:path';
import { StoreError } from './contract.ts';

/** By primary result code; https://www.sqlite.org/rescode.html */
const passing: Readonly<Record<string, (file: string) => string>> = {
  SQLITE_BUSY: (file) => `another program is writing to ${file}: wait until it has finished, or end it`,
  SQLITE_LOCKED: (file) => `another program is writing to ${file}: wait until it has finished, or end it`,
  SQLITE_FULL: (file) => `the disk is full: free space on the disk that holds ${dirname(file)}`,
  SQLITE_IOERR: (file) => `the disk that holds ${file} cannot be read or written: check the disk, its cable and its free space`,
  SQLITE_READONLY: (file) => `${file} cannot be written: give the user that runs Tankbell write access to ${dirname(file)} and every file in it`,
  SQLITE_CANTOPEN: (file) => `${file} cannot be opened: check that ${dirname(file)} exists and that the user that runs Tankbell may read and write it`,
  SQLITE_NOMEM: () => 'the machine is out of memory: end other programs',
};

const lasting: Readonly<Record<string, (file: string) => string>> = {
  SQLITE_CORRUPT: (file) => `${file} is damaged: keep a copy of it and restore a backup`,
  SQLITE_NOTADB: (file) => `${file} is no database: name another data folder, or restore a backup`,
};

/** Anything thrown while working on `file`, as a StoreError with its cause; a StoreError passes as it is. */
export function storeErrorOf(error: unknown, file: string): StoreError {
  if (error instanceof StoreError) return error;
  const code = primaryCode(error);
  const passes = passing[code];
  if (passes !== undefined) return new StoreError(passes(file), { permanent: false, cause: error });
  const told = lasting[code]?.(file) ?? `${file} refused what was asked of it: ${error instanceof Error ? error.message : String(error)}`;
  return new StoreError(told, { permanent: true, cause: error });
}

/** Was there no room on the disk? */
export const isFull = (error: unknown): boolean => primaryCode(error) === 'SQLITE_FULL';

/** `SQLITE_IOERR` of `SQLITE_IOERR_WRITE`; the file system's own words for the same troubles are translated. */
function primaryCode(error: unknown): string {
  if (!(error instanceof Error) || !('code' in error) || typeof error.code !== 'string') return '';
  switch (error.code) {
    case 'ENOSPC':
    case 'EDQUOT':
    // The index of the write-ahead log could not grow.
    case 'SQLITE_IOERR_SHMSIZE':
      return 'SQLITE_FULL';
    case 'EACCES':
    case 'EPERM':
    case 'EROFS':
      return 'SQLITE_READONLY';
    case 'ENOENT':
    case 'ENOTDIR':
    case 'EEXIST':
      return 'SQLITE_CANTOPEN';
    case 'EIO':
      return 'SQLITE_IOERR';
    default:
      return error.code.split('_').slice(0, 2).join('_');
  }
}
