/** The append-only record of everything that happened. */
export const journalKinds = ['alarm', 'acknowledgement', 'hold', 'page', 'delivery', 'fleet', 'import', 'service', 'gap', 'user', 'note'] as const;
export type JournalKind = (typeof journalKinds)[number];

export interface JournalEntry {
  /** When it happened. */
  readonly atMs: number;
  readonly kind: JournalKind;
  readonly siteId: string | null;
  readonly tankId: string | null;
  readonly alarmId: number | null;
  /** Person, `tankbell` for the service itself. */
  readonly by: string;
  /** One plain sentence. */
  readonly text: string;
  /** Facts behind it: states, numbers, old and new values. */
  readonly detail: Readonly<Record<string, unknown>>;
}

export interface StoredJournalEntry extends JournalEntry {
  readonly id: number;
}
