/** Sessions: a random token lives in the browser's cookie, only its SHA-256 in the store. */
import { createHash, randomBytes } from 'node:crypto';
import type { CookieSerializeOptions } from '@fastify/cookie';
import { DAY } from '../domain/duration.ts';
import type { Account, AccountStore } from '../store/contract.ts';

export const SESSION_COOKIE = 'tankbell-session';
export const SESSION_MS = 30 * DAY;
const TOKEN_BYTES = 32;

/** Starts a session. @returns the token for the cookie; it is not kept anywhere else. */
export async function openSession(store: AccountStore, account: Account, nowMs: number): Promise<string> {
  const token = randomBytes(TOKEN_BYTES).toString('base64url');
  await store.putSession({ tokenHash: tokenHash(token), accountId: account.id, expiresMs: nowMs + SESSION_MS });
  return token;
}

export async function accountOf(store: AccountStore, token: string | undefined, nowMs: number): Promise<Account | null> {
  // A token of another length was not made here; don't ask the store about it.
  if (token === undefined || !/^[\w-]{43}$/.test(token)) return null;
  return store.accountBySession(tokenHash(token), nowMs);
}

export async function closeSession(store: AccountStore, token: string): Promise<void> {
  await store.removeSession(tokenHash(token));
}

export function cookieOptions(publicUrl: string): CookieSerializeOptions {
  return { path: '/', httpOnly: true, sameSite: 'lax', secure: publicUrl.startsWith('https:'), maxAge: SESSION_MS / 1000 };
}

function tokenHash(token: string): string {
  return createHash('sha256').update(token).digest('hex');
}
