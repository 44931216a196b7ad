/** Strict UTF-8: bytes that are none give `null`, never replacement characters. A byte-order mark is dropped. */
const strict = new TextDecoder('utf-8', { fatal: true });

export function decodeUtf8(bytes: Uint8Array): string | null {
  try {
    return strict.decode(bytes);
  } catch {
    // The only thing `decode` throws here is a TypeError for malformed bytes: that is the answer, not a failure.
    return null;
  }
}
