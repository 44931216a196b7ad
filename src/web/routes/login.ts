import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { showDuration } from '../../domain/duration.ts';
import type { Account } from '../../store/contract.ts';
import { attemptLimit } from '../attempts.ts';
import { type WebContext, sendHtml, viewerOf } from '../context.ts';
import { loginPage } from '../pages/login.tsx';
import { MAX_PASSWORD_LENGTH, hashOfNobody, passwordMatches } from '../passwords.ts';
import { SESSION_COOKIE, closeSession, cookieOptions, openSession } from '../session.ts';
import { words } from '../words.ts';

const loginForm = z.object({
  name: z.string().trim().min(1).max(100),
  password: z.string().min(1).max(MAX_PASSWORD_LENGTH),
  next: z.string().max(2000).default('/'),
});

export function loginRoutes(app: FastifyInstance, context: WebContext): void {
  const limit = attemptLimit();
  // A name that does not exist must take as long as one that does.
  const nobodysHash = hashOfNobody();

  app.get<{ Querystring: { next?: string } }>('/login', { config: { open: true } }, async (request, reply) => {
    const next = ownPath(request.query.next);
    if (request.account !== null) return reply.redirect(next, 303);
    const accounts = await context.store.accounts();
    return show(request, reply, 200, { name: '', next, problem: accounts.length === 0 ? words.login.noAccounts : null });
  });

  app.post('/login', { config: { open: true } }, async (request, reply) => {
    const form = loginForm.safeParse(request.body);
    if (!form.success) return show(request, reply, 400, { name: '', next: '/', problem: words.login.incomplete });
    const { name, password } = form.data;
    const next = ownPath(form.data.next);
    const waitMs = limit.take(name, request.ip, context.clock.now());
    if (waitMs > 0) {
      reply.header('retry-after', Math.ceil(waitMs / 1000));
      return show(request, reply, 429, { name, next, problem: words.login.wait(showDuration(Math.ceil(waitMs / 1000) * 1000)) });
    }
    const account = await accountFor(name, password);
    if (account === null) return show(request, reply, 401, { name, next, problem: words.login.wrong });
    limit.succeeded(name, request.ip);
    const nowMs = context.clock.now();
    const token = await openSession(context.store, account, nowMs);
    await context.store.appendJournal([{ atMs: nowMs, kind: 'user', siteId: null, tankId: null, alarmId: null, by: account.name, text: `${account.name} logged in.`, detail: {} }]);
    return reply.setCookie(SESSION_COOKIE, token, cookieOptions(context.publicUrl)).redirect(next, 303);
  });

  app.post('/logout', { config: { open: true } }, async (request, reply) => {
    const token = request.cookies[SESSION_COOKIE];
    if (token !== undefined) await closeSession(context.store, token);
    return reply.clearCookie(SESSION_COOKIE, { path: '/' }).redirect('/login', 303);
  });

  async function accountFor(name: string, password: string): Promise<Account | null> {
    const account = await context.store.accountByName(name);
    const matches = await passwordMatches(password, account?.passwordHash ?? nobodysHash);
    return matches ? account : null;
  }

  function show(request: FastifyRequest, reply: FastifyReply, status: number, facts: { name: string; next: string; problem: string | null }): FastifyReply {
    return sendHtml(reply, loginPage({ viewer: viewerOf(context, request), ...facts }), status);
  }
}

/** Only a path of our own: never another host dressed up as one. */
export function ownPath(next: string | undefined): string {
  return next !== undefined && /^\/(?![/\\])[\x21-\x7e]*$/.test(next) && !next.includes('\\') ? next : '/';
}
