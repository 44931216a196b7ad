import { spawnSync } from 'node:child_process';
import { startMosquitto } from '../adapters/mosquitto.ts';
import { writeFiles } from '../integration/service.ts';
import { benchFleet, benchMessage } from './bench-site.ts';
import { connectAsync } from 'mqtt';
const messages = Number(process.argv[2] ?? 400000);
const broker = await startMosquitto(['max_queued_messages 0', 'max_inflight_messages 1000', 'set_tcp_nodelay true']);
for (const id of ['floor','ours']) {
  const session = await connectAsync(`mqtt://127.0.0.1:${broker.port}`, { clientId: id, clean: false });
  await session.subscribeAsync('s/#', { qos: 1 }); await session.endAsync();
}
const pub = await connectAsync(`mqtt://127.0.0.1:${broker.port}`);
const firstMs = Date.now() - 100_000; let w: Promise<unknown>[] = [];
for (let i = 0; i < messages; i++) { const m = benchMessage(i, firstMs); w.push(pub.publishAsync(m.topic, m.payload, { qos: 1 })); if (w.length >= 1000) { await Promise.all(w); w = []; } }
await Promise.all(w); await pub.endAsync();
const files = await writeFiles({ mqtt: `{ external: { url: "mqtt://127.0.0.1:${broker.port}", clientId: ours, protocol: "3.1.1" } }`, mailPort: null, fleet: benchFleet() });
const prof = process.argv[3] === 'prof' ? ['--cpu-prof', '--cpu-prof-dir=/tmp/prof'] : [];
const env = { ...process.env, TANKBELL_BENCH: 'x' };
console.log('floor', spawnSync(process.execPath, ['--import', 'tsx', 'tests/bench/floor-subscriber.ts', String(broker.port), 'floor', String(messages)], { encoding: 'utf8', env }).stdout.trim());
const r = spawnSync(process.execPath, [...prof, '--import', 'tsx', 'tests/bench/tankbell-subscriber.ts', files.config, String(messages)], { encoding: 'utf8', env });
console.log('ours', r.stdout.trim(), r.stderr.slice(-500));
files.remove(); await broker.stop();
