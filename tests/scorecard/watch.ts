/**
 * A trial as Tankbell sees it: its samples, in order of arrival, go straight into the real engine with the compiled rules, on a clock that stands where
 * the trial is. A technician acknowledges every alarm that rings, within a quarter of an hour or so, and repairs nothing.
 *
 * The store is SQLite in memory, with one difference: readings and the states of rules are not kept. Within one life of an engine no decision reads them
 * again (what looks up what an outage lost reads readings, but tells the journal only), and so a month takes no more memory than a day, and less time.
 */
import type { Trial, TrialRun } from '../../simulator/trial.ts';
import type { Happening } from '../../simulator/world/life.ts';
import type { EmittedSample } from '../../simulator/scenario.ts';
import { StandingClock } from '../../src/clock.ts';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Page } from '../../src/domain/page.ts';
import type { Sample } from '../../src/domain/reading.ts';
import { Engine } from '../../src/engine/engine.ts';
import { makeLogger } from '../../src/log.ts';
import type { Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { type Forecast, ForecastLog } from './forecast.ts';
import type { Watched } from './fleets.ts';

export interface Seen {
  /** Every alarm that was ever open, as it stood last, in the order of opening. */
  readonly alarms: readonly Alarm[];
  /** Every page, in order of time. */
  readonly pages: readonly Page[];
  readonly forecasts: readonly Forecast[];
  /** By alarm id: the state of its rule when it opened. */
  readonly statesAtOpening: ReadonlyMap<number, unknown>;
  /** What people did meanwhile. */
  readonly happenings: readonly Happening[];
  readonly samples: number;
}

const SLICE_MS = 15 * MINUTE;
const ACKNOWLEDGED_AFTER_MS = 5 * MINUTE;

export async function watchTrial(trial: Trial, { fleet, rules }: Watched, run: TrialRun = trial.run()): Promise<Seen> {
  const clock = new StandingClock(trial.startMs);
  const store = await openSqliteStore(':memory:');
  const alarms = new Map<number, Alarm>();
  const pages: Page[] = [];
  const statesAtOpening = new Map<number, unknown>();
  let forecasts: ForecastLog | null = null;
  const engine = await Engine.start({
    store: keeping(store, alarms, pages, statesAtOpening, (ruleId, state) => forecasts?.keep(ruleId, state)), fleet, rules, clock, log: makeLogger('silent', clock.now), onPages: () => undefined,
    onFatal: (error) => {
      throw error;
    },
  });
  let samples = 0;
  try {
    const { scenario } = run;
    const log = new ForecastLog(trial, rules, scenario);
    forecasts = log;
    for (const slice of run.slices(SLICE_MS)) {
      for (const { arrivedMs, samples: of } of slice) {
        clock.set(arrivedMs);
        const taken = engine.deliver({ arrivedMs, samples: of.map(asSent), refusals: [], committed: nobodyWaits });
        if (!taken) throw new Error(`the engine took no more at ${new Date(arrivedMs).toISOString()}: the scorecard feeds too much at once`);
        samples += of.length;
      }
      clock.set(scenario.nowMs);
      await engine.settle();
      await acknowledge(engine, clock.now());
      log.note(clock.now());
    }
    return {
      alarms: [...alarms.values()].sort((a, b) => a.openedMs - b.openedMs || a.id - b.id),
      pages: pages.sort((a, b) => a.createdMs - b.createdMs),
      forecasts: log.made, statesAtOpening, happenings: run.happenings, samples,
    };
  } finally {
    await engine.stop();
    await store.close();
  }
}

const asSent = ({ pointId, atMs, value }: EmittedSample): Sample => ({ pointId, atMs, value, unit: null });
const nobodyWaits = (): void => undefined;

/** What is committed of alarms and pages is noted; readings and states of rules are let go. */
function keeping(store: Store, alarms: Map<number, Alarm>, pages: Page[], statesAtOpening: Map<number, unknown>, keep: (ruleId: string, state: unknown) => void): Store {
  const states = new Map<string, unknown>();
  return {
    ...store,
    commit: async (batch) => {
      await store.commit({ ...batch, readings: [], ruleStates: [] });
      for (const { ruleId, state } of batch.ruleStates) {
        states.set(ruleId, state);
        keep(ruleId, state);
      }
      for (const alarm of batch.alarms) {
        if (!alarms.has(alarm.id)) statesAtOpening.set(alarm.id, states.get(alarm.ruleId));
        alarms.set(alarm.id, alarm);
      }
      pages.push(...batch.pages);
    },
  };
}

async function acknowledge(engine: Engine, nowMs: number): Promise<void> {
  for (const alarm of [...engine.view.openAlarms.values()]) {
    const rings = alarm.escalation.paged.length > 0 && alarm.acknowledgedMs === null && nowMs - alarm.openedMs >= ACKNOWLEDGED_AFTER_MS;
    if (rings && (alarm.state === 'unacknowledged' || alarm.state === 'returned')) await engine.command({ type: 'acknowledge', alarmId: alarm.id, by: 'the scorecard', via: 'link' });
  }
}
