/** Everything the pages and the API tell about one alarm, gathered once. */
import type { Alarm } from '../domain/alarm.ts';
import { HOUR } from '../domain/duration.ts';
import type { Client, Point, Site, Tank } from '../domain/fleet.ts';
import { firstChecksOf } from '../rules/advice.ts';
import type { Rule } from '../rules/contract.ts';
import { alarmSpan, pointsOfRule } from './chart-spans.ts';
import type { WebContext } from './context.ts';
import { limitsOf } from './limits.ts';
import type { ChartGroup } from './pages/chart.tsx';
import { type Span, chartSeries, increaseSeries, isCounter } from './series.ts';

export interface AlarmSurroundings {
  /** `null` where the fleet does not know it any more. */
  readonly rule: Rule | null;
  readonly tank: Tank | null;
  readonly site: Site | null;
  readonly client: Client | null;
  readonly firstChecks: readonly string[];
}

export function surroundingsOf(context: WebContext, alarm: Alarm): AlarmSurroundings {
  const fleet = context.fleet();
  const rule = context.rules().find((one) => one.id === alarm.ruleId) ?? null;
  const site = fleet.sites.find((one) => one.id === alarm.siteId) ?? null;
  return {
    rule, site,
    tank: fleet.tanks.find((one) => one.id === alarm.tankId) ?? null,
    client: fleet.clients.find((one) => one.id === site?.clientId) ?? null,
    firstChecks: rule === null ? [] : firstChecksOf(rule),
  };
}

const SERVER_DRAWN_BUCKETS = 240;

/** Charts of the points a rule watches, around the life of the alarm; `null` when there are none. */
export async function alarmCharts(context: WebContext, alarm: Alarm, { rule, site }: AlarmSurroundings): Promise<ChartGroup | null> {
  const fleet = context.fleet();
  const ids = pointsOfRule(rule ?? undefined);
  const points = ids.map((id) => fleet.points.find((point) => point.id === id)).filter((point) => point !== undefined);
  if (points.length === 0) return null;
  const nowMs = context.clock.now();
  const span = spanAround(alarm, nowMs);
  return drawnCharts(context, { points, span, followsNow: span.toMs >= nowMs, zone: site?.timeZone ?? 'UTC', alarms: [alarm], nowMs });
}

/** The server's own drawing of some points, with the alarms marked that concern each. */
export async function drawnCharts(
  context: WebContext,
  { points, span, followsNow, zone, alarms, nowMs }: { points: readonly Point[]; span: Span; followsNow: boolean; zone: string; alarms: readonly Alarm[]; nowMs: number },
): Promise<ChartGroup> {
  const rules = context.rules();
  const marks = alarms.map((alarm) => alarmSpan(alarm, rules));
  const charts = await Promise.all(points.map(async (point) => ({
    point,
    limits: limitsOf(point.id, rules),
    series: isCounter(point) ? await increaseSeries(context.store, point, span) : await chartSeries(context.store, point, span, SERVER_DRAWN_BUCKETS),
    spans: marks.filter((mark) => mark.pointIds.includes(point.id)),
  })));
  return { charts, fromMs: span.fromMs, toMs: span.toMs, followsNow, zone, nowMs };
}

/** The alarm's life with as much before it again, at least two hours, so that one sees what it came out of. */
export function spanAround(alarm: Alarm, nowMs: number): Span {
  const endMs = alarm.returnedMs ?? alarm.closedMs ?? nowMs;
  const marginMs = Math.max(2 * HOUR, endMs - alarm.beganMs);
  return { fromMs: alarm.beganMs - marginMs, toMs: Math.min(nowMs, endMs + marginMs / 2) };
}
