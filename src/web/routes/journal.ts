import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { instantOf } from '../../domain/local-time.ts';
import { type JournalKind, journalKinds } from '../../domain/journal.ts';
import { type WebContext, sendHtml, viewerOf } from '../context.ts';
import { journalPage } from '../pages/journal.tsx';
import { words } from '../words.ts';

const SHOWN = 100;

const text = (max: number) => z.string().trim().max(max).catch('').default('');
const query = z.object({
  tank: text(200),
  kind: z.union([z.string(), z.array(z.string())]).transform((kinds) => [kinds].flat().filter(isKind)).catch([]).default([]),
  contains: text(200),
  before: text(40),
  older: z.coerce.number().int().positive().optional().catch(undefined),
});

export function journalRoutes(app: FastifyInstance, context: WebContext): void {
  app.get('/journal', async (request, reply) => {
    const viewer = viewerOf(context, request);
    const { tank, kind: kinds, contains, before, older } = query.parse(request.query);
    const toMs = before === '' ? null : localInstant(before, viewer.zone);
    const entries = await context.store.journal({
      ...(tank === '' ? {} : { tankId: tank }),
      ...(kinds.length === 0 ? {} : { kinds }),
      ...(contains === '' ? {} : { contains }),
      ...(toMs === null ? {} : { toMs }),
      ...(older === undefined ? {} : { beforeId: older }),
      limit: SHOWN + 1,
    });
    const shown = entries.slice(0, SHOWN);
    const href = (olderThan: number | null): string => {
      const params = new URLSearchParams();
      for (const [key, value] of [['tank', tank], ['contains', contains], ['before', before]] as const) if (value !== '') params.set(key, value);
      for (const kind of kinds) params.append('kind', kind);
      if (olderThan !== null) params.set('older', String(olderThan));
      return `/journal?${params.toString()}`;
    };
    const last = shown.at(-1);
    return sendHtml(reply, journalPage({
      viewer, tanks: context.fleet().tanks, entries: shown,
      filter: { tankId: tank === '' ? null : tank, kinds, contains, before },
      problem: before !== '' && toMs === null ? words.journal.badBefore : null,
      olderHref: entries.length > SHOWN && last !== undefined ? href(last.id) : null,
      newestHref: older === undefined ? null : href(null),
    }));
  });
}

function isKind(kind: string): kind is JournalKind {
  return (journalKinds as readonly string[]).includes(kind);
}

/** `2026-11-25` (its midnight) or `2026-11-25T14:00`, on the clocks of `zone`; `null` when it is written otherwise. */
export function localInstant(written: string, zone: string): number | null {
  const match = /^(\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}):(\d{2}))?$/.exec(written);
  if (match === null) return null;
  const [year = 0, month = 0, day = 0, hour = 0, minute = 0] = match.slice(1).map((part) => (part === undefined ? 0 : Number(part)));
  if (month < 1 || month > 12 || day < 1 || day > 31 || hour > 23 || minute > 59) return null;
  const instant = instantOf(zone, { year, month, day, hour, minute, second: 0 });
  if (instant.kind === 'one') return instant.atMs;
  return instant.kind === 'overlap' ? instant.firstMs : null;
}
