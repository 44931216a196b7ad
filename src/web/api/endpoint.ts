/** One endpoint of the API: its schemas check what comes in, and are what the OpenAPI document is made of. */
import type { FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { WebContext } from '../context.ts';

export interface Endpoint<Params = unknown, Query = unknown, Body = unknown, Answer = unknown> {
  readonly method: 'GET' | 'POST';
  /** Fastify's way of writing: `/api/alarms/:id`. */
  readonly path: string;
  readonly summary: string;
  readonly params: z.ZodType<Params>;
  readonly query: z.ZodType<Query>;
  readonly body: z.ZodType<Body>;
  readonly answer: z.ZodType<Answer>;
  /** Statuses besides 200, 400 and 401 it may answer with, and when. */
  readonly failures: Readonly<Record<number, string>>;
  handle(context: WebContext, input: { readonly params: Params; readonly query: Query; readonly body: Body }, request: FastifyRequest): Promise<Answer>;
}

export const nothing = z.object({});

/** Types the pieces of an endpoint together, then forgets the types: all are kept in one list. */
export function endpoint<Params, Query, Body, Answer>(one: Endpoint<Params, Query, Body, Answer>): Endpoint {
  return one as unknown as Endpoint;
}
