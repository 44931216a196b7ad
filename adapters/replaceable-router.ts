/** A router that can be exchanged while sources run: a message is routed by the one in force when it arrives. */
import type { Router } from './router.ts';

export interface ReplaceableRouter extends Router {
  replace(next: Router): void;
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
    resume: (before) => now.resume(before),
    get sessions() {
      return now.sessions;
    },
    replace(next) {
      next.resume(now);
      now = next;
    },
  };
}
