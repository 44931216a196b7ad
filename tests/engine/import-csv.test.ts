import { Readable } from 'node:stream';
import { expect, onTestFinished, test } from 'vitest';
import { StandingClock } from '../../src/clock.ts';
import { Engine } from '../../src/engine/engine.ts';
import { importCsv } from '../../src/engine/import-csv.ts';
import { makeLogger } from '../../src/log.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { storyFleet } from '../stories/fleet.ts';

test('a column nobody has a point for is said once, and counted for every value; the others are stored, converted', async () => {
  const { fleet, rules } = await storyFleet();
  const clock = new StandingClock(Date.parse('2026-03-03T20:00:00Z'));
  const store = await openSqliteStore(':memory:');
  const engine = await Engine.start({ store, fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined, onFatal: (error) => { throw error; } });
  onTestFinished(async () => {
    await engine.stop();
    await store.close();
  });
  const csv = 'time,display-temperature (°F),pH\n2026-02-20 08:00,77,8.1\n2026-02-20 08:30,hot,8.1\n2026-02-20 09:00,78.8,8\n';
  const report = await importCsv(
    { fileName: 'logger.csv', content: Readable.from([Buffer.from(csv)]), tankId: 'hall-reef', timeZone: null, dateOrder: null, timeFormat: null, decimalComma: false, dryRun: false, by: 'first' },
    { store, engine, fleet, clock },
  );
  expect(report).toMatchObject({ rowsRead: 3, stored: 2, alreadyKnown: 0, refusedTotal: 4 });
  expect(report.refused.map(({ line }) => line)).toEqual([2, 3]);
  expect(report.refused[0]?.reason).toMatch(/^"pH" is no point of hall-reef; name the column after one of: display-temperature, .*; none of its values is taken$/);
  expect(report.refused[1]?.reason).toContain('hot');
  const series = await store.seriesOf('hall-reef/display-temperature');
  expect(series).not.toBeNull();
  // 08:00 in Denver in February is 15:00 UTC.
  const stored = await store.readings(series ?? 0, 0, clock.now());
  expect(stored.map(({ atMs, value }) => [new Date(atMs).toISOString(), value])).toEqual([['2026-02-20T15:00:00.000Z', 25], ['2026-02-20T16:00:00.000Z', 26]]);
});
