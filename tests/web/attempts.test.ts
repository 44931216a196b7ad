import { expect, test } from 'vitest';
import { attemptLimit } from '../../src/web/attempts.ts';

test('a success gives the tries back', () => {
  const limit = attemptLimit();
  for (let n = 0; n < 7; n += 1) expect(limit.take('pat', 'a', 0)).toBe(0);
  limit.succeeded('pat', 'a');
  for (let n = 0; n < 8; n += 1) expect(limit.take('pat', 'a', 0)).toBe(0);
  expect(limit.take('pat', 'a', 0)).toBeGreaterThan(0);
});

test('a refused try costs nothing, so that waiting always helps', () => {
  const limit = attemptLimit();
  for (let n = 0; n < 8; n += 1) limit.take('pat', 'a', 0);
  for (let n = 0; n < 100; n += 1) expect(limit.take('pat', 'a', 30_000)).toBe(30_000);
  expect(limit.take('pat', 'a', 60_000)).toBe(0);
});

test('a clock stepped back neither opens nor locks', () => {
  const limit = attemptLimit();
  for (let n = 0; n < 8; n += 1) limit.take('pat', 'a', 1_000_000);
  expect(limit.take('pat', 'a', 0)).toBe(60_000);
  expect(limit.take('pat', 'b', 1_060_000)).toBe(0);
});

test('a name guessed from many addresses is limited all the same', () => {
  const limit = attemptLimit();
  for (let n = 0; n < 8; n += 1) expect(limit.take('pat', `address ${n}`, 0)).toBe(0);
  expect(limit.take('pat', 'address 9', 0)).toBeGreaterThan(0);
});

test('the bucket used longest ago is forgotten when there are too many', () => {
  const limit = attemptLimit();
  for (let n = 0; n < 8; n += 1) limit.take('pat', 'a', 0);
  for (let n = 0; n < 4998; n += 1) limit.take(`name ${n}`, `address ${n}`, 0);
  expect(limit.take('pat', 'z', 0)).toBeGreaterThan(0);
  for (let n = 5000; n < 5010; n += 1) limit.take(`name ${n}`, `address ${n}`, 0);
  expect(limit.take('pat', 'z', 0)).toBe(0);
});
