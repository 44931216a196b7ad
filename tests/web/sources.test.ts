/** Where readings come from: clocks, and what was refused, complete and counted. */
import { expect, test } from 'vitest';
import { makeSite } from './site.ts';

test('clocks that are off are named with how far, wrong ones first and with what to do; right ones are counted', async () => {
  const { world, clock, logIn } = await makeSite();
  const nowMs = clock.now();
  world.engine.clockRows.push(
    { source: 'sites/tower/slow', siteId: 'tower', behindMs: 45_000, wrongSinceMs: null },
    { source: 'sites/tower/well', siteId: 'tower', behindMs: 300, wrongSinceMs: null },
    { source: 'sites/clinic/wrong', siteId: 'clinic', behindMs: -3_600_000, wrongSinceMs: nowMs - 60_000 },
    { source: 'sites/clinic/late', siteId: 'clinic', behindMs: 900_000, wrongSinceMs: null },
  );
  const { body } = await (await logIn()).get('/sources');
  const section = body.slice(body.indexOf('Clocks of the sources'), body.indexOf('Points without a current value'));
  expect([...section.matchAll(/<code>([^<]+)<\/code>/g)].map(([, source]) => source)).toEqual(['sites/clinic/wrong', 'sites/clinic/late', 'sites/tower/slow']);
  expect(section).toMatch(/First floor · <b>1 h ahead<\/b>.*?not used since .*Set the clock of the device/);
  expect(section).toMatch(/15 min behind<\/b>.*?still used/);
  expect(section).toContain('The clock of the one source that sends times is right to 10 seconds.');
  expect(section).not.toContain('sites/tower/well');
});

test('refused input is counted in all, row by row, with reason and sample', async () => {
  const { logIn } = await makeSite();
  const { body } = await (await logIn()).get('/sources');
  expect(body).toContain('3112 pieces of input in 2 rows; at most 500 rows are kept');
  expect(body).toMatch(/<td class="num" data-label="Count">3100<\/td>/);
  expect(body).toContain('{&quot;t&quot;:&lt;b>25.1');
});
