/** What stands on a chart besides its line: the limits, and the alarms with the shape of their priority. */
import uPlot from 'uplot';

export interface Mark {
  readonly title: string;
  readonly priority: string;
  readonly fromMs: number;
  /** `null`: it still holds. */
  readonly toMs: number | null;
  /** Somebody has it, or it is over: drawn hollow. */
  readonly taken: boolean;
}

export interface Palette {
  readonly text: string;
  readonly surface: string;
  readonly muted: string;
  readonly line: string;
  readonly band: string;
  readonly bandFill: string;
  readonly font: string;
  readonly priority: (name: string) => { readonly ink: string; readonly wash: string };
}

/** The colours of the style sheet, so that a canvas follows dark and light like everything else. */
export function readPalette(element: HTMLElement): Palette {
  const style = getComputedStyle(element);
  const of = (name: string): string => style.getPropertyValue(name).trim();
  const known = new Set(['urgent', 'high', 'low']);
  return {
    text: of('--text'), surface: of('--surface'), muted: of('--muted'), line: of('--line'), band: of('--line-strong'), bandFill: `${of('--line-strong')}55`,
    font: '12px system-ui, sans-serif',
    priority: (name) => (known.has(name) ? { ink: of(`--${name}`), wash: of(`--${name}-wash`) } : { ink: of('--muted'), wash: of('--sunk') }),
  };
}

const LABEL_LANES = 4;

/** Behind the line: the span in which the condition held. */
export function drawAlarmSpans(plot: uPlot, marks: readonly Mark[], palette: Palette, nowMs: number): void {
  clipped(plot, (ctx) => {
    for (const mark of marks) {
      const { left, right } = edgesOf(plot, mark, nowMs);
      const { ink, wash } = palette.priority(mark.priority);
      ctx.fillStyle = wash;
      ctx.fillRect(left, plot.bbox.top, Math.max(2 * devicePixelRatio, right - left), plot.bbox.height);
      ctx.fillStyle = ink;
      ctx.fillRect(left, plot.bbox.top, 1.5 * devicePixelRatio, plot.bbox.height);
    }
  });
}

/** Before the line: shape and title, on a patch of the background so that they can be read. */
export function drawAlarmLabels(plot: uPlot, marks: readonly Mark[], palette: Palette, nowMs: number): void {
  const ratio = devicePixelRatio;
  const { bbox } = plot;
  clipped(plot, (ctx) => {
    ctx.font = `600 ${11 * ratio}px system-ui, sans-serif`;
    // The axes were drawn just before and leave their own alignment behind.
    ctx.textAlign = 'left';
    ctx.textBaseline = 'top';
    for (const [index, mark] of marks.entries()) {
      const { left, right } = edgesOf(plot, mark, nowMs);
      if (right < bbox.left || left > bbox.left + bbox.width) continue;
      const size = 11 * ratio;
      const seen = Math.max(left, bbox.left);
      // On a phone there is room for the shape only; the title stands in the list below the chart.
      const written = ctx.measureText(mark.title).width < bbox.width * 0.45 ? mark.title : '';
      const room = size + 6 * ratio + ctx.measureText(written).width;
      // Near the right edge the label stands left of where the alarm began.
      const start = seen + 4 * ratio + room <= bbox.left + bbox.width ? seen + 4 * ratio : Math.max(bbox.left + 2 * ratio, seen - 4 * ratio - room);
      // Alarms that begin close together are labelled below one another.
      const top = bbox.top + (4 + 16 * (index % LABEL_LANES)) * ratio;
      const { ink } = palette.priority(mark.priority);
      ctx.globalAlpha = 0.7;
      ctx.fillStyle = palette.surface;
      ctx.fillRect(start - 2 * ratio, top - 2 * ratio, room + 2 * ratio, 15 * ratio);
      ctx.globalAlpha = 1;
      ctx.fillStyle = ink;
      ctx.strokeStyle = ink;
      ctx.lineWidth = 1.5 * ratio;
      shape(ctx, mark.priority, start, top, size, mark.taken);
      ctx.fillText(written, start + size + 4 * ratio, top);
    }
  });
}

function edgesOf(plot: uPlot, { fromMs, toMs }: Mark, nowMs: number): { left: number; right: number } {
  return { left: plot.valToPos(fromMs / 1000, 'x', true), right: plot.valToPos((toMs ?? nowMs) / 1000, 'x', true) };
}

function clipped({ ctx, bbox }: uPlot, draw: (ctx: CanvasRenderingContext2D) => void): void {
  ctx.save();
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
  draw(ctx);
  ctx.restore();
}

/** The same outlines as `src/web/shapes.tsx`. */
function shape(ctx: CanvasRenderingContext2D, priority: string, x: number, y: number, size: number, hollow: boolean): void {
  const corners: readonly (readonly [number, number])[] =
    priority === 'urgent' ? [[0.5, 0], [1, 0.5], [0.5, 1], [0, 0.5]] : priority === 'high' ? [[0.5, 0], [1, 1], [0, 1]] : [[0, 0], [1, 0], [1, 1], [0, 1]];
  ctx.beginPath();
  for (const [dx, dy] of corners) ctx.lineTo(x + dx * size, y + dy * size);
  ctx.closePath();
  if (hollow) ctx.stroke();
  else ctx.fill();
}

export function drawLimits(plot: uPlot, limits: readonly number[], palette: Palette): void {
  const { ctx, bbox } = plot;
  ctx.save();
  ctx.strokeStyle = palette.muted;
  ctx.lineWidth = devicePixelRatio;
  ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
  for (const limit of limits) {
    const y = plot.valToPos(limit, 'y', true);
    ctx.beginPath();
    ctx.moveTo(bbox.left, y);
    ctx.lineTo(bbox.left + bbox.width, y);
    ctx.stroke();
  }
  ctx.restore();
}

/** Readings that cannot be true: a cross at the bottom where each came; its value would only squeeze the rest. */
export function drawSuspects(plot: uPlot, suspectMs: readonly number[], palette: Palette): void {
  const ratio = devicePixelRatio;
  const y = plot.bbox.top + plot.bbox.height - 9 * ratio;
  clipped(plot, (ctx) => {
    ctx.strokeStyle = palette.text;
    ctx.lineWidth = 1.5 * ratio;
    ctx.beginPath();
    for (const atMs of suspectMs) {
      const x = plot.valToPos(atMs / 1000, 'x', true);
      ctx.moveTo(x - 4 * ratio, y - 4 * ratio);
      ctx.lineTo(x + 4 * ratio, y + 4 * ratio);
      ctx.moveTo(x + 4 * ratio, y - 4 * ratio);
      ctx.lineTo(x - 4 * ratio, y + 4 * ratio);
    }
    ctx.stroke();
  });
}
