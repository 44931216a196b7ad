/** Follows the fixed headers of an MQTT stream (§2.1) and tells when one announces a packet that is too large, before it is buffered. */

export type PacketGuard = (chunk: Uint8Array) => 'fine' | 'too-large' | 'malformed';

export function packetGuard(maxBytes: number): PacketGuard {
  /** Bytes of the current packet's body still to come. */
  let body = 0;
  /** The remaining-length field being read; `null` before the first header byte. */
  let length: { value: number; factor: number } | null = null;
  return (chunk) => {
    for (let i = 0; i < chunk.length; ) {
      if (body > 0) {
        const skip = Math.min(body, chunk.length - i);
        body -= skip;
        i += skip;
        continue;
      }
      const byte = chunk[i++] ?? 0;
      if (length === null) {
        length = { value: 0, factor: 1 };
        continue;
      }
      length.value += (byte & 0x7f) * length.factor;
      length.factor *= 128;
      if ((byte & 0x80) !== 0) {
        if (length.factor > 128 ** 3) return 'malformed';
        continue;
      }
      if (length.value > maxBytes) return 'too-large';
      body = length.value;
      length = null;
    }
    return 'fine';
  };
}
