/** A web without a socket, and somebody logged in to it. */
import type { InjectOptions } from 'fastify';
import { onTestFinished } from 'vitest';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { WebOptions } from '../../src/web/options.ts';
import { buildWeb } from '../../src/web/start.ts';
import { TestClock } from './fakes.ts';
import { LOGIN, makeWorld } from './world.ts';

/** 25 Nov 2026, 09:30 UTC: 02:30 in Denver. */
export const START_MS = Date.UTC(2026, 10, 25, 9, 30);

export async function makeSite(change?: { fleet?: (fleet: Fleet) => Fleet; options?: (options: WebOptions) => Partial<WebOptions> }) {
  const clock = new TestClock(START_MS);
  const world = await makeWorld(clock, change?.fleet);
  const web = await buildWeb({ ...world.options, ...change?.options?.(world.options) });
  onTestFinished(() => web.stop());
  const { app } = web;

  async function logIn(): Promise<Visitor> {
    const answer = await app.inject({ method: 'POST', url: '/login', ...form({ ...LOGIN }) });
    const [cookie] = answer.cookies;
    if (cookie === undefined) throw new Error(`login gave no cookie: ${answer.statusCode}`);
    const cookies = { [cookie.name]: cookie.value };
    return {
      get: (url) => app.inject({ method: 'GET', url, cookies }),
      post: (url, fields = {}, headers = {}) => app.inject({ method: 'POST', url, cookies, ...form(fields, headers) }),
      inject: (options) => app.inject({ ...options, cookies }),
    };
  }

  return { app, clock, world, routes: web.routes, logIn };
}

type Answer = Awaited<ReturnType<Awaited<ReturnType<typeof buildWeb>>['app']['inject']>>;

export interface Visitor {
  get(url: string): Promise<Answer>;
  post(url: string, fields?: Record<string, string>, headers?: Record<string, string>): Promise<Answer>;
  inject(options: InjectOptions): Promise<Answer>;
}

export function form(fields: Record<string, string>, headers: Record<string, string> = {}): { payload: string; headers: Record<string, string> } {
  return { payload: new URLSearchParams(fields).toString(), headers: { 'content-type': 'application/x-www-form-urlencoded', ...headers } };
}

/** A multipart body with some fields and one file at the end, as a browser sends it. */
export function upload(fields: Record<string, string>, file: { name: string; text: string }): { payload: Buffer; headers: Record<string, string> } {
  const boundary = 'tankbell-test-boundary';
  const parts = Object.entries(fields).map(([name, value]) => `--${boundary}\r\ncontent-disposition: form-data; name="${name}"\r\n\r\n${value}\r\n`);
  const last = `--${boundary}\r\ncontent-disposition: form-data; name="file"; filename="${file.name}"\r\ncontent-type: text/csv\r\n\r\n${file.text}\r\n--${boundary}--\r\n`;
  return { payload: Buffer.from(parts.join('') + last), headers: { 'content-type': `multipart/form-data; boundary=${boundary}` } };
}
