/** The example settings for mosquitto start a real one, and keep a site to its own topics. */
import { type ChildProcess, spawn } from 'node:child_process';
import { chmodSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { connectAsync, type IClientOptions, type MqttClient } from 'mqtt';
import { afterAll, beforeAll, expect, test } from 'vitest';

const example = (name: string): string => readFileSync(new URL(`../../config/${name}`, import.meta.url), 'utf8');

let folder = '';
let broker: ChildProcess | null = null;
let port = 0;
const clients: MqttClient[] = [];

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tankbell-mosquitto-'));
  chmodSync(folder, 0o755);
  port = await freePort();
  for (const [user, make] of [['harbor-lobby', '-c'], ['tankbell', null]] as const) await run('mosquitto_passwd', [...(make === null ? [] : [make]), '-b', join(folder, 'passwords'), user, `${user}-secret`]);
  writeFileSync(join(folder, 'acl'), example('mosquitto.example.acl'));
  // Only paths and the listener are changed: certificates of this test would prove nothing about the example.
  const settings = example('mosquitto.example.conf')
    .replace('/etc/mosquitto/tankbell.passwords\n\n', `${join(folder, 'passwords')}\n\n`)
    .replace('/etc/mosquitto/tankbell.acl', join(folder, 'acl'))
    .replace('/var/lib/mosquitto/', `${folder}/`)
    .replace(/^(certfile|keyfile) .*$/gm, '')
    .replace(/^listener 8883$/m, `listener ${port} 127.0.0.1`);
  expect(settings).not.toMatch(/^[a-z_]+ \/(etc|var)/m);
  writeFileSync(join(folder, 'mosquitto.conf'), settings);
  // Started as root it would give up the right to read this folder.
  for (const name of ['passwords', 'acl']) chmodSync(join(folder, name), 0o644);
  broker = spawn('mosquitto', ['-c', join(folder, 'mosquitto.conf')], { stdio: ['ignore', 'ignore', 'pipe'] });
  await said(broker, /running/);
});

afterAll(async () => {
  for (const client of clients) await client.endAsync(true);
  const stopped = broker === null ? null : new Promise((resolve) => broker?.once('exit', resolve));
  broker?.kill();
  await stopped;
  rmSync(folder, { recursive: true, force: true });
});

test('Tankbell reads what the site publishes within its topics, and nothing from outside of them', async () => {
  const reader = await connect('tankbell', 'tankbell-secret');
  const got: string[] = [];
  let done = (): void => undefined;
  const last = new Promise<void>((resolve) => {
    done = resolve;
  });
  reader.on('message', (topic) => {
    got.push(topic);
    if (topic === 'harbor-lobby/last') done();
  });
  await reader.subscribeAsync('#', { qos: 1 });
  const site = await connect('harbor-lobby', 'harbor-lobby-secret');
  for (const topic of ['harbor-lobby/reef/temperature', 'harbor-office/reef/temperature', 'anything', 'harbor-lobby/last']) await site.publishAsync(topic, '25.4', { qos: 1 });
  await last;
  expect(got).toEqual(['harbor-lobby/reef/temperature', 'harbor-lobby/last']);
});

test('nobody gets in without the password', async () => {
  await expect(connect('harbor-lobby', 'wrong')).rejects.toThrow(/not authori[sz]ed/i);
});

test('Tankbell may leave its state behind and ask the gateways of the site to start over, and the site may write neither its state nor into other groups', async () => {
  const tankbell = await connect('tankbell', 'tankbell-secret', { will: { topic: 'spBv1.0/STATE/tankbell', payload: Buffer.from('{"online":false}'), qos: 1, retain: true } });
  const site = await connect('harbor-lobby', 'harbor-lobby-secret');
  const got = new Set<string>();
  const last = Promise.all([['site', site] as const, ['tankbell', tankbell] as const].map(([name, client]) => new Promise<void>((resolve) => {
    client.on('message', (topic, payload) => {
      got.add(`${name}: ${topic} ${payload.toString()}`);
      if (topic.endsWith('/last')) resolve();
    });
  })));
  await site.subscribeAsync(['spBv1.0/harbor/NCMD/+', 'spBv1.0/STATE/tankbell'], { qos: 1 });
  await tankbell.subscribeAsync(['spBv1.0/harbor/NDATA/+', 'spBv1.0/+/NDATA/other', 'spBv1.0/STATE/tankbell'], { qos: 1 });
  await site.publishAsync('spBv1.0/STATE/tankbell', 'false', { qos: 1 });
  await site.publishAsync('spBv1.0/bistro/NDATA/other', 'x', { qos: 1 });
  await tankbell.publishAsync('spBv1.0/STATE/tankbell', '{"online":true}', { qos: 1, retain: true });
  await tankbell.publishAsync('spBv1.0/harbor/NCMD/last', 'x', { qos: 1 });
  await site.publishAsync('spBv1.0/harbor/NDATA/last', 'x', { qos: 1 });
  await last;
  expect([...got].sort()).toEqual(['site: spBv1.0/STATE/tankbell {"online":true}', 'site: spBv1.0/harbor/NCMD/last x', 'tankbell: spBv1.0/STATE/tankbell {"online":true}', 'tankbell: spBv1.0/harbor/NDATA/last x']);
});

async function connect(username: string, password: string, more: IClientOptions = {}): Promise<MqttClient> {
  const client = await connectAsync(`mqtt://127.0.0.1:${port}`, { username, password, reconnectPeriod: 0, connectTimeout: 5_000, ...more });
  clients.push(client);
  return client;
}

function run(command: string, words: readonly string[]): Promise<void> {
  return new Promise((resolve, reject) => {
    spawn(command, [...words], { stdio: 'ignore' }).once('error', reject).once('exit', (code) => (code === 0 ? resolve() : reject(new Error(`${command} ended with ${code}`))));
  });
}

function said(child: ChildProcess, wanted: RegExp): Promise<void> {
  return new Promise((resolve, reject) => {
    let text = '';
    child.once('error', reject);
    child.once('exit', () => reject(new Error(`mosquitto ended: ${text}`)));
    child.stderr?.on('data', (bytes: Buffer) => {
      text += bytes.toString();
      if (wanted.test(text)) resolve();
    });
  });
}

function freePort(): Promise<number> {
  return new Promise((resolve, reject) => {
    const server = createServer().once('error', reject).listen(0, '127.0.0.1', () => {
      const address = server.address();
      server.close(() => (typeof address === 'object' && address !== null ? resolve(address.port) : reject(new Error('no port'))));
    });
  });
}
