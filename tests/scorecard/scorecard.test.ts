import { describe, expect, it } from 'vitest';
import type { Departure } from '../../simulator/departure.ts';
import type { Truth } from '../../simulator/trial.ts';
import type { Alarm } from '../../src/domain/alarm.ts';
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import type { Page, PageReason } from '../../src/domain/page.ts';
import { readArguments } from './arguments.ts';
import { loadFleets } from './fleets.ts';
import { boundMs, type FaultScore, type HealthyScore, judgeFault, type Ring } from './judge.ts';
import { ownDelayMs } from './own-delay.ts';
import { planJobs } from './plan.ts';
import { type FaultJob, runJob } from './run.ts';
import { showCard } from './show.ts';
import { median, sum } from './sum.ts';
import type { Seen } from './watch.ts';

const fleets = await loadFleets();
const beginMs = Date.UTC(2026, 5, 1);
const job: FaultJob = { type: 'fault', fault: 'heater-stuck-on', tankKind: 'small-reef', seed: 1000 };
const truth: Truth = { name: 'heater-stuck-on', does: 'it sticks', params: {}, gradual: false, beginMs, names: ['heater-stuck-on'] };
const departure: Departure = { atMs: beginMs + HOUR, pointId: 'tank/display-temperature', how: 'value' };
const { rules } = fleets.of('small-reef');

function alarm(id: number, ruleKind: string, openedMs: number, priority: Alarm['policy']['priority'] = 'urgent'): Alarm {
  const ruleId = rules.find((rule) => rule.kind.kind === ruleKind)?.id ?? `tank/${ruleKind}/x`;
  return {
    id, ruleId, ruleKind, tankId: 'tank', siteId: 'trial-site', title: ruleKind, policy: { priority, onDelayMs: 0, offDelayMs: 0 }, state: 'acknowledged', beganMs: openedMs, openedMs,
    acknowledgedMs: null, acknowledgedBy: null, returnedMs: null, closedMs: null, summary: 'as it is', evidence: [], escalation: { nextStep: 0, dueMs: null, paged: [] }, cause: null,
  };
}

const page = (alarmId: number, createdMs: number, reason: PageReason = 'opened'): Page => ({ id: `${alarmId}-${reason}`, alarmId, personId: 'robin', reason, createdMs });
const seen = (alarms: readonly Alarm[], pages: readonly Page[]): Seen => ({ alarms, pages, forecasts: [], statesAtOpening: new Map(), happenings: [], samples: 0 });
const noTwin = (): Promise<Seen> => Promise.reject(new Error('nobody should have asked for the twin'));

describe('a run held against the truth', () => {
  it('is named right by one page, and the bound is 1.5 × what it takes to show, and what the rule waits', async () => {
    const stuck = alarm(1, 'heater-stuck-on', beginMs + 1.25 * HOUR);
    const score = await judgeFault(job, truth, departure, seen([stuck], [page(1, stuck.openedMs), page(1, beginMs + DAY, 'returned')]), rules, noTwin);
    expect(score).toMatchObject({ named: 'heater-stuck-on', namedRight: true, by: 'page', delayMs: 1.25 * HOUR, departureMs: HOUR, ownDelayMs: 10 * MINUTE });
    expect(score.pages).toHaveLength(1);
    expect(boundMs(score)).toBe(100 * MINUTE);
  });

  it('is misnamed when something else pages first, though the right rule pages later', async () => {
    const alarms = [alarm(1, 'limit', beginMs + HOUR), alarm(2, 'heater-stuck-on', beginMs + 2 * HOUR)];
    const score = await judgeFault(job, truth, departure, seen(alarms, [page(1, beginMs + HOUR), page(2, beginMs + 2 * HOUR)]), rules, () => Promise.resolve(seen([], [])));
    expect(score).toMatchObject({ named: 'limit', namedRight: false, by: 'page', delayMs: 2 * HOUR });
    expect(score.pages).toHaveLength(2);
  });

  it('owes nothing to what rang before it, or rings in the healthy twin as well', async () => {
    const before = alarm(1, 'heater-stuck-on', beginMs - HOUR);
    const beside = alarm(2, 'return-pump-stopped', beginMs + HOUR);
    const pages = [page(1, beginMs + MINUTE, 'morning'), page(2, beginMs + HOUR)];
    const twin = seen([alarm(7, 'return-pump-stopped', beginMs + HOUR + 5 * MINUTE)], []);
    const score = await judgeFault(job, truth, null, seen([before, beside], pages), rules, () => Promise.resolve(twin));
    expect(score).toMatchObject({ named: null, namedRight: false, by: null, delayMs: null });
    expect(score.pages).toEqual([]);
    expect(score.falsePages.map(({ ruleKind }) => ruleKind)).toEqual(['heater-stuck-on', 'return-pump-stopped']);
    expect(boundMs(score)).toBeNull();
  });

  it('counts the page that waits for a morning after the end of the trial', async () => {
    const waits: Alarm = { ...alarm(1, 'heater-stuck-on', beginMs + HOUR, 'high'), escalation: { nextStep: 0, dueMs: beginMs + 9 * HOUR, paged: [] } };
    const score = await judgeFault(job, truth, departure, seen([waits], []), rules, noTwin);
    expect(score).toMatchObject({ namedRight: true, by: 'page', delayMs: HOUR });
    expect(score.pages.map(({ atMs }) => atMs)).toEqual([beginMs + 9 * HOUR]);
  });

  it('is found on the list by a rule that pages nobody', async () => {
    const drift = alarm(1, 'temperature-drift', beginMs + DAY, 'low');
    const score = await judgeFault(job, { ...truth, names: ['temperature-drift'] }, departure, seen([drift], []), rules, noTwin);
    expect(score).toMatchObject({ named: 'temperature-drift', namedRight: true, by: 'list' });
    expect(score.pages).toEqual([]);
  });
});

describe('the figures', () => {
  const ring: Ring = { ruleKind: 'limit', ruleId: 'tank/limit/x', atMs: beginMs, summary: 'too warm', during: null };
  const right: FaultScore = {
    type: 'fault', job, does: 'it sticks', beginMs, names: ['heater-stuck-on'], named: 'heater-stuck-on', namedRight: true, by: 'page', pages: [ring], delayMs: HOUR, departureMs: HOUR, ownDelayMs: HOUR / 2,
    falsePages: [], forecasts: [],
  };
  const scores: readonly (FaultScore | HealthyScore)[] = [
    right,
    { ...right, named: 'limit', namedRight: false, pages: [ring, ring], delayMs: 4 * HOUR },
    { ...right, named: null, namedRight: false, by: null, pages: [], delayMs: null, ownDelayMs: null },
    {
      ...right, job: { ...job, fault: 'leak' }, named: 'leak', by: 'list', pages: [], departureMs: null,
      forecasts: [
        { what: 'reservoir empty', ruleKind: 'top-off-low', atMs: 0, aheadMs: 11 * DAY, trueMs: 10 * DAY, range: { lowMs: 9 * DAY, highMs: 12 * DAY } },
        { what: 'reservoir empty', ruleKind: 'top-off-low', atMs: 0, aheadMs: 5 * DAY, trueMs: 10 * DAY, range: { lowMs: 4 * DAY, highMs: 6 * DAY } },
        { what: 'reservoir empty', ruleKind: 'top-off-low', atMs: 0, aheadMs: 8 * DAY, trueMs: 10 * DAY, range: null },
      ],
    },
    { type: 'healthy', job: { type: 'healthy', tankKind: 'cold-marine', seed: 1000, days: 45 }, months: 1.5, falsePages: [ring, ring, ring], falseListed: [] },
  ];

  it('count runs, and what was not measured is null', () => {
    const { figures, rows } = sum(scores);
    expect(figures).toEqual({
      faults: 2, faultsFound: 1, runs: 4, found: 3, namedRight: 2, onePage: 1, medianDelayRatio: 1.25, healthyTankMonths: 1.5, falsePages: 3, falsePagesPerTankMonth: 2,
      forecastMedianError: 0.2, forecastCover80: 0.5, forecasts: 3, onlyListed: 1,
    });
    expect([...(rows[0]?.answers ?? [])]).toEqual([['heater-stuck-on', 1], ['limit', 1], ['nothing', 1]]);
    expect([...(rows[1]?.answers ?? [])]).toEqual([['(leak)', 1]]);
    expect(sum([]).figures).toMatchObject({ medianDelayRatio: null, falsePagesPerTankMonth: null, forecastMedianError: null, forecastCover80: null });
    expect([median([3, 1, 2]), median([4, 1]), median([])]).toEqual([2, 2.5, null]);
  });

  it('are shown with the seeds they were taken at, and tuning seeds with a warning', () => {
    const options = { faults: ['leak'], tankKinds: ['small-reef'], seeds: 2, everyKind: true, healthyMonths: 1, workers: 1, json: false } as const;
    const text = showCard(sum(scores), { ...options, firstSeed: 1000 }, []);
    expect(text).toContain('Seeds 1000 to 1001');
    expect(text).toContain('Seeds 1 to 999 are those that rules are tuned on; none of them is among these.');
    expect(text).toContain('heater-stuck-on            heater-stuck-on 1, limit 1, nothing 1');
    expect(text).toMatch(/false pages a healthy tank-month +2\.000/);
    expect(showCard(sum(scores), { ...options, firstSeed: 1 }, [])).toContain('not figures to report');
  });
});

describe('what is asked for', () => {
  it('is every fault on every kind of tank that can have it, with at least 20 seeds from 1000 on', () => {
    const asked = readArguments([]);
    if (!('options' in asked)) throw new Error('no options');
    expect(asked.options).toMatchObject({ seeds: 20, firstSeed: 1000, healthyMonths: 100, everyKind: true });
    const jobs = planJobs({ ...asked.options, seeds: 1 }, fleets);
    const kindsOf = (fault: string): string[] => jobs.flatMap((one) => (one.type === 'fault' && one.fault === fault ? [one.tankKind] : []));
    expect(kindsOf('mains-lost')).toEqual(['small-reef', 'large-reef', 'planted-fresh', 'cold-marine']);
    expect(kindsOf('chiller-not-cooling')).toContain('cold-marine');
    expect(kindsOf('chiller-not-cooling')).not.toContain('small-reef');
    expect(new Set(jobs.flatMap((one) => (one.type === 'fault' ? [one.fault] : []))).size).toBeGreaterThanOrEqual(25);
    expect(jobs.reduce((days, one) => days + (one.type === 'healthy' ? one.days : 0), 0)).toBe(3000);
  });

  it('is refused in words where it cannot be', () => {
    expect(readArguments(['--fault', 'lek'])).toMatchObject({ mistake: expect.stringContaining('there is no fault "lek"; there are: ') });
    expect(readArguments(['--seeds', 'many'])).toEqual({ mistake: '--seeds: write a whole number from 1 on, not "many"' });
    expect(readArguments(['--seeds'])).toEqual({ mistake: '--seeds wants a value after it' });
    expect(readArguments(['--tank', 'pond'])).toMatchObject({ mistake: expect.stringContaining('no kind of tank') });
  });
});

describe('trials through the engine', () => {
  it.each([['mains-lost', 'site-power-lost'], ['floor-wet', 'leak-wet']])('%s is named %s by one page within its bound, the same when run again', async (fault, ruleKind) => {
    const short: FaultJob = { type: 'fault', fault, tankKind: 'small-reef', seed: 1000, settleMs: DAY, watchMs: 3 * HOUR };
    const score = await runJob(short, fleets);
    if (score.type !== 'fault') throw new Error('a fault was asked for');
    expect(score).toMatchObject({ named: ruleKind, namedRight: true, by: 'page' });
    expect(score.pages).toHaveLength(1);
    expect(score.delayMs).toBeLessThanOrEqual(boundMs(score) ?? Number.NaN);
    expect(score.delayMs).toBeGreaterThan(score.departureMs ?? Number.NaN);
    expect(await runJob(short, fleets)).toEqual(score);
  });

  it('a healthy week is a share of a month, with every page it rang', async () => {
    const score = await runJob({ type: 'healthy', tankKind: 'planted-fresh', seed: 1000, days: 7 }, fleets);
    if (score.type !== 'healthy') throw new Error('health was asked for');
    expect(score.months).toBeCloseTo(7 / 30, 10);
    expect(score.falsePages).toEqual([]);
  });

  it('what cannot happen to a tank is no trial', async () => {
    await expect(runJob({ type: 'fault', fault: 'chiller-not-cooling', tankKind: 'small-reef', seed: 1000 }, fleets)).rejects.toThrow('chiller-not-cooling cannot happen to small-reef');
  });

  it('the own delay of a rule is what its settings say', () => {
    const silent = rules.find((rule) => rule.kind.kind === 'silent-point');
    const limit = rules.find((rule) => rule.kind.kind === 'limit');
    if (silent === undefined || limit === undefined) throw new Error('no such rules');
    expect(ownDelayMs(limit, 10 * MINUTE, undefined)).toBe(10 * MINUTE);
    expect(ownDelayMs(silent, 0, undefined)).toBe(Math.max(...[...silent.roles.values()].map(({ silentAfterMs }) => silentAfterMs)));
    expect(ownDelayMs(silent, 0, undefined)).toBeGreaterThan(0);
  });
});
