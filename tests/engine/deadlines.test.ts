import { expect, test } from 'vitest';
import { Deadlines } from '../../src/engine/deadlines.ts';

test('earliest first; ties by name, not by the order of setting; moved and dropped ones are forgotten', () => {
  const deadlines = new Deadlines();
  deadlines.set('wake', 'b', 5);
  deadlines.set('delay', 'z', 5);
  deadlines.set('wake', 'a', 5);
  deadlines.set('wake', 'moved', 1);
  deadlines.set('wake', 'moved', 9);
  deadlines.set('hold', 'dropped', 2);
  deadlines.set('hold', 'dropped', null);
  const taken: string[] = [];
  for (let due = deadlines.take(9); due !== null; due = deadlines.take(9)) taken.push(`${due.dueMs} ${due.kind} ${due.id}`);
  expect(taken).toEqual(['5 delay z', '5 wake a', '5 wake b']);
  expect(deadlines.take(10)).toMatchObject({ dueMs: 9, kind: 'wake', id: 'moved' });
});

test('against sorting, over seeded random sets', () => {
  let seed = 7;
  const next = (): number => (seed = (Math.imul(seed, 1_664_525) + 1_013_904_223) >>> 0);
  const deadlines = new Deadlines();
  const model = new Map<string, number>();
  for (let i = 0; i < 5000; i += 1) {
    const id = `r${next() % 300}`;
    const dueMs = next() % 1000;
    deadlines.set('wake', id, dueMs);
    model.set(id, dueMs);
    if (next() % 3 === 0) {
      const before = next() % 1000;
      const expected = [...model].filter(([, due]) => due < before).sort((a, b) => a[1] - b[1] || (a[0] < b[0] ? -1 : 1))[0];
      const taken = deadlines.take(before);
      expect(taken === null ? undefined : [taken.id, taken.dueMs]).toEqual(expected);
      if (expected !== undefined) model.delete(expected[0]);
    }
  }
});
