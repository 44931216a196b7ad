/** Takes the data folder named, forgets the handle, says so, and stays until killed. Run with --expose-gc. */
import { writeSync } from 'node:fs';
import { lockDataDir } from '../../src/store/lock.ts';

const [, , dir = ''] = process.argv;
lockDataDir(dir);
for (let i = 0; i < 5; i += 1) {
  await new Promise(setImmediate);
  globalThis.gc?.();
}
writeSync(1, globalThis.gc === undefined ? 'no gc\n' : 'held\n');
process.stdin.resume();
