/** Looks at the first bytes of a connection, without taking them, to learn which MQTT it speaks. */
import type { Socket } from 'node:net';

/** A sane client sends its CONNECT at once. */
const FIRST_BYTES_TIMEOUT_MS = 10_000;

/** Calls `then` with the protocol level of the CONNECT (3, 4, 5 …), or `null` when the first packet is none; the bytes are put back. */
export function whenVersionKnown(socket: Socket, then: (version: number | null) => void): void {
  let seen: Buffer = Buffer.alloc(0);
  const look = (): void => {
    const chunk: unknown = socket.read();
    if (!(chunk instanceof Buffer)) return;
    seen = Buffer.concat([seen, chunk]);
    const version = versionIn(seen);
    if (version === 'more') return;
    socket.off('readable', look);
    socket.setTimeout(0);
    socket.unshift(seen);
    then(version);
  };
  socket.setTimeout(FIRST_BYTES_TIMEOUT_MS, () => socket.destroy());
  socket.on('readable', look);
}

/** CONNECT (MQTT 5 §3.1): 0x10, remaining length in 1–4 bytes, the protocol name with its length in two bytes, the level. */
export function versionIn(bytes: Uint8Array): number | null | 'more' {
  if (bytes.length === 0) return 'more';
  if (bytes[0] !== 0x10) return null;
  let at = 1;
  while (at <= 4 && ((bytes[at] ?? 0) & 0x80) !== 0) at += 1;
  if (at > 4) return null;
  at += 1;
  const high = bytes[at];
  const low = bytes[at + 1];
  if (high === undefined || low === undefined) return 'more';
  const nameLength = high * 256 + low;
  if (nameLength > 6) return null;
  return bytes[at + 2 + nameLength] ?? 'more';
}
