/**
 * Several devices that publish to a broker as fast as it takes, at QoS 1 with a window in flight each, over bare sockets: packets are made beforehand
 * and PUBACKs only counted, so that the publisher is not what is measured.
 */
import { connect } from 'node:net';
import { generate } from 'mqtt-packet';
import { benchMessage, benchUser } from './bench-site.ts';

const [port = '', wanted = '', password = ''] = process.argv.slice(2);
const messages = Number(wanted);
const devices = 10;
const window = 500;
const pubackBytes = 4;

const firstMs = Date.now() - 60_000;
const packets: Buffer[][] = Array.from({ length: devices }, () => []);
for (let i = 0; i < messages; i += 1) {
  const { topic, payload } = benchMessage(i, firstMs);
  const own = packets[i % devices];
  own?.push(generate({ cmd: 'publish', topic, payload, qos: 1, messageId: (own.length % 65_000) + 1, retain: false, dup: false }));
}

function publish(own: readonly Buffer[], index: number): Promise<void> {
  const socket = connect(Number(port), '127.0.0.1');
  socket.setNoDelay(true);
  let sent = 0;
  let answered = 0;
  let isOpen = false;
  let rest = 0;
  const push = (): void => {
    const upTo = Math.min(own.length, answered + window);
    if (upTo <= sent) return;
    socket.write(Buffer.concat(own.slice(sent, upTo)));
    sent = upTo;
  };
  socket.write(generate({ cmd: 'connect', protocolId: 'MQTT', protocolVersion: 4, clean: true, clientId: `bench-raw-${index}`, keepalive: 60, username: benchUser, password: Buffer.from(password) }));
  socket.on('data', (chunk: Buffer) => {
    let bytes = chunk.length;
    if (!isOpen) {
      if (chunk[3] !== 0) throw new Error(`refused with ${chunk[3]}`);
      isOpen = true;
      bytes -= 4;
    }
    rest += bytes;
    answered += Math.floor(rest / pubackBytes);
    rest %= pubackBytes;
    if (answered >= own.length) socket.end();
    else push();
  });
  return new Promise((resolve, reject) => socket.once('close', () => (answered >= own.length ? resolve() : reject(new Error(`device ${index}: ${answered} of ${own.length} were acknowledged`)))));
}

await Promise.all(packets.map(publish));
