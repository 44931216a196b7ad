/** Alarms as they are shown: what is suppressed stands under the alarm that people are rung for. */
import { type Alarm, isBehindCause } from '../domain/alarm.ts';
import { explainedBy, rootOf } from '../domain/explained.ts';
import type { LiveView } from '../engine/contract.ts';
import type { HistoryReader } from '../store/contract.ts';
import { withPresentNumbers } from './live-alarm.ts';

export interface CauseTree {
  readonly alarm: Alarm;
  /** Of the alarms asked for, those that are suppressed behind it. */
  readonly explained: readonly Alarm[];
}

/** @param alarms open ones, of one tank perhaps; a root that is not among them (the mains of the site, told at another tank) is taken in. In no order. */
export function causeTrees(alarms: readonly Alarm[], view: Pick<LiveView, 'openAlarms' | 'verdict'>): readonly CauseTree[] {
  const explained = new Map<number, Alarm[]>();
  const roots = new Map<number, Alarm>();
  for (const alarm of alarms) {
    const root = rootOf(alarm, (id) => view.openAlarms.get(id) ?? null);
    roots.set(root.id, root);
    if (root !== alarm && isBehindCause(alarm)) explained.set(root.id, [...(explained.get(root.id) ?? []), withPresentNumbers(alarm, view)]);
  }
  return [...roots.values()].map((root) => ({ alarm: withPresentNumbers(root, view), explained: (explained.get(root.id) ?? []).sort((a, b) => a.beganMs - b.beganMs || a.id - b.id) }));
}

/**
 * Alarms that are over, in their order: what rang nobody, because another one explained it, under that one. A root at another tank is taken in where
 * the first of what it explained stood. What an alarm explained that is still open is left to the page of that one.
 */
export async function pastTrees(alarms: readonly Alarm[], store: Pick<HistoryReader, 'alarm'>): Promise<readonly CauseTree[]> {
  const known = new Map(alarms.map((alarm) => [alarm.id, alarm]));
  const trees = new Map<number, { readonly alarm: Alarm; readonly explained: Alarm[] }>();
  const treeOf = (alarm: Alarm) => {
    const made = trees.get(alarm.id) ?? { alarm, explained: [] };
    trees.set(alarm.id, made);
    return made;
  };
  for (const alarm of alarms) {
    const root = await pastRootOf(alarm, known, store);
    if (root.closedMs === null) continue;
    const tree = treeOf(root);
    if (root !== alarm) tree.explained.push(alarm);
  }
  return [...trees.values()];
}

/** Causes have no circle; the bound is for a fleet file changed under open alarms. */
const DEEPEST = 20;

async function pastRootOf(alarm: Alarm, known: Map<number, Alarm>, store: Pick<HistoryReader, 'alarm'>): Promise<Alarm> {
  let root = alarm;
  for (let step = 0; step < DEEPEST && root.cause?.quiet === true && root.escalation.paged.length === 0; step += 1) {
    const above = known.get(root.cause.alarmId) ?? (await store.alarm(root.cause.alarmId));
    if (above === null) break;
    known.set(above.id, above);
    root = above;
  }
  return root;
}

const MOST_LOOKED_AT = 500;

/** Everything an alarm explains or explained, at the whole site. */
export async function explainedOf(alarm: Alarm, store: Pick<HistoryReader, 'alarms'>, view: Pick<LiveView, 'openAlarms' | 'verdict'>): Promise<readonly Alarm[]> {
  const stored = await store.alarms({ siteId: alarm.siteId, fromMs: alarm.beganMs, ...(alarm.closedMs === null ? {} : { toMs: alarm.closedMs + 1 }), limit: MOST_LOOKED_AT });
  return explainedBy(alarm.id, stored.map((one) => view.openAlarms.get(one.id) ?? one)).map((one) => withPresentNumbers(one, view));
}
