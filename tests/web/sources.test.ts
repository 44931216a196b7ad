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

test('a value unknown because its gateway is away says so wherever it is shown', async () => {
  const { world, logIn } = await makeSite();
  const why = 'its gateway tower/edge-1 is offline since Wed 25 Nov 2026, 02:20';
  const ofAxolotl = world.fleet.points.filter(({ tankId }) => tankId === 'axolotl');
  for (const { id } of ofAxolotl) world.engine.offlineWhys.set(id, why);
  const said = 'Its gateway tower/edge-1 is offline since Wed 25 Nov 2026, 02:20';
  const visitor = await logIn();

  const board = (await visitor.get('/')).body;
  const row = board.slice(board.indexOf('href="/tanks/axolotl"'));
  // Once for the tank, not beside each value.
  expect(row.slice(0, row.indexOf('</li><li class="row')).split(why)).toHaveLength(2);
  expect(row).toMatch(new RegExp(`no current value from [^·<]*: ${why}`));

  // One that is silent by itself is not blamed on the gateway.
  const [first] = ofAxolotl;
  world.engine.offlineWhys.delete(first?.id ?? '');
  world.store.rows.set(world.store.seriesFor(first?.id ?? ''), []);
  expect((await visitor.get('/')).body).toContain(`no current value from ${ofAxolotl.length <= 2 ? ofAxolotl.map(({ name }) => name).join(', ') : `${ofAxolotl.length} points`}, from ${ofAxolotl.length - 1} because ${why}`);
  world.engine.offlineWhys.set(first?.id ?? '', why);

  const tank = (await visitor.get('/tanks/axolotl')).body;
  expect(tank.split(said)).toHaveLength(1 + ofAxolotl.length);
  expect(tank).toMatch(/unknown, last \d+\.\d W 20 s ago/);
  expect((await visitor.get('/sources')).body.split(said)).toHaveLength(1 + ofAxolotl.length);
  expect((await visitor.get('/tanks/bar')).body).not.toContain('gateway');

  const { points } = (await visitor.get('/api/tanks/axolotl')).json<{ points: readonly { state: string; value: number | null; offlineWhy: string | null }[] }>();
  expect(points).toContainEqual(expect.objectContaining({ state: 'stale', value: null, offlineWhy: why }));
});
