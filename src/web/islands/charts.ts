/**
 * Draws the charts of a page with uPlot in place of the server's own drawing, aligned in time and with one cursor. Drag across a chart to
 * look closer, double-click to go back. Gaps stay gaps; long spans show the lowest and highest beside the mean; limits are dashed lines;
 * alarms are shaded and marked with the shape of their priority.
 */
import uPlot from 'uplot';
import { nowMs } from './browser-clock.ts';
import { drawAlarmLabels, drawAlarmSpans, drawLimits, drawSuspects, type Mark, type Palette, readPalette } from './chart-marks.ts';

interface ChartSeries {
  readonly shape: 'readings' | 'buckets';
  readonly t: readonly number[];
  readonly mean: readonly (number | null)[];
  readonly min: readonly (number | null)[] | null;
  readonly max: readonly (number | null)[] | null;
  readonly suspectMs: readonly number[];
}

interface Span {
  readonly fromMs: number;
  readonly toMs: number;
}

interface ChartFrame {
  readonly figure: HTMLElement;
  readonly host: HTMLElement;
  readonly pointId: string;
  readonly unit: string;
  readonly decimals: number;
  readonly isSwitch: boolean;
  readonly limits: readonly number[];
  readonly marks: readonly Mark[];
  readonly reads: HTMLElement | null;
  readonly readsText: string;
  plot: uPlot | null;
  series: ChartSeries | null;
}

const HEIGHT_PX = 170;
const MIN_SPAN_MS = 2 * 60_000;
const FOLLOW_MS = 30_000;

for (const group of document.querySelectorAll<HTMLElement>('[data-charts]')) start(group);

function start(group: HTMLElement): void {
  const zone = group.dataset['zone'] ?? 'UTC';
  const width = Number(group.dataset['to']) - Number(group.dataset['from']);
  const follows = group.dataset['follow'] === 'yes';
  const sync = uPlot.sync('tankbell');
  let whole: Span = { fromMs: Number(group.dataset['from']), toMs: Number(group.dataset['to']) };
  let span = whole;
  let loadedMs = nowMs();
  const frames = [...group.querySelectorAll<HTMLElement>('figure[data-point]')].map(frameOf).filter((frame) => frame !== null);

  const load = async (): Promise<void> => {
    loadedMs = nowMs();
    const wanted = span;
    await Promise.all(frames.map(async (frame) => {
      const series = await fetchSeries(frame, wanted);
      if (series === null || wanted !== span) return;
      frame.series = series;
      draw(frame);
    }));
  };

  const draw = (frame: ChartFrame): void => {
    if (frame.series === null) return;
    const had = frame.plot;
    const palette = readPalette(group);
    if (had === null) frame.host.replaceChildren();
    const data = dataOf(frame.series);
    frame.plot?.destroy();
    frame.plot = new uPlot(optionsFor(frame, { palette, zone, span, sync: sync.key, zoom, reset }), data, frame.host);
  };

  const zoom = (closer: Span): void => {
    if (closer.toMs - closer.fromMs < MIN_SPAN_MS) return;
    span = closer;
    void load();
  };
  const reset = (): void => {
    span = whole;
    void load();
  };
  const redraw = (): void => frames.forEach(draw);

  void load();
  let resizing = 0;
  new ResizeObserver(() => {
    cancelAnimationFrame(resizing);
    resizing = requestAnimationFrame(() => {
      for (const { plot, host } of frames) if (plot !== null && plot.width !== host.clientWidth) plot.setSize({ width: host.clientWidth, height: HEIGHT_PX });
    });
  }).observe(group);
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
  document.addEventListener('tankbell-renewed', () => {
    if (!follows || span !== whole || nowMs() - loadedMs < FOLLOW_MS) return;
    whole = { fromMs: nowMs() - width, toMs: nowMs() };
    span = whole;
    void load();
  });
}

function frameOf(figure: HTMLElement): ChartFrame | null {
  const host = figure.querySelector<HTMLElement>('.plot');
  const { point: pointId, unit = '', decimals = '1', step, low, high, spans } = figure.dataset;
  if (host === null || pointId === undefined) return null;
  const marks: readonly Mark[] = spans === undefined ? [] : JSON.parse(spans);
  const reads = figure.querySelector<HTMLElement>('.reads');
  return {
    figure, host, pointId, unit, decimals: Number(decimals), isSwitch: step === 'yes', marks, reads, readsText: reads?.textContent ?? '',
    limits: [low, high].filter((limit) => limit !== undefined).map(Number),
    plot: null, series: null,
  };
}

async function fetchSeries({ pointId, host, figure }: ChartFrame, { fromMs, toMs }: Span): Promise<ChartSeries | null> {
  const buckets = Math.min(1500, Math.max(200, Math.round(host.clientWidth)));
  const path = pointId.split('/').map(encodeURIComponent).join('/');
  try {
    const answer = await fetch(`/api/points/${path}/series?from=${Math.round(fromMs)}&to=${Math.round(toMs)}&buckets=${buckets}${figure.dataset['as'] === 'increase' ? '&as=increase' : ''}`, { credentials: 'same-origin' });
    return answer.ok ? await answer.json() : null;
  } catch {
    // What is drawn already stays; the page says by itself that it is not live.
    return null;
  }
}

function dataOf(series: ChartSeries): uPlot.AlignedData {
  const t = series.t.map((ms) => ms / 1000);
  return series.min === null || series.max === null ? [t, [...series.mean]] : [t, [...series.mean], [...series.min], [...series.max]];
}

interface Drawing {
  readonly palette: Palette;
  readonly zone: string;
  readonly span: Span;
  readonly sync: string;
  readonly zoom: (span: Span) => void;
  readonly reset: () => void;
}

function optionsFor(frame: ChartFrame, { palette, zone, span, sync, zoom, reset }: Drawing): uPlot.Options {
  const { isSwitch, limits, marks, host, decimals } = frame;
  const banded = frame.series?.shape === 'buckets';
  const stepped = uPlot.paths.stepped?.({ align: 1 });
  const axis: uPlot.Axis = { stroke: palette.muted, grid: { stroke: palette.line, width: 1 }, ticks: { stroke: palette.line, width: 1 }, font: palette.font };
  const line: uPlot.Series = { stroke: palette.text, width: 1.5, points: { show: false }, ...(isSwitch && stepped !== undefined ? { paths: stepped } : {}) };
  const edge: uPlot.Series = { stroke: palette.band, width: 0.5, points: { show: false } };
  return {
    width: host.clientWidth,
    height: HEIGHT_PX,
    tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), zone),
    legend: { show: false },
    cursor: { sync: { key: sync }, drag: { x: true, y: false, setScale: false }, points: { size: 6 }, bind: { dblclick: (_plot, _target, _handler) => () => { reset(); return null; } } },
    scales: {
      x: { time: true, range: () => [span.fromMs / 1000, span.toMs / 1000] },
      y: { range: (_plot, low, high) => reach(low, high, limits, isSwitch) },
    },
    axes: [
      { ...axis, space: 64, values: (_plot, splits) => timeLabels(splits, zone) },
      { ...axis, size: 52, space: 28, values: (_plot, splits) => splits.map((value) => (isSwitch ? switchLabel(value) : shorten(value, decimals, splits))) },
    ],
    series: banded ? [{}, line, edge, edge] : [{}, line],
    ...(banded ? { bands: [{ series: [3, 2] as [number, number], fill: palette.bandFill }] } : {}),
    hooks: {
      drawClear: [(plot) => drawAlarmSpans(plot, marks, palette, nowMs())],
      draw: [(plot) => drawLimits(plot, limits, palette), (plot) => drawSuspects(plot, frame.series?.suspectMs ?? [], palette), (plot) => drawAlarmLabels(plot, marks, palette, nowMs())],
      setCursor: [(plot) => showReading(plot, frame, zone)],
      setSelect: [(plot) => {
        if (plot.select.width < 8) return;
        zoom({ fromMs: plot.posToVal(plot.select.left, 'x') * 1000, toMs: plot.posToVal(plot.select.left + plot.select.width, 'x') * 1000 });
      }],
    },
  };
}

/** Data and limits with a little air; a switch always between off and on. */
function reach(low: number | null, high: number | null, limits: readonly number[], isSwitch: boolean): [number, number] {
  if (isSwitch) return [-0.15, 1.15];
  const values = [low, high, ...limits].filter((value) => value !== null && Number.isFinite(value)) as number[];
  if (values.length === 0) return [0, 1];
  const least = Math.min(...values);
  const most = Math.max(...values);
  const margin = most > least ? (most - least) * 0.06 : Math.max(Math.abs(most) * 0.05, 0.5);
  return [least - margin, most + margin];
}

function showReading(plot: uPlot, { reads, readsText, unit, decimals, isSwitch, series }: ChartFrame, zone: string): void {
  if (reads === null) return;
  const at = plot.cursor.idx;
  const value = typeof at === 'number' ? series?.mean[at] : null;
  const ms = typeof at === 'number' ? series?.t[at] : undefined;
  if (typeof at !== 'number' || typeof value !== 'number' || ms === undefined) {
    reads.textContent = readsText;
    return;
  }
  const clock = new Intl.DateTimeFormat('en-US', { timeZone: zone, hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }).format(ms);
  const time = `${dayMonth(new Intl.DateTimeFormat('en-US', { timeZone: zone, day: 'numeric', month: 'short' }), ms)}, ${clock}`;
  const low = series?.min?.[at];
  const high = series?.max?.[at];
  const spread = typeof low === 'number' && typeof high === 'number' && low !== high ? ` (${low.toFixed(decimals)} – ${high.toFixed(decimals)})` : '';
  reads.textContent = `${time}: ${isSwitch ? (value >= 0.5 ? 'on' : 'off') : `${value.toFixed(decimals)} ${unit}`}${isSwitch ? '' : spread}`;
}

const switchLabel = (value: number): string => (value === 0 ? 'off' : value === 1 ? 'on' : '');

function shorten(value: number, decimals: number, splits: readonly number[]): string {
  // As few decimals as tell the ticks apart exactly: 27.5 must not read 28.
  const exact = (digits: number): boolean => splits.every((split) => Math.abs(split * 10 ** digits - Math.round(split * 10 ** digits)) < 1e-6);
  let digits = 0;
  while (digits < decimals + 1 && !exact(digits)) digits += 1;
  return value.toFixed(digits);
}

/** `24 Nov`, as everywhere else on the pages. */
function dayMonth(format: Intl.DateTimeFormat, ms: number): string {
  const parts = format.formatToParts(ms);
  const of = (type: string): string => parts.find((part) => part.type === type)?.value ?? '';
  return `${of('day')} ${of('month')}`;
}

/** The clock; at midnight the date. */
function timeLabels(splits: readonly number[], timeZone: string): string[] {
  const clock = new Intl.DateTimeFormat('en-US', { timeZone, hour: '2-digit', minute: '2-digit', hourCycle: 'h23' });
  const date = new Intl.DateTimeFormat('en-US', { timeZone, day: 'numeric', month: 'short' });
  return splits.map((seconds) => {
    const time = clock.format(seconds * 1000);
    return time === '00:00' ? dayMonth(date, seconds * 1000) : time;
  });
}
