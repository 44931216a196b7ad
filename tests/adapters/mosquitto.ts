/** A real mosquitto for a test, on a free loopback port, with its own folder; and a certificate made for the occasion. */
import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const program = ['/usr/sbin/mosquitto', '/usr/bin/mosquitto', '/usr/local/sbin/mosquitto', '/opt/homebrew/sbin/mosquitto'].find((path) => existsSync(path));

export interface Mosquitto {
  readonly port: number;
  readonly folder: string;
  /** Ends it and starts it again on the same port, with what it has persisted, if anything. */
  restart(): Promise<void>;
  stop(): Promise<void>;
}

/** @param extra lines of configuration; `{folder}` stands for the folder of the test. */
export async function startMosquitto(extra: readonly string[] = [], files: Readonly<Record<string, string>> = {}): Promise<Mosquitto> {
  if (program === undefined) throw new Error('these tests need the mosquitto broker: install the package "mosquitto" (apt-get install mosquitto, brew install mosquitto)');
  const port = await freePort();
  const folder = mkdtempSync(join(tmpdir(), 'tankbell-mosquitto-'));
  for (const [name, text] of Object.entries(files)) writeFileSync(join(folder, name), text);
  const root = process.getuid?.() === 0 ? ['user root'] : [];
  const lines = [...root, `listener ${port} 127.0.0.1`, ...(extra.some((line) => line.startsWith('allow_anonymous')) ? [] : ['allow_anonymous true']), ...extra];
  writeFileSync(join(folder, 'mosquitto.conf'), `${lines.join('\n').replaceAll('{folder}', folder)}\n`);
  let child = await run(program, folder, port);
  return {
    port,
    folder,
    restart: async () => {
      await end(child);
      child = await run(program, folder, port);
    },
    stop: async () => {
      await end(child);
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/** Those lines of config/mosquitto.example.conf that are about losing nothing. */
export function documentedSettings(): readonly string[] {
  const lines = readFileSync(join(import.meta.dirname, '../../config/mosquitto.example.conf'), 'utf8').split('\n');
  const kept = lines.filter((line) => /^(max_|set_tcp_nodelay|persisten|autosave)/.test(line)).map((line) => (line.startsWith('persistence_location') ? 'persistence_location {folder}/' : line));
  if (kept.length < 6) throw new Error(`config/mosquitto.example.conf says less than it did: ${kept.join(', ')}`);
  return kept;
}

async function run(path: string, folder: string, port: number): Promise<ChildProcess> {
  const child = spawn(path, ['-c', join(folder, 'mosquitto.conf')], { stdio: ['ignore', 'ignore', 'pipe'] });
  let said = '';
  child.stderr?.on('data', (chunk: Buffer) => (said += chunk.toString()));
  await until(() => {
    if (child.exitCode !== null) throw new Error(`mosquitto ended at once: ${said}`);
    return canConnect(port);
  }, 'mosquitto to listen');
  return child;
}

async function end(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = new Promise((resolve) => child.once('exit', resolve));
  child.kill('SIGTERM');
  await ended;
}

/** Polls until `condition` holds. Real time: these tests drive real processes. */
export async function until(condition: () => boolean | Promise<boolean>, what: string, atMostMs = 10_000): Promise<void> {
  const end = Date.now() + atMostMs;
  while (!(await condition())) {
    if (Date.now() > end) throw new Error(`waited ${atMostMs} ms in vain for ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}

export function freePort(): Promise<number> {
  return new Promise((resolve, reject) => {
    const server = createServer();
    server.once('error', reject);
    server.listen(0, '127.0.0.1', () => {
      const address = server.address();
      server.close(() => (typeof address === 'object' && address !== null ? resolve(address.port) : reject(new Error('no port'))));
    });
  });
}

function canConnect(port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = connect(port, '127.0.0.1');
    socket.once('connect', () => {
      socket.destroy();
      resolve(true);
    });
    socket.once('error', () => resolve(false));
  });
}

/** A self-signed certificate for localhost, thrown away after the test. */
export function makeCertificate(): { readonly cert: string; readonly key: string } {
  const folder = mkdtempSync(join(tmpdir(), 'tankbell-cert-'));
  try {
    const cert = join(folder, 'cert.pem');
    const key = join(folder, 'key.pem');
    execFileSync('openssl', ['req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes', '-days', '2', '-subj', '/CN=localhost', '-addext', 'subjectAltName=DNS:localhost,IP:127.0.0.1', '-keyout', key, '-out', cert], { stdio: 'ignore' });
    return { cert: execFileSync('cat', [cert], { encoding: 'utf8' }), key: execFileSync('cat', [key], { encoding: 'utf8' }) };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
