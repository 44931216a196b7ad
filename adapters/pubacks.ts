/** PUBACK packets; the same four bytes in MQTT 3.1.1 (§3.4) and, reason "success" left out, in MQTT 5 (§3.4.2.1). */
export function pubacks(ids: readonly number[]): Buffer {
  const bytes = Buffer.allocUnsafe(ids.length * 4);
  let at = 0;
  for (const id of ids) {
    bytes.writeUInt16BE(0x4002, at);
    bytes.writeUInt16BE(id, at + 2);
    at += 4;
  }
  return bytes;
}
