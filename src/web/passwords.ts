/**
 * Password hashes: scrypt (RFC 7914) with a random salt, the parameters kept in the hash so that they can be raised later.
 * Cost: N = 2^15, r = 8, p = 3 (32 MiB), one of the equivalent minimum settings of the OWASP password storage cheat sheet (from memory).
 */
import { type ScryptOptions, randomBytes, scrypt, timingSafeEqual } from 'node:crypto';

export const MIN_PASSWORD_LENGTH = 10;
/** Longer ones are refused before any work is done. */
export const MAX_PASSWORD_LENGTH = 200;

const cost = { N: 2 ** 15, r: 8, p: 3 } as const;
const KEY_BYTES = 32;
const SALT_BYTES = 16;
/** No stored hash may ask for more work than this. */
const MAX_MEMORY_BYTES = 256 * 1024 * 1024;

/** @returns `scrypt$N$r$p$salt$key`, salt and key in base64url. */
export async function hashPassword(password: string): Promise<string> {
  const salt = randomBytes(SALT_BYTES);
  const key = await derive(password, salt, KEY_BYTES, cost);
  return ['scrypt', cost.N, cost.r, cost.p, salt.toString('base64url'), key.toString('base64url')].join('$');
}

/** A hash that no password matches and that takes as long to compare with as any: for names that do not exist. */
export function hashOfNobody(): string {
  return ['scrypt', cost.N, cost.r, cost.p, randomBytes(SALT_BYTES).toString('base64url'), randomBytes(KEY_BYTES).toString('base64url')].join('$');
}

/** Compares in constant time. A hash that cannot be read matches nothing. */
export async function passwordMatches(password: string, hash: string): Promise<boolean> {
  const [scheme, n, r, p, salt, key] = hash.split('$');
  if (scheme !== 'scrypt' || salt === undefined || key === undefined) return false;
  const wanted = Buffer.from(key, 'base64url');
  const options = { N: Number(n), r: Number(r), p: Number(p) };
  if (wanted.length < 16 || !plausible(options)) return false;
  const got = await derive(password, Buffer.from(salt, 'base64url'), wanted.length, options);
  return timingSafeEqual(got, wanted);
}

/** Why a new password will not do, in words; `null` when it will. */
export function passwordProblem(password: string): string | null {
  if (password.length < MIN_PASSWORD_LENGTH) return `too short: use at least ${MIN_PASSWORD_LENGTH} characters, several words are fine`;
  if (password.length > MAX_PASSWORD_LENGTH) return `too long: use at most ${MAX_PASSWORD_LENGTH} characters`;
  return null;
}

function plausible({ N, r, p }: { N: number; r: number; p: number }): boolean {
  const whole = [N, r, p].every((n) => Number.isInteger(n) && n > 0);
  return whole && N > 1 && (N & (N - 1)) === 0 && 128 * N * r <= MAX_MEMORY_BYTES && p <= 16;
}

function derive(password: string, salt: Buffer, bytes: number, options: ScryptOptions): Promise<Buffer> {
  // The same password typed on another keyboard may be composed differently: normalise as RFC 8265 does.
  const text = password.normalize('NFC');
  return new Promise((resolve, reject) => {
    scrypt(text, salt, bytes, { ...options, maxmem: MAX_MEMORY_BYTES * 2 }, (error, key) => (error === null ? resolve(key) : reject(error)));
  });
}
