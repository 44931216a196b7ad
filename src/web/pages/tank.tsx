/** @jsxRuntime automatic @jsxImportSource preact */
import type { AlarmStatus } from '../../domain/alarm.ts';
import type { Equipment, Site, Tank } from '../../domain/fleet.ts';
import type { Verdict } from '../../domain/verdict.ts';
import type { Rule } from '../../rules/contract.ts';
import type { CauseTree } from '../causes.ts';
import type { Range } from '../chart-range.ts';
import { rangeNames, ranges } from '../chart-range.ts';
import { type Viewer, page } from '../layout.tsx';
import type { Present } from '../present.ts';
import { Shape } from '../shapes.tsx';
import { iso, showAge, showTime } from '../times.ts';
import { showLitres } from '../../domain/units.ts';
import { words } from '../words.ts';
import { AlarmLine } from './alarm-line.tsx';
import { type ChartGroup, Charts } from './chart.tsx';
import { HoldFields } from './hold-fields.tsx';
import { SiteFacts } from './site-facts.tsx';
import { LimitStrip, OfflineWhy, Value, limitsText } from './value.tsx';

export interface TankFacts {
  readonly viewer: Viewer;
  readonly tank: Tank;
  readonly site: Site;
  readonly clientName: string | null;
  readonly presents: readonly Present[];
  readonly charts: ChartGroup & { readonly range: Range };
  /** With the alarm of another tank at the site that explains what is wrong here. */
  readonly openAlarms: readonly CauseTree[];
  readonly tankNameOf: (tankId: string) => string;
  readonly pastAlarms: readonly CauseTree[];
  readonly equipment: readonly Equipment[];
  readonly rules: readonly RuleStanding[];
  /** What became of an action on this page. */
  readonly outcome: Outcome | null;
}

export interface RuleStanding {
  readonly rule: Rule;
  /** `null`: not judged yet. */
  readonly status: AlarmStatus | null;
  readonly verdict: Verdict | null;
}

export interface Outcome {
  readonly good: boolean;
  readonly text: string;
}

export function tankPage(facts: TankFacts): string {
  const { viewer, tank, site, clientName, presents, openAlarms, pastAlarms, outcome } = facts;
  const { nowMs } = viewer;
  const place = { tankName: tank.name, zone: site.timeZone };
  return page({
    viewer,
    title: tank.name,
    liveFor: tank.id,
    charts: true,
    children: (
      <>
        <h1>{tank.name}</h1>
        <p class="muted">
          {[clientName, site.name, words.water[tank.water], showLitres(tank.displayLitres + tank.sumpLitres)].filter((part) => part !== null).join(' · ')}
        </p>
        {outcome !== null && <p class={outcome.good ? 'done' : 'problem'} role={outcome.good ? 'status' : 'alert'}>{outcome.text}</p>}
        <div class="cols">
          <div>
            <section aria-labelledby="open" data-live="open">
              <h2 id="open">{words.tank.openAlarms}</h2>
              {openAlarms.length === 0 ? <p class="muted">{words.tank.noOpenAlarms}</p> : (
                <ul class="lines panel">{openAlarms.map(({ alarm, explained }) => <AlarmLine key={alarm.id} alarm={alarm} explained={explained} place={{ ...place, tankName: facts.tankNameOf(alarm.tankId) }} nowMs={nowMs} showTank={alarm.tankId !== tank.id} />)}</ul>
              )}
            </section>
            <section aria-labelledby="now" data-live="now">
              <h2 id="now">{words.tank.present}</h2>
              <PresentTable presents={presents} nowMs={nowMs} />
            </section>
          </div>
          <SiteFacts site={site} clientName={clientName} />
        </div>
        <section aria-labelledby="charts">
          <h2 id="charts">{words.tank.charts}</h2>
          <RangePills tankId={tank.id} chosen={facts.charts} />
          <Charts {...facts.charts} />
        </section>
        <div class="cols">
          <section aria-labelledby="rules">
            <h2 id="rules">{words.tank.rules}</h2>
            <Rules tank={tank} site={site} rules={facts.rules} nowMs={nowMs} />
          </section>
          <div>
            <section aria-labelledby="equipment">
              <h2 id="equipment">{words.tank.equipment}</h2>
              {facts.equipment.length === 0 ? <p class="muted">{words.tank.noEquipment}</p> : (
                <ul class="lines panel">{facts.equipment.map((one) => <li key={one.id}><p>{one.name}</p><p class="muted">{nameplate(one)}</p></li>)}</ul>
              )}
            </section>
            <section aria-labelledby="past">
              <h2 id="past">{words.tank.pastAlarms}</h2>
              {pastAlarms.length === 0 ? <p class="muted">{words.tank.noPastAlarms}</p> : (
                <ul class="lines panel">{pastAlarms.map(({ alarm, explained }) => <AlarmLine key={alarm.id} alarm={alarm} explained={explained} place={{ ...place, tankName: facts.tankNameOf(alarm.tankId) }} nowMs={nowMs} showTank={alarm.tankId !== tank.id} />)}</ul>
              )}
            </section>
            <p><a href={`/journal?tank=${encodeURIComponent(tank.id)}`}>{words.tank.journal}</a></p>
          </div>
        </div>
      </>
    ),
  });
}

function PresentTable({ presents, nowMs }: { presents: readonly Present[]; nowMs: number }) {
  const { column } = words.tank;
  return (
    <table class="cards panel">
      <thead><tr><th scope="col">{column.point}</th><th scope="col">{column.value}</th><th scope="col">{column.age}</th><th scope="col">{column.limits}</th></tr></thead>
      <tbody>
        {presents.map((present) => (
          <tr key={present.point.id}>
            <th scope="row">{present.point.kind === 'switch' ? present.point.name : <a href={`/points/${present.point.id.split('/').map(encodeURIComponent).join('/')}/calibration`} title={words.calibration.link}>{present.point.name}</a>}</th>
            <td><Value present={present} nowMs={nowMs} /><LimitStrip present={present} /><OfflineWhy present={present} />{present.suspectMs !== null && <p class="unknown-why">{words.tank.suspectNow(showAge(present.suspectMs, nowMs))}</p>}</td>
            <td>{present.state === 'never' ? '' : <time dateTime={iso(present.atMs)}>{showAge(present.atMs, nowMs)}</time>}</td>
            <td class="muted" data-label={column.limits}>{limitsText(present) ?? words.none}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function RangePills({ tankId, chosen }: { tankId: string; chosen: TankFacts['charts'] }) {
  const path = `/tanks/${encodeURIComponent(tankId)}`;
  const { range, toMs, followsNow, nowMs } = chosen;
  const href = (name: Range, until: number | null): string => `${path}?range=${name}${until === null ? '' : `&until=${Math.round(until)}`}#charts`;
  const laterMs = toMs + ranges[range];
  return (
    <nav class="pills" aria-label={words.tank.rangeLabel}>
      {rangeNames.map((name) => <a key={name} href={href(name, followsNow ? null : toMs)} aria-current={name === range ? 'true' : undefined}>{words.tank.ranges[name]}</a>)}
      <a href={href(range, toMs - ranges[range])}>{words.tank.earlier}</a>
      {!followsNow && <a href={href(range, laterMs >= nowMs ? null : laterMs)}>{words.tank.later}</a>}
      {!followsNow && <a href={href(range, null)}>{words.tank.untilNow}</a>}
      <span class="muted span-text">{words.tank.chartSpan(showTime(chosen.fromMs, chosen.zone, nowMs), showTime(toMs, chosen.zone, nowMs))}</span>
    </nav>
  );
}

function Rules({ tank, site, rules, nowMs }: { tank: Tank; site: Site; rules: readonly RuleStanding[]; nowMs: number }) {
  if (rules.length === 0) return <p class="muted">{words.tank.noRules}</p>;
  const line = (standing: RuleStanding) => <RuleLine key={standing.rule.id} tank={tank} site={site} standing={standing} nowMs={nowMs} />;
  const isQuiet = ({ rule, status }: RuleStanding): boolean => rule.missing === null && status?.verdict === 'clear' && status.hold === null;
  const quiet = rules.filter(isQuiet);
  // Dozens find nothing: what a person looks for is what does not.
  return (
    <div class="panel">
      <ul class="lines" data-live="rules">{quiet.length === rules.length ? <li class="muted">{words.tank.allClear}</li> : rules.filter((standing) => !isQuiet(standing)).map(line)}</ul>
      <details>
        <summary><span data-live="rules-clear-count">{words.tank.clearRules(quiet.length)}</span></summary>
        <ul class="lines" data-live="rules-clear">{quiet.map(line)}</ul>
      </details>
      <details>
        <summary>{words.rule.holdOne}</summary>
        <form method="post" action={`/tanks/${encodeURIComponent(tank.id)}/hold`} class="stack">
          <label>{words.alarm.rule}
            <select name="ruleId">{rules.map(({ rule }) => <option key={rule.id} value={rule.id}>{rule.title}</option>)}</select>
          </label>
          <HoldFields idPrefix="tank" />
          <p><button name="action" value="shelve">{words.alarm.shelve}</button>{' '}<button name="action" value="out-of-service">{words.alarm.takeOut}</button></p>
        </form>
      </details>
    </div>
  );
}

function RuleLine({ tank, site, standing, nowMs }: { tank: Tank; site: Site; standing: RuleStanding; nowMs: number }) {
  const { rule, status } = standing;
  const hold = status?.hold ?? null;
  const { mark, word, why } = standingOf(standing);
  return (
    <li>
      <p><Shape mark={hold === null ? mark : 'held'} /><strong>{rule.title}</strong>{` · ${word}`}</p>
      {why !== null && <p class={word === words.rule.unknown ? 'unknown-why' : 'muted'}>{why}</p>}
      {hold !== null && (
        <>
          <p>{words.rule.held(words.hold[hold.kind], hold.by, showTime(hold.sinceMs, site.timeZone, nowMs), hold.untilMs === null ? null : showTime(hold.untilMs, site.timeZone, nowMs), hold.why)}</p>
          {hold.kind !== 'suppressed' && (
            <form class="inline-form" method="post" action={`/tanks/${encodeURIComponent(tank.id)}/hold`}>
              <input type="hidden" name="ruleId" value={rule.id} />
              <button name="action" value={hold.kind === 'shelved' ? 'unshelve' : 'return-to-service'}>
                {hold.kind === 'shelved' ? words.rule.unshelve : words.rule.returnToService}<span class="sr">{` ${rule.title}`}</span>
              </button>
            </form>
          )}
        </>
      )}
    </li>
  );
}

function standingOf({ rule, status, verdict }: RuleStanding): { mark: 'quiet' | 'unknown' | 'urgent' | 'high' | 'low' | 'journal'; word: string; why: string | null } {
  if (rule.missing !== null) return { mark: 'unknown', word: words.rule.unknown, why: words.rule.missing(rule.missing) };
  if (status === null || status.verdict === 'unknown') {
    const because = status?.unknownWhy ?? (verdict?.state === 'unknown' ? verdict.why : null);
    return { mark: 'unknown', word: status === null ? words.rule.never : words.rule.unknown, why: because === null ? null : words.rule.because(because) };
  }
  if (status.verdict === 'clear') return { mark: 'quiet', word: words.rule.clear, why: null };
  return { mark: rule.policy.priority, word: words.rule.breached, why: verdict?.state === 'breached' ? verdict.summary : (status.breach?.summary ?? null) };
}

function nameplate(one: Equipment): string {
  return [
    one.nameplateWatts === null ? null : words.tank.watts(String(one.nameplateWatts)),
    one.setpointC === null ? null : words.tank.setpoint(`${one.setpointC.toFixed(1)} °C${one.bandK === null ? '' : ` ± ${one.bandK} K`}`),
    one.capacityLitres === null ? null : words.tank.capacity(showLitres(one.capacityLitres)),
    one.circuit === null ? null : words.tank.circuit(one.circuit),
  ].filter((part) => part !== null).join(', ');
}
