/** Alarms as a tree of causes: what stands at the root of one, and what hangs on one. */
import { type Alarm, isBehindCause } from './alarm.ts';

/** Kinds that explain each other have no circle; the bound is for a fleet file changed under open alarms. */
const deepest = 20;

/** The alarm for which somebody is rung: itself, or the one it is suppressed behind, up to the first that is not suppressed. */
export function rootOf(alarm: Alarm, open: (alarmId: number) => Alarm | null): Alarm {
  let root = alarm;
  for (let step = 0; step < deepest && isBehindCause(root) && root.cause !== null; step += 1) {
    const above = open(root.cause.alarmId);
    if (above === null) break;
    root = above;
  }
  return root;
}

/** Everything an alarm explains, directly or by way of what it explains, oldest first. */
export function explainedBy(alarmId: number, alarms: readonly Alarm[]): readonly Alarm[] {
  const found = new Map<number, Alarm>();
  let layer: readonly number[] = [alarmId];
  for (let step = 0; step < deepest && layer.length > 0; step += 1) {
    const above = new Set(layer);
    const next = alarms.filter((alarm) => alarm.cause !== null && above.has(alarm.cause.alarmId) && !found.has(alarm.id));
    for (const alarm of next) found.set(alarm.id, alarm);
    layer = next.map(({ id }) => id);
  }
  return [...found.values()].sort((a, b) => a.beganMs - b.beganMs || a.id - b.id);
}
