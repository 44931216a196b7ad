/** A router that can be exchanged while sources run: a message is routed by the one in force when it arrives. */
import type { PresenceChange } from '../src/domain/presence.ts';
import type { Router } from './router.ts';

export interface ReplaceableRouter extends Router {
  /** @returns of points that are new: what is known of their gateways. */
  replace(next: Router, atMs: number): readonly PresenceChange[];
}

export function replaceableRouter(first: Router): ReplaceableRouter {
  let now = first;
  return {
    route: (message) => now.route(message),
    get subscriptions() {
      return now.subscriptions;
    },
    claims: (topic) => now.claims(topic),
    connected: (atMs, sessionKept) => now.connected(atMs, sessionKept),
    get announcement() {
      return now.announcement;
    },
    explain: () => now.explain(),
    resume: (before, atMs) => now.resume(before, atMs),
    get sessions() {
      return now.sessions;
    },
    replace(next, atMs) {
      const presence = next.resume(now, atMs);
      now = next;
      return presence;
    },
  };
}
