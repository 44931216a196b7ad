/**
 * Publishes to a broker as fast as it takes, at QoS 1 with a window in flight, over a bare socket: packets are made beforehand and PUBACKs only
 * counted, so that the publisher is not what is measured. Prints when it begins and ends.
 */
import { connect } from 'node:net';
import { generate } from 'mqtt-packet';
import { benchMessage, benchUser } from './bench-site.ts';

const [port = '', wanted = '', password = ''] = process.argv.slice(2);
const messages = Number(wanted);
const window = 1000;
const pubackBytes = 4;

const firstMs = Date.now() - 60_000;
const packets = Array.from({ length: messages }, (_, i) => {
  const { topic, payload } = benchMessage(i, firstMs);
  return generate({ cmd: 'publish', topic, payload, qos: 1, messageId: (i % 65_000) + 1, retain: false, dup: false });
});

const socket = connect(Number(port), '127.0.0.1');
socket.setNoDelay(true);
let sent = 0;
let answered = 0;
let isOpen = false;
const push = (): void => {
  const upTo = Math.min(messages, answered + window);
  if (upTo <= sent) return;
  socket.write(Buffer.concat(packets.slice(sent, upTo)));
  sent = upTo;
};
socket.write(generate({ cmd: 'connect', protocolId: 'MQTT', protocolVersion: 4, clean: true, clientId: 'bench-raw', keepalive: 60, username: benchUser, password: Buffer.from(password) }));
let rest = 0;
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
  if (answered >= messages) socket.end();
  else push();
});
socket.on('close', () => process.exit(answered >= messages ? 0 : 1));
