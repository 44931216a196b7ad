/** Dozens of rules watch a tank: its page shows what they find and what they cannot judge, with the reason, and folds the rest away. */
import { expect, test } from 'vitest';
import { makeSite } from './site.ts';

const rulesOf = (body: string): { open: string; folded: string } => {
  const section = body.match(/aria-labelledby="rules".*?<\/section>/s)?.[0] ?? '';
  return { open: section.match(/<ul class="lines" data-live="rules">.*?<\/ul>/s)?.[0] ?? '', folded: section.match(/data-live="rules-clear-count".*?<\/details>/s)?.[0] ?? '' };
};

test('what is clear is folded, what is not is told', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const rules = world.options.rules().filter(({ facts }) => facts.tank.id === 'lobby');
  const status = [...world.store.statusRows.values()][0];
  if (status === undefined) throw new Error('no rule has a status');
  const all = (verdict: 'clear' | 'unknown') => {
    for (const { id } of rules) world.store.statusRows.set(id, { ...status, ruleId: id, verdict, hold: null, breach: null, unknownWhy: verdict === 'unknown' ? 'the gateway is away' : null });
  };
  const able = rules.filter(({ missing }) => missing === null).length;
  expect(able).toBeGreaterThan(0);
  expect(able).toBeLessThan(rules.length);
  all('clear');
  const quiet = rulesOf((await visitor.get('/tanks/lobby')).body);
  expect(quiet.folded).toContain(`${able} rule${able === 1 ? ' finds' : 's find'} nothing wrong`);
  expect(quiet.folded.match(/<li>/g)).toHaveLength(able);
  expect(quiet.open.match(/<li>/g)).toHaveLength(rules.length - able);
  expect(quiet.open.match(/cannot judge: /g)).toHaveLength(rules.length - able);

  all('unknown');
  const blind = rulesOf((await visitor.get('/tanks/lobby')).body);
  expect(blind.open.match(/because the gateway is away/g)).toHaveLength(able);
  expect(blind.folded).toContain('0 rules find nothing wrong');
});
