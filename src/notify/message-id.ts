/** Identity of a mail, made of the page, so that a mail sent twice around a crash is recognisable as one. */
import { createHash } from 'node:crypto';
import type { Page } from '../domain/page.ts';

const HEX_DIGITS = 32;

/**
 * The creation time is part of it: page ids start over in a fresh data folder, and mailboxes quietly drop a message whose
 * id they have seen before.
 */
export function messageIdOf(page: Pick<Page, 'id' | 'createdMs'>): string {
  return `page-${createHash('sha256').update(`${page.id}\n${page.createdMs}`).digest('hex').slice(0, HEX_DIGITS)}`;
}

/** The page that started the conversation about an alarm: later ones reply to it. `null`: this page is the first. */
export function threadRootOf(page: Page, pagesOfAlarm: readonly Page[]): Page | null {
  let root = page;
  for (const other of pagesOfAlarm) {
    if (other.createdMs < root.createdMs || (other.createdMs === root.createdMs && other.id < root.id)) root = other;
  }
  return root.id === page.id ? null : root;
}
