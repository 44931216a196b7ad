/** Backup, check and restore by the real command line, beside the real service. */
import { mkdirSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { DATABASE } from '../../src/store/backup.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { freePort } from '../adapters/mosquitto.ts';
import { type Running, type ServiceFiles, isUp, startService, tankbell, writeFiles } from './service.ts';

const fleet = `clients:
  - id: c
    name: Client (invented)
    sites:
      - id: s
        name: Site (invented)
        timeZone: UTC
        tanks:
          - id: t
            name: Tank (invented)
            water: reef
            display: 500 L
            points:
              - { id: temperature, kind: temperature, every: 60s, keep: 5y }
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, timeZone: UTC, day: "07:00-21:00" }]
onCall: { steps: [{ person: ana }] }
`;

let files: ServiceFiles;
let running: Running;
beforeAll(async () => {
  files = await writeFiles({ mqtt: `{ embedded: { port: ${await freePort()} } }`, mailPort: null, fleet });
  running = startService(files);
  await isUp(files, running);
});
afterAll(async () => {
  await running.stop();
  files.remove();
});

test('a backup is made beside the running service, and put back only when none runs', async () => {
  const rows = Array.from({ length: 5000 }, (_, i) => `2025-03-0${1 + Math.floor(i / 1440)}T${String(Math.floor(i / 60) % 24).padStart(2, '0')}:${String(i % 60).padStart(2, '0')}:00Z,${(25 + (i % 40) / 100).toFixed(2)}`);
  const csv = join(files.folder, 'history.csv');
  writeFileSync(csv, `time,temperature\n${rows.join('\n')}\n`);
  expect(tankbell(files, ['import', csv, '--tank', 't', '--config', files.config])).toMatchObject({ code: 0, out: expect.stringContaining('5000 readings stored, 0 known already') as string });

  const backups = join(files.folder, 'backups');
  mkdirSync(backups);
  const made = tankbell(files, ['backup', backups, '--config', files.config]);
  expect(made).toMatchObject({ code: 0 });
  expect(made.out).toMatch(/read back and whole: 1 series, 5000 readings \(5000 of them in 4 sealed days\)/);
  const [file = '', manifest = ''] = readdirSync(backups).sort();
  expect([file, manifest]).toEqual([expect.stringMatching(/^tankbell-.*Z\.sqlite$/), `${file}.manifest.json`]);
  expect(tankbell(files, ['check-store', '--config', files.config])).toMatchObject({ code: 0, out: expect.stringContaining('All of it is whole.') as string });

  const restored = ['restore', join(backups, file), '--config', files.config];
  expect(tankbell(files, [...restored, '--replace'])).toMatchObject({ code: 1, err: expect.stringContaining('another Tankbell is running') as string });
  expect(await running.stop()).toBe(0);
  expect(tankbell(files, restored)).toMatchObject({ code: 1, err: expect.stringContaining('add --replace') as string });
  expect(tankbell(files, [...restored, '--replace'])).toMatchObject({ code: 0, out: expect.stringContaining('is kept as') as string });

  const store = await openSqliteStore(join(files.dataDir, DATABASE));
  const series = await store.seriesOf('t/temperature');
  expect(await store.readings(series ?? 0, 0, Infinity)).toHaveLength(5000);
  expect((await store.journal({ limit: 1 }))[0]?.text).toMatch(/^Restored from the backup/);
  await store.close();
  // And the service starts on it.
  running = startService(files);
  await isUp(files, running);
});
