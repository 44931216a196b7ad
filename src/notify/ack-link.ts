/**
 * Signed, expiring acknowledge links. A link stands for one person and one alarm; the page behind it shows a button and
 * acts on POST only, because mail scanners fetch every link they see (the reason behind RFC 8058).
 *
 * Token: base64url( MAC ‖ alarm id as varint ‖ expiry in ms, 48 bit ‖ person id in UTF-8 ).
 * MAC: HMAC-SHA-256 (RFC 2104, FIPS 180-4) cut to its leftmost 128 bits, the shortest RFC 2104 §5 recommends.
 */
import { createHmac, timingSafeEqual } from 'node:crypto';

export interface AckLinks {
  /** Base of every link, without a trailing slash. */
  readonly publicUrl: string;
  /** `https://…/acknowledge/<token>`, valid while `nowMs < expiresMs`. */
  link(alarmId: number, personId: string, expiresMs: number): string;
  verify(token: string, nowMs: number): AckLink;
}

export type AckLink =
  | { readonly ok: true; readonly alarmId: number; readonly personId: string }
  | { readonly ok: false; readonly why: 'expired' | 'invalid' };

export const ACKNOWLEDGE_PATH = '/acknowledge/';

/** @param secret at least 32 random bytes. @throws RangeError when it is shorter. */
export function makeAckLinks(secret: Uint8Array, publicUrl: string): AckLinks {
  if (secret.length < SECRET_BYTES) throw new RangeError(`the secret of acknowledge links needs at least ${SECRET_BYTES} bytes, got ${secret.length}`);
  const base = publicUrl.replace(/\/+$/, '');
  return {
    publicUrl: base,
    link(alarmId, personId, expiresMs) {
      const payload = encode(alarmId, personId, expiresMs);
      return `${base}${ACKNOWLEDGE_PATH}${Buffer.concat([macOf(secret, payload), payload]).toString('base64url')}`;
    },
    verify(token, nowMs) {
      const payload = authentic(secret, token);
      const content = payload === null ? null : decode(payload);
      if (content === null) return { ok: false, why: 'invalid' };
      if (nowMs >= content.expiresMs) return { ok: false, why: 'expired' };
      return { ok: true, alarmId: content.alarmId, personId: content.personId };
    },
  };
}

/** The bare primitive, exported for its published test vectors. */
export function hmacSha256(key: Uint8Array, data: Uint8Array): Buffer {
  return createHmac('sha256', key).update(data).digest();
}

const SECRET_BYTES = 32;
const MAC_BYTES = 16;
const EXPIRY_BYTES = 6;
/** Longer than any token made here, so that nobody makes the server hash a novel. */
const MAX_TOKEN_CHARS = 1024;
/** Keeps these MACs apart from any other use of the same secret. */
const PURPOSE = Buffer.from('tankbell acknowledge 1\0');

function macOf(secret: Uint8Array, payload: Buffer): Buffer {
  return hmacSha256(secret, Buffer.concat([PURPOSE, payload])).subarray(0, MAC_BYTES);
}

/** @returns the payload when the token was signed with `secret`, else `null`. */
function authentic(secret: Uint8Array, token: string): Buffer | null {
  if (token.length > MAX_TOKEN_CHARS) return null;
  const bytes = Buffer.from(token, 'base64url');
  // The last character carries unused bits, and decoding skips foreign characters: only the one true spelling counts.
  if (bytes.length <= MAC_BYTES || bytes.toString('base64url') !== token) return null;
  const payload = bytes.subarray(MAC_BYTES);
  return timingSafeEqual(bytes.subarray(0, MAC_BYTES), macOf(secret, payload)) ? payload : null;
}

function encode(alarmId: number, personId: string, expiresMs: number): Buffer {
  if (!Number.isSafeInteger(alarmId) || alarmId < 0) throw new RangeError(`alarm id ${alarmId} is no whole number`);
  const id: number[] = [];
  let rest = alarmId;
  while (rest >= 0x80) {
    id.push((rest % 0x80) + 0x80);
    rest = Math.floor(rest / 0x80);
  }
  id.push(rest);
  const expiry = Buffer.alloc(EXPIRY_BYTES);
  expiry.writeUIntBE(expiresMs, 0, EXPIRY_BYTES);
  return Buffer.concat([Buffer.from(id), expiry, Buffer.from(personId, 'utf8')]);
}

function decode(payload: Buffer): { alarmId: number; personId: string; expiresMs: number } | null {
  let alarmId = 0;
  let scale = 1;
  let at = 0;
  for (;;) {
    const byte = payload[at];
    if (byte === undefined) return null;
    at += 1;
    alarmId += (byte & 0x7f) * scale;
    scale *= 0x80;
    if (byte < 0x80) break;
  }
  if (payload.length < at + EXPIRY_BYTES) return null;
  return { alarmId, expiresMs: payload.readUIntBE(at, EXPIRY_BYTES), personId: payload.toString('utf8', at + EXPIRY_BYTES) };
}
