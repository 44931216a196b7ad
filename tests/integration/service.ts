/** The real service as a real process, with files of its own in a temporary folder. */
import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { freePort, until } from '../adapters/mosquitto.ts';

const root = resolve(import.meta.dirname, '../..');
const entry = join(root, 'src/main.ts');

export interface ServiceFiles {
  readonly folder: string;
  readonly config: string;
  readonly dataDir: string;
  readonly url: string;
  readonly env: Readonly<Record<string, string>>;
  remove(): void;
}

/** @param mqtt the `mqtt:` block as YAML in flow style, e.g. `{ external: { url: "mqtt://127.0.0.1:1883" } }`. */
export async function writeFiles(parts: { mqtt: string; mailPort: number | null; fleet: string; env?: Readonly<Record<string, string>> }): Promise<ServiceFiles> {
  const folder = mkdtempSync(join(tmpdir(), 'tankbell-service-'));
  const port = await freePort();
  const mail = parts.mailPort === null ? '' : `mail: { host: 127.0.0.1, port: ${parts.mailPort}, security: none, from: "Tankbell <tankbell@example.invalid>" }\n`;
  writeFileSync(join(folder, 'fleet.yaml'), parts.fleet);
  writeFileSync(join(folder, 'service.yaml'), `data: data\nfleet: fleet.yaml\nweb: { host: 127.0.0.1, port: ${port}, publicUrl: "http://127.0.0.1:${port}" }\nmqtt: ${parts.mqtt}\n${mail}`);
  return { folder, config: join(folder, 'service.yaml'), dataDir: join(folder, 'data'), url: `http://127.0.0.1:${port}`, env: parts.env ?? {}, remove: () => rmSync(folder, { recursive: true, force: true }) };
}

export interface Running {
  readonly child: ChildProcess;
  output(): string;
  /** SIGKILL; resolves when the process is gone. */
  kill(): Promise<void>;
  /** SIGTERM; resolves with the exit code. */
  stop(): Promise<number | null>;
}

export function startService(files: ServiceFiles): Running {
  const child = spawn(process.execPath, ['--import', 'tsx', entry, 'serve', '--config', files.config], { cwd: root, env: { ...process.env, ...files.env }, stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  const keep = (chunk: Buffer): void => {
    said = (said + chunk.toString()).slice(-20_000);
  };
  child.stdout.on('data', keep);
  child.stderr.on('data', keep);
  const gone = new Promise<number | null>((done) => child.once('exit', (code) => done(code)));
  const end = async (signal: 'SIGKILL' | 'SIGTERM'): Promise<number | null> => {
    if (child.exitCode === null && child.signalCode === null) child.kill(signal);
    return gone;
  };
  return {
    child, output: () => said,
    kill: async () => {
      await end('SIGKILL');
    },
    stop: () => end('SIGTERM'),
  };
}

export async function isUp(files: ServiceFiles, running: Running): Promise<void> {
  await until(async () => {
    if (running.child.exitCode !== null) throw new Error(`the service ended at once:\n${running.output()}`);
    try {
      return (await fetch(`${files.url}/health`)).ok;
    } catch {
      return false;
    }
  }, `the service to answer at ${files.url}`, 30_000);
}

/** Runs a command of the command line to its end. */
export function tankbell(files: Pick<ServiceFiles, 'env'>, args: readonly string[], input = ''): { code: number | null; out: string; err: string } {
  const run = spawnSync(process.execPath, ['--import', 'tsx', entry, ...args], { cwd: root, env: { ...process.env, ...files.env }, input, encoding: 'utf8' });
  return { code: run.status, out: run.stdout, err: run.stderr };
}
