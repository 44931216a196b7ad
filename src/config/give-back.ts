/**
 * Reading and checking a large fleet takes many times the memory that the fleet then needs. The runtime would keep it for good, because it
 * measures its next collection by what was in use at the last; one collection afterwards sets the measure right.
 */
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';

export function giveBackMemory(): void {
  setFlagsFromString('--expose-gc');
  const collect: unknown = runInNewContext('gc');
  if (typeof collect === 'function') collect();
}
