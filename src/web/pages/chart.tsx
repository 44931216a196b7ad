/** @jsxRuntime automatic @jsxImportSource preact */
/** A chart as the server draws it: complete without JavaScript, replaced in place by the `charts` island where that runs. */
import type { Point } from '../../domain/fleet.ts';
import { kinds } from '../../domain/kinds.ts';
import { show } from '../../domain/units.ts';
import type { AlarmSpan } from '../chart-spans.ts';
import type { Limits } from '../limits.ts';
import type { ChartSeries } from '../series.ts';
import { Shape } from '../shapes.tsx';
import { showSince, showTime } from '../times.ts';
import { words } from '../words.ts';

export interface ChartFacts {
  readonly point: Point;
  readonly limits: Limits;
  readonly series: ChartSeries;
  readonly spans: readonly AlarmSpan[];
}

export interface ChartGroup {
  readonly charts: readonly ChartFacts[];
  readonly fromMs: number;
  readonly toMs: number;
  /** The span ends now: the island keeps it up to date. */
  readonly followsNow: boolean;
  readonly zone: string;
  readonly nowMs: number;
}

export function Charts({ charts, fromMs, toMs, followsNow, zone, nowMs }: ChartGroup) {
  return (
    <div class="charts" data-charts data-from={fromMs} data-to={toMs} data-follow={followsNow ? 'yes' : undefined} data-zone={zone}>
      {charts.map((chart) => <Chart key={chart.point.id} {...chart} fromMs={fromMs} toMs={toMs} zone={zone} nowMs={nowMs} />)}
    </div>
  );
}

function Chart({ point, limits, series, spans, fromMs, toMs, zone, nowMs }: ChartFacts & { fromMs: number; toMs: number; zone: string; nowMs: number }) {
  const reach = reachOf(series, limits);
  const isRate = series.unit !== kinds[point.kind].unit;
  const said = (value: number): string => (isRate ? `${value.toFixed(kinds[point.kind].decimals)} ${series.unit}` : show(point.kind, value));
  const text = reach === null ? words.tank.nothingStored : words.tank.lowHigh(said(reach.dataLow), said(reach.dataHigh));
  return (
    <figure class="chart" data-point={point.id} data-unit={series.unit} data-as={isRate ? 'increase' : undefined} data-decimals={kinds[point.kind].decimals} data-step={point.kind === 'switch' ? 'yes' : undefined}
      data-low={limits.low ?? undefined} data-high={limits.high ?? undefined} data-spans={spans.length > 0 ? JSON.stringify(spans.map(markOf)) : undefined}>
      <figcaption>
        <h3>{point.name}</h3>
        <span class="muted">{isRate ? words.tank.perHour(series.unit) : series.unit}</span>
        <output class="reads">{text}</output>
      </figcaption>
      <div class="plot" role="img" aria-label={`${words.tank.chartOf(point.name)}: ${text}`}>
        {reach === null ? <p class="empty">{words.tank.nothingStored}</p> : <Drawing series={series} limits={limits} spans={spans} reach={reach} fromMs={fromMs} toMs={toMs} />}
      </div>
      {series.suspectMs.length > 0 && <p class="suspects"><span aria-hidden="true">×</span> {words.tank.suspects(series.suspectMs.length, showTime(series.suspectMs.at(-1) ?? 0, zone, nowMs))}</p>}
      {spans.length > 0 && (
        <ul class="spans">
          {spans.map((span) => (
            <li key={span.alarmId}>
              <Shape mark={span.priority} hollow={span.taken} />{' '}
              <a href={`/alarms/${span.alarmId}`}>{span.title}</a>{' '}
              {words.board.since(showTime(span.fromMs, zone, nowMs), showSince(span.fromMs, span.toMs ?? nowMs))}
            </li>
          ))}
        </ul>
      )}
    </figure>
  );
}

const markOf = ({ title, priority, fromMs, toMs, taken }: AlarmSpan) => ({ title, priority, fromMs, toMs, taken });

interface Reach {
  readonly low: number;
  readonly high: number;
  readonly dataLow: number;
  readonly dataHigh: number;
}

/** Lowest and highest value to show: of the data, and the limits so that one sees how far away they are. */
function reachOf(series: ChartSeries, limits: Limits): Reach | null {
  const lows = (series.min ?? series.mean).filter((value) => value !== null);
  const highs = (series.max ?? series.mean).filter((value) => value !== null);
  if (lows.length === 0 || highs.length === 0) return null;
  const dataLow = lows.reduce((a, b) => Math.min(a, b));
  const dataHigh = highs.reduce((a, b) => Math.max(a, b));
  const low = Math.min(dataLow, limits.low ?? dataLow);
  const high = Math.max(dataHigh, limits.high ?? dataHigh);
  const margin = high > low ? (high - low) * 0.06 : Math.max(Math.abs(high) * 0.05, 0.5);
  return { low: low - margin, high: high + margin, dataLow, dataHigh };
}

const WIDTH = 1000;
const HEIGHT = 150;

function Drawing({ series, limits, spans, reach, fromMs, toMs }: Pick<ChartFacts, 'series' | 'limits' | 'spans'> & { reach: Reach; fromMs: number; toMs: number }) {
  const x = (atMs: number): number => Math.round(Math.min(WIDTH, Math.max(0, ((atMs - fromMs) / (toMs - fromMs)) * WIDTH)));
  const y = (value: number): number => Math.round(HEIGHT - ((value - reach.low) / (reach.high - reach.low)) * HEIGHT);
  return (
    <svg viewBox={`0 0 ${WIDTH} ${HEIGHT}`} preserveAspectRatio="none" aria-hidden="true" focusable="false">
      {spans.map((span) => <rect key={span.alarmId} class={`span m-${span.priority}`} x={x(span.fromMs)} y="0" width={Math.max(2, x(span.toMs ?? toMs) - x(span.fromMs))} height={HEIGHT} />)}
      {[limits.low, limits.high].filter((limit) => limit !== null).map((limit) => <path key={limit} class="limit" d={`M0 ${y(limit)}H${WIDTH}`} />)}
      {series.min !== null && series.max !== null && <path class="band" d={bandPath(series.t, series.min, series.max, x, y)} />}
      {series.suspectMs.length > 0 && <path class="suspect" d={series.suspectMs.map((atMs) => `M${x(atMs) - 4} ${HEIGHT - 12}l8 8m0 -8l-8 8`).join('')} />}
      <path class="mean" d={linePath(series.t, series.mean, x, y)} />
    </svg>
  );
}

type Scale = (n: number) => number;

function linePath(t: readonly number[], values: readonly (number | null)[], x: Scale, y: Scale): string {
  let path = '';
  let pen = false;
  values.forEach((value, index) => {
    const atMs = t[index];
    if (value === null || atMs === undefined) {
      pen = false;
      return;
    }
    // "h0" makes a lone reading between two gaps visible as a dot.
    path += pen ? `L${x(atMs)} ${y(value)}` : `M${x(atMs)} ${y(value)}h0`;
    pen = true;
  });
  return path;
}

function bandPath(t: readonly number[], min: readonly (number | null)[], max: readonly (number | null)[], x: Scale, y: Scale): string {
  let path = '';
  let run: { x: number; low: number; high: number }[] = [];
  const flush = (): void => {
    if (run.length > 1) {
      path += `M${run.map((at) => `${at.x} ${at.high}`).join('L')}L${[...run].reverse().map((at) => `${at.x} ${at.low}`).join('L')}Z`;
    }
    run = [];
  };
  t.forEach((atMs, index) => {
    const low = min[index];
    const high = max[index];
    if (typeof low === 'number' && typeof high === 'number') run.push({ x: x(atMs), low: y(low), high: y(high) });
    else flush();
  });
  flush();
  return path;
}
