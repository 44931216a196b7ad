/** Logins of the embedded broker. Comparing takes the same time whatever is wrong, and for a user that does not exist. */
import { createHash, timingSafeEqual } from 'node:crypto';

export interface BrokerAccount {
  readonly user: string;
  readonly password: string;
  /** Beginning of every topic it may use. */
  readonly topics: string;
  /** Group of its Sparkplug gateways, if it has any. */
  readonly sparkplugGroup?: string | null;
}

const digest = (text: string | Uint8Array): Buffer => createHash('sha256').update(text).digest();

export function makeLogin(accounts: readonly BrokerAccount[]): (user: string, password: Uint8Array) => BrokerAccount | null {
  const known = new Map(accounts.map((account) => [account.user, { account, hash: digest(account.password) }]));
  const nobody = digest('');
  return (user, password) => {
    const entry = known.get(user);
    // Digests have one length, so that the length of the password does not show either.
    const matches = timingSafeEqual(digest(password), entry?.hash ?? nobody);
    return entry !== undefined && matches && entry.account.password !== '' ? entry.account : null;
  };
}
