/** @jsxRuntime automatic @jsxImportSource preact */
import type { Calibration } from '../../domain/calibration.ts';
import type { Point } from '../../domain/fleet.ts';
import { kinds } from '../../domain/kinds.ts';
import type { Line } from '../../ingest/calibration.ts';
import { type Viewer, page } from '../layout.tsx';
import { iso, showAge, showFullTime } from '../times.ts';
import { words } from '../words.ts';

export interface CalibrateFacts {
  readonly viewer: Viewer;
  readonly point: Point;
  readonly ownerName: string;
  readonly zone: string;
  /** The latest reading as it came. */
  readonly raw: { readonly atMs: number; readonly value: number } | null;
  /** The same as it is shown now. */
  readonly shown: number | null;
  readonly calibrations: readonly Calibration[];
  readonly typed: Readonly<Record<string, string>>;
  readonly problem: string | null;
  readonly saved: boolean;
  readonly effect: { readonly line: Line; readonly fromMs: number; readonly why: string; readonly value: number | null } | null;
}

export function calibratePage({ viewer, point, ownerName, zone, raw, shown, calibrations, typed, problem, saved, effect }: CalibrateFacts): string {
  const w = words.calibration;
  const { unit, decimals } = kinds[point.kind];
  const value = (one: number | null): string => (one === null ? words.unknown : `${one.toFixed(decimals + 1)} ${unit}`);
  const path = `/points/${point.id.split('/').map(encodeURIComponent).join('/')}/calibration`;
  const field = (name: string, label: string, required: boolean) => (
    <label>{label}<input name={name} value={typed[name] ?? ''} inputMode="decimal" maxLength={30} required={required} autocomplete="off" /></label>
  );
  return page({
    viewer,
    title: w.title(point.name),
    children: (
      <section class="narrow">
        <h1>{w.title(point.name)}</h1>
        <p>{point.tankId === null ? ownerName : <a href={`/tanks/${encodeURIComponent(point.tankId)}`}>{ownerName}</a>}</p>
        {saved && <p class="done" role="status">{w.saved}</p>}
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        <dl class="facts panel">
          <dt>{w.rawNow}</dt><dd>{raw === null ? words.value.never : <><b>{value(raw.value)}</b>{' '}<time dateTime={iso(raw.atMs)}>{showAge(raw.atMs, viewer.nowMs)}</time></>}</dd>
          <dt>{w.shownNow}</dt><dd>{value(shown)}</dd>
        </dl>
        {effect !== null && (
          <form method="post" action={path} class="panel">
            <h2>{w.effect}</h2>
            <dl class="facts">
              <dt>{w.line}</dt><dd>{lineText(effect.line, unit)}</dd>
              <dt>{w.from}</dt><dd>{showFullTime(effect.fromMs, zone)}</dd>
              <dt>{w.before}</dt><dd>{value(shown)}</dd>
              <dt>{w.after}</dt><dd><b>{value(effect.value)}</b></dd>
            </dl>
            <p class="muted">{w.effectHelp}</p>
            <input type="hidden" name="slope" value={String(effect.line.slope)} />
            <input type="hidden" name="offset" value={String(effect.line.offset)} />
            <input type="hidden" name="fromMs" value={String(effect.fromMs)} />
            <input type="hidden" name="why" value={effect.why} />
            <p><button class="main" name="action" value="save">{w.save}</button></p>
          </form>
        )}
        <form method="post" action={path} class="stack">
          <p class="muted">{w.help(unit)}</p>
          <fieldset>
            <legend>{w.first}</legend>
            <div class="fields">{field('measured1', w.measured, true)}{field('true1', w.trueValue, true)}</div>
          </fieldset>
          <fieldset>
            <legend>{w.second}</legend>
            <div class="fields">{field('measured2', w.measured, false)}{field('true2', w.trueValue, false)}</div>
          </fieldset>
          <label>{w.fromField(zone)}<input type="datetime-local" name="from" value={typed['from'] ?? ''} /></label>
          <p class="muted">{w.fromHelp}</p>
          <label>{w.why}<input name="why" value={typed['why'] ?? ''} maxLength={500} required placeholder={w.whyExample} /></label>
          <button class={effect === null ? 'main' : undefined} name="action" value="show">{w.show}</button>
        </form>
        <section aria-labelledby="entered">
          <h2 id="entered">{w.entered}</h2>
          {calibrations.length === 0 ? <p class="muted">{w.none}</p> : (
            <ul class="lines panel">
              {[...calibrations].reverse().map((one) => (
                <li key={one.fromMs}>
                  <p>{`${w.since(showFullTime(one.fromMs, zone))}: ${lineText(one, unit)}`}</p>
                  <p class="muted">{w.by(one.by, showFullTime(one.enteredMs, zone), one.why)}</p>
                </li>
              ))}
            </ul>
          )}
        </section>
      </section>
    ),
  });
}

/** `raw × 1.02 − 0.3 °C` */
export function lineText({ slope, offset }: Line, unit: string): string {
  if (slope === 1 && offset === 0) return words.calibration.asIs;
  const times = slope === 1 ? '' : ` × ${Number(slope.toPrecision(6))}`;
  const plus = offset === 0 ? '' : ` ${offset < 0 ? '−' : '+'} ${Math.abs(Number(offset.toPrecision(6)))} ${unit}`;
  return `${words.calibration.raw}${times}${plus}`;
}
