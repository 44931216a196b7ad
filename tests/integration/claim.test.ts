/**
 * A technician meets gateways no point reads from: what they send is on the page, becomes a point by one form, has its past, and goes on without a restart.
 * The service is a real process; SenML comes from mosquitto_pub, Sparkplug from an edge node whose payloads another library writes.
 */
import { execFile } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { afterEach, expect, test } from 'vitest';
import { EdgeNode } from '../adapters/edge-node.ts';
import { freePort, startMosquitto, until } from '../adapters/mosquitto.ts';
import { isUp, startService, tankbell, writeFiles } from './service.ts';

const run = promisify(execFile);
const password = 'a-long-password-for-tests';
const fleet = `clients:
  - id: pellet-street
    name: Pellet Street Clinic (invented)
    sites:
      - id: hall
        name: Waiting hall
        timeZone: America/Denver
        account: { user: hall, passwordEnv: TANKBELL_HALL }
        sparkplugGroup: hall
        tanks:
          - id: hall-reef
            name: Hall reef
            water: reef
            display: 120 gal
            points:
              - { id: temperature, kind: temperature, unit: °F, every: 30s, source: { topic: hall/reef/temperature, format: number } }
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, phone: "+1 555 0101", timeZone: America/Denver, day: "07:00-21:00" }]
onCall: { steps: [{ person: ana }] }
`;

const cleanUp: (() => Promise<unknown> | unknown)[] = [];
afterEach(async () => {
  for (const undo of cleanUp.splice(0).reverse()) await undo();
});

test.each(['the built-in broker', 'mosquitto'] as const)('SenML and Sparkplug are claimed while they run, through %s', async (kind) => {
  const broker = kind === 'mosquitto' ? await startMosquitto(['max_queued_messages 1000']) : null;
  if (broker !== null) cleanUp.push(() => broker.stop());
  const port = broker?.port ?? (await freePort());
  const files = await writeFiles({
    mqtt: broker === null ? `{ embedded: { host: 127.0.0.1, port: ${port} } }` : `{ external: { url: "mqtt://127.0.0.1:${port}" } }`, mailPort: null, env: { TANKBELL_HALL: 'hall-secret' }, fleet,
  });
  cleanUp.push(() => files.remove());
  expect(tankbell(files, ['user', 'add', 'ana', '--config', files.config, '--person', 'ana', '--password-stdin'], `${password}\n`)).toMatchObject({ code: 0 });
  const running = startService(files);
  cleanUp.push(() => running.kill());
  await isUp(files, running);

  const headers: Record<string, string> = { 'content-type': 'application/x-www-form-urlencoded', origin: files.url };
  const post = (path: string, fields: Record<string, string>) => fetch(`${files.url}${path}`, { method: 'POST', redirect: 'manual', headers, body: new URLSearchParams(fields).toString() });
  headers['cookie'] = ((await post('/login', { name: 'ana', password })).headers.get('set-cookie') ?? '').split(';')[0] ?? '';
  const page = async (path: string): Promise<string> => (await fetch(`${files.url}${path}`, { headers })).text();
  const storedOf = async (pointId: string): Promise<readonly unknown[]> => {
    const nowMs = Date.now();
    const body: { mean: unknown[] } = JSON.parse(await page(`/api/points/${pointId}/series?from=${nowMs - 3_600_000}&to=${nowMs + 60_000}`));
    return body.mean;
  };
  const publish = (message: string) => run('mosquitto_pub', ['-h', '127.0.0.1', '-p', String(port), '-q', '1', '-u', 'hall', '-P', 'hall-secret', '-t', 'hall/gateway', '-m', message]);
  const shows = (text: string): Promise<void> => until(async () => (await page('/sources')).includes(text), `${text} on the page`);

  // Before any point reads from either of them.
  const name = 'urn:dev:ow:10e2073a01080063:temp';
  const fromS = Math.floor(Date.now() / 1000) - 600;
  for (const [n, value] of [25.1, 25.2, 25.3].entries()) await publish(JSON.stringify([{ bn: 'urn:dev:ow:10e2073a01080063:', bt: fromS + n * 60, n: 'temp', u: 'Cel', v: value }, { n: 'humidity', u: '%RH', v: 40 }]));
  const node = await EdgeNode.connect({
    port, group: 'hall', node: 'plant room', device: 'sump', bdSeq: 0, login: { username: 'hall', password: 'hall-secret' },
    values: { 'Water/Temperature': { alias: 1, type: 'Float', value: 25.1 } }, deviceValues: { Level: { alias: 3, type: 'Int32', value: 200 }, Flow: { alias: 4, type: 'Double', value: 60 } },
  });
  cleanUp.push(() => node.end());
  // Not in the millisecond of the birth: a series has one reading at an instant.
  await node.data('Level', 210, { at: Date.now() + 50 });
  await shows(name);
  await shows('>210, 200<');
  const claim = (topic: string, part: string, more: Record<string, string>) => post('/sources/claim', { topic, part, owner: 'hall-reef', name: '', unit: '', equipment: '', every: '60s', ...more });

  const births = node.births;
  const first = await claim('hall/gateway', name, { pointId: 'sump-temperature', kind: 'temperature' });
  expect([first.status, first.headers.get('location')]).toEqual([303, '/sources?claimed=hall-reef%2Fsump-temperature&stored=3']);
  expect(await storedOf('hall-reef/sump-temperature')).toEqual([25.1, 25.2, 25.3]);
  await publish(JSON.stringify([{ bn: 'urn:dev:ow:10e2073a01080063:', bt: fromS + 300, n: 'temp', u: 'Cel', v: 25.4 }, { n: 'humidity', u: '%RH', v: 41 }]));
  await until(async () => (await storedOf('hall-reef/sump-temperature')).length === 4, 'the reading after the claim');
  await shows('<b>41, 40, 40, 40 %RH</b>');
  // With every change of the fleet gateways are asked for all they have: a point may be new for a value that seldom changes.
  await until(() => node.births === births + 1, 'the birth after the first claim');

  const second = await claim('spBv1.0/hall/plant room/sump', 'Level', { pointId: 'sump-level', kind: 'level', unit: 'mm' });
  expect(second.status).toBe(303);
  expect(await storedOf('hall-reef/sump-level')).toEqual(expect.arrayContaining([200, 210]));
  await until(() => node.births === births + 2, 'the birth after the second claim');
  await node.data('Level', 220);
  await until(async () => (await storedOf('hall-reef/sump-level')).includes(220), 'the level after the claim');
  const sources = await page('/sources');
  expect(sources).toContain('<code>Flow</code>');
  expect(sources).toContain('<code>Water/Temperature</code>');
  expect(sources).toContain('Nothing was refused.');
  expect(readFileSync(join(files.folder, 'fleet.yaml'), 'utf8')).toContain('source: { topic: spBv1.0/hall/plant room/sump, format: sparkplug, metric: Level }');
}, 60_000);
