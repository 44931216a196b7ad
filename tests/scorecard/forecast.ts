/**
 * Forecasts, beside what then came true in the world. What is read is what a rule keeps in its stored state; nothing is forecast here.
 *
 * A rule kind whose forecast is to be scored gets an entry in `sources`: `temperature-forecast` keeps hours until a limit, `top-off-low` days until the reservoir is empty, both with
 * their range. A bound (`heater-stuck-on`: "cannot reach … in less than") is no
 * forecast and not scored as one.
 */
import type { Scenario } from '../../simulator/scenario.ts';
import type { Trial } from '../../simulator/trial.ts';
import { DAY, HOUR } from '../../src/domain/duration.ts';
import type { Rule } from '../../src/rules/contract.ts';

/** What was forecast a third of the way from the beginning of a fault to what it leads to. */
export interface Forecast {
  readonly what: 'reservoir empty' | 'temperature limit';
  readonly ruleKind: string;
  readonly atMs: number;
  /** From `atMs`. */
  readonly aheadMs: number;
  /** What it should have been. */
  readonly trueMs: number;
  /** Stated to hold the truth in four cases of five; `null`: none was stated. */
  readonly range: { readonly lowMs: number; readonly highMs: number } | null;
}

interface Said {
  readonly atMs: number;
  readonly aheadMs: number;
  readonly range: Forecast['range'];
}

interface Source {
  readonly what: Forecast['what'];
  /** @param state as stored by the rule. @returns `null`: it forecasts nothing at this moment. */
  say(state: unknown): Said | null;
  /** Has it come true? */
  isThere(rule: Rule, scenario: Scenario): boolean;
  /** One made so long before still stands. */
  readonly standsMs: number;
}

const partOf = (holder: unknown, key: string): unknown => (typeof holder === 'object' && holder !== null ? Reflect.get(holder, key) : null);

const numberIn = (holder: unknown, key: string): number | null => {
  const value = partOf(holder, key);
  return typeof value === 'number' && Number.isFinite(value) ? value : null;
};

const reservoirLow: Source = {
  what: 'reservoir empty',
  standsMs: 3 * HOUR,
  say(state) {
    const forecast = partOf(state, 'forecast');
    const [atMs, days, low, high] = ['atMs', 'days', 'low', 'high'].map((key) => numberIn(forecast, key));
    if (atMs == null || days == null) return null;
    return { atMs, aheadMs: days * DAY, range: low == null || high == null ? null : { lowMs: low * DAY, highMs: high * DAY } };
  },
  isThere(rule, { world }) {
    const share = world.reservoir(rule.subject).shareFull;
    return 100 * share <= (numberIn(rule.settings, 'emptyPercent') ?? 0);
  },
};

const temperatureLimit: Source = {
  what: 'temperature limit',
  standsMs: HOUR / 2,
  say(state) {
    const forecast = partOf(state, 'forecast');
    const [atMs, hours, low, high] = ['atMs', 'hours', 'low', 'high'].map((key) => numberIn(forecast, key));
    if (atMs == null || hours == null) return null;
    // No upper end: it may never get there.
    return { atMs, aheadMs: hours * HOUR, range: low == null ? null : { lowMs: low * HOUR, highMs: high == null ? Number.POSITIVE_INFINITY : high * HOUR } };
  },
  isThere(rule, { world }) {
    const tank = world.tank(rule.facts.tank.id);
    const { waterC } = rule.roles.get('water')?.place === 'sump' ? tank.sump : tank.display;
    return waterC <= (numberIn(rule.settings, 'low') ?? Number.NEGATIVE_INFINITY) || waterC >= (numberIn(rule.settings, 'high') ?? Number.POSITIVE_INFINITY);
  },
};

const sources: Readonly<Record<string, Source>> = { 'top-off-low': reservoirLow, 'temperature-forecast': temperatureLimit };
/** Faults that lead there by themselves, if nothing else happens: what such a forecast is about. */
const leadsThere: Readonly<Record<string, readonly Forecast['what'][]>> = {
  'reservoir-runs-empty': ['reservoir empty'],
  'heater-stuck-on': ['temperature limit'], 'heater-failed': ['temperature limit'], 'chiller-not-cooling': ['temperature limit'],
  'mains-lost': ['temperature limit'], 'circuit-lost': ['temperature limit'],
};

export class ForecastLog {
  readonly made: Forecast[] = [];
  readonly #watched: readonly { readonly rule: Rule; readonly source: Source; readonly said: Said[]; state: unknown; isOver: boolean }[];
  readonly #scenario: Scenario;
  readonly #beginMs: number;

  constructor({ truth }: Trial, rules: readonly Rule[], scenario: Scenario) {
    const wanted = truth === null ? [] : (leadsThere[truth.name] ?? []);
    this.#watched = rules.flatMap((rule) => {
      const source = sources[rule.kind.kind];
      return source === undefined || !wanted.includes(source.what) || rule.missing !== null ? [] : [{ rule, source, said: [], state: null, isOver: false }];
    });
    this.#scenario = scenario;
    this.#beginMs = truth?.beginMs ?? Number.POSITIVE_INFINITY;
  }

  /** A rule has stored this. */
  keep(ruleId: string, state: unknown): void {
    for (const watched of this.#watched) if (watched.rule.id === ruleId) watched.state = state;
  }

  /** Time has come so far. */
  note(nowMs: number): void {
    if (nowMs < this.#beginMs) return;
    for (const watched of this.#watched) {
      if (watched.isOver) continue;
      const { rule, source, said } = watched;
      if (source.isThere(rule, this.#scenario)) {
        watched.isOver = true;
        const thirdMs = this.#beginMs + (nowMs - this.#beginMs) / 3;
        const made = said.findLast(({ atMs }) => atMs <= thirdMs);
        if (made !== undefined && thirdMs - made.atMs <= source.standsMs && made.atMs >= this.#beginMs) this.made.push({ ...made, what: source.what, ruleKind: rule.kind.kind, trueMs: nowMs - made.atMs });
        continue;
      }
      const now = source.say(watched.state);
      if (now !== null && now.atMs !== said.at(-1)?.atMs) said.push(now);
    }
  }
}
