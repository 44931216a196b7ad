/** What the handlers of one running web share, and what they know about the person asking. */
import type { FastifyReply, FastifyRequest } from 'fastify';
import type { Account } from '../store/contract.ts';
import type { Assets } from './assets.ts';
import type { Viewer } from './layout.tsx';
import type { LiveHub } from './live.ts';
import type { WebOptions } from './options.ts';
import { showTime } from './times.ts';
import { words } from './words.ts';

export interface WebContext extends WebOptions {
  readonly assets: Assets;
  readonly hub: LiveHub;
}

declare module 'fastify' {
  interface FastifyContextConfig {
    /** May be read without login. Everything else may not. */
    open?: boolean;
    /** The address is the permission: no cookie is used, and the origin may be hidden. */
    secretAddress?: boolean;
    /** The command line on this machine may use it too. */
    localToken?: boolean;
    /** Belongs to devices: the token of the site in the address opens it, and nothing else does. */
    siteToken?: boolean;
  }
  interface FastifyRequest {
    account: Account | null;
  }
}

export function viewerOf(context: WebContext, request: FastifyRequest): Viewer {
  const nowMs = context.clock.now();
  const zone = zoneOf(context, request.account);
  const { trouble, committedMs } = context.engine.view;
  const troubles = trouble === null ? [] : [words.commitTrouble(showTime(committedMs, zone, nowMs), trouble)];
  return {
    name: request.account?.name ?? null,
    zone,
    nowMs,
    notice: context.notice,
    // What is wrong inside is told to those who are logged in.
    troubles: request.account === null ? [] : [...troubles, ...(context.troubles?.() ?? [])],
    assets: context.assets.urls,
  };
}

/** The person's name where the login belongs to one, else the login's. */
export function byOf(context: WebContext, request: FastifyRequest): string {
  const { account } = request;
  if (account === null) throw new Error(`${request.url} acts without a login: the guard is missing`);
  return context.fleet().people.find((person) => person.id === account.personId)?.name ?? account.name;
}

export function sendHtml(reply: FastifyReply, html: string, status = 200): FastifyReply {
  return reply.code(status).type('text/html; charset=utf-8').send(html);
}

/** The zone of the person; else the one all sites share; else UTC. */
function zoneOf(context: WebContext, account: Account | null): string {
  const { people, sites } = context.fleet();
  const own = people.find((person) => account !== null && person.id === account.personId)?.timeZone;
  if (own !== undefined) return own;
  const zones = new Set(sites.map((site) => site.timeZone));
  const [only] = zones;
  return zones.size === 1 && only !== undefined ? only : 'UTC';
}
