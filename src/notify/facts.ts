/** Everything a message about a page may say. Gathered by `gather.ts`; composing from it is pure. */
import type { Alarm } from '../domain/alarm.ts';
import type { Client, Equipment, Person, Site, Tank } from '../domain/fleet.ts';
import type { Kind } from '../domain/kinds.ts';
import type { Page } from '../domain/page.ts';

export interface PageFacts {
  readonly page: Page;
  readonly person: Person;
  /** `null` for a test page. */
  readonly alarm: Alarm | null;
  /** `null` when the fleet no longer has it: the page is sent all the same. */
  readonly tank: Tank | null;
  readonly site: Site | null;
  readonly client: Client | null;
  readonly equipment: Equipment | null;
  /** What to look at first, from the rule; empty when the rule is gone. */
  readonly firstChecks: readonly string[];
  /** Latest usable reading of each point the rule watches. */
  readonly latest: readonly LatestReading[];
  readonly onCall: OnCallFacts;
  /** Alarms that are open because of this one and ring nobody, oldest first. */
  readonly explains: readonly ExplainedAlarm[];
  /** The page that opened the conversation; `null`: this one does. */
  readonly threadRoot: Page | null;
  /** Set when the page goes out noticeably later than it was decided: why, in words. */
  readonly lateWhy: string | null;
  readonly links: { readonly acknowledge: AcknowledgeLink | null; readonly alarm: string | null };
  readonly nowMs: number;
  /** A line shown on top of every message. */
  readonly notice: string | null;
}

export interface LatestReading {
  readonly pointName: string;
  readonly kind: Kind;
  readonly value: number;
  readonly atMs: number;
  /** Not older than the point may be silent, and its gateway is not away. A value that is not current is never shown as if it were. */
  readonly current: boolean;
  /** What its gateway says against it (`its gateway … is offline since …`); `null`: nothing. */
  readonly offlineWhy: string | null;
}

export interface ExplainedAlarm {
  readonly title: string;
  readonly tankName: string;
  readonly summary: string;
}

export interface OnCallFacts {
  /** Names of those paged so far, first to last. */
  readonly paged: readonly string[];
  /** Who is paged next if nobody acknowledges; `null`: nobody. */
  readonly next: { readonly personId: string; readonly name: string; readonly atMs: number } | null;
  /** As people read it. */
  readonly acknowledgedBy: string | null;
}

export interface AcknowledgeLink {
  readonly url: string;
  readonly expiresMs: number;
}
