/** What a message says, section by section, before it becomes text or HTML: so both always say the same. */
import { type Alarm, asksSinceMs, isBehindCause } from '../domain/alarm.ts';
import { show, showLitres } from '../domain/units.ts';
import type { Evidence } from '../domain/verdict.ts';
import type { PageFacts } from './facts.ts';
import { MINUTE } from '../domain/duration.ts';
import { cut, oneLine } from './plain.ts';
import { isOfSite, priorityWord } from './subject.ts';
import { showBareClock, showClock, showSpan } from './times.ts';

export interface Content {
  readonly notice: string | null;
  /** The first thing read, also what a preview shows after the subject. */
  readonly headline: string;
  /** Under the headline, before anything else. */
  readonly opening: readonly string[];
  /** The one thing to do, if there is one. */
  readonly action: { readonly label: string; readonly url: string; readonly note: string } | null;
  readonly sections: readonly Section[];
  readonly more: { readonly label: string; readonly url: string } | null;
  readonly footer: string;
}

export interface Section {
  readonly heading: string;
  readonly list: 'plain' | 'bullets' | 'numbered';
  readonly lines: readonly Line[];
}

/** `phone` makes the line a link to call, where mail is HTML. */
export interface Line {
  readonly text: string;
  readonly phone?: string;
}

const FOOTER =
  'Sent automatically by Tankbell, which watches and warns but switches nothing. It is an aid, not a life-safety system: '
  + 'sensors, networks and mail can fail, so look before you rely on it.';

/** Said when the rule that knows better is gone. */
const GENERAL_CAUTION =
  'Before reaching into the water or behind equipment: switch off at the breaker, with dry hands. Electrical faults are for a licensed electrician.';

export function contentOf(facts: PageFacts): Content {
  const { alarm, page } = facts;
  if (alarm === null) return testContent(facts);
  const over = page.reason === 'returned';
  const overByNow = !over && alarm.returnedMs !== null;
  const word = priorityWord(alarm.policy.priority);
  return {
    notice: facts.notice === null ? null : oneLine(facts.notice),
    headline: `${over ? 'Over' : overByNow ? `${word}, over by now` : word}: ${oneLine(alarm.title)}`,
    opening: over ? overLines(facts, alarm) : ringLines(facts, alarm),
    action: facts.links.acknowledge === null
      ? null
      : {
          label: over || overByNow ? 'Acknowledge: I have seen it' : 'Acknowledge: I am on it',
          url: facts.links.acknowledge.url,
          note: `Opens a page with a button${alarm.escalation.dueMs === null ? '' : '; once pressed, nobody further is paged'}. Works until ${showClock(zoneOf(facts), facts.links.acknowledge.expiresMs, facts.nowMs)}.`,
        },
    sections: [
      ...(over ? [section('Not over yet', 'bullets', explainsLines(facts, over))] : []),
      section('Now', 'bullets', isFresh(facts, alarm) ? [] : nowLines(facts)),
      // All clear is for going back to sleep: no directions.
      ...(over
        ? []
        : [
            // Somebody on site is faster than whoever reads this at home, and the checks fill a screen.
            section('Call', 'plain', callLines(facts)),
            section('Check first', 'numbered', checkLines(facts)),
            section('Explains also', 'bullets', explainsLines(facts, over)),
            section('Where', 'plain', whereLines(facts)),
          ]),
      section('Who else', 'plain', onCallLines(facts, alarm)),
      section('Measured when it rang', 'bullets', evidenceLines(facts, alarm)),
    ].filter((one) => one.lines.length > 0),
    more: facts.links.alarm === null ? null : { label: `Alarm ${alarm.id}, with charts and history (login needed)`, url: facts.links.alarm },
    footer: FOOTER,
  };
}

function testContent(facts: PageFacts): Content {
  return {
    notice: facts.notice === null ? null : oneLine(facts.notice),
    headline: 'Test page: nothing is wrong',
    opening: [
      `This is how a page reaches ${oneLine(facts.person.name)}. It was asked for at ${showClock(zoneOf(facts), facts.page.createdMs, facts.nowMs)}.`,
      'See that this sender may ring your phone at night: let its address through "do not disturb" and keep it out of spam.',
      ...lateLines(facts),
    ],
    action: null,
    sections: [],
    more: null,
    footer: FOOTER,
  };
}

const FRESH_MS = 2 * MINUTE;

/** What was measured when it rang still is what is measured now: no need to say both. Not so when a gateway has gone since. */
function isFresh({ page, latest, nowMs }: PageFacts, alarm: Alarm): boolean {
  return latest.every(({ offlineWhy }) => offlineWhy === null) && page.reason === 'opened' && nowMs - alarm.openedMs < FRESH_MS && alarm.evidence.some((fact) => fact.atMs !== undefined);
}

function placeLine(facts: PageFacts): string {
  const { alarm, tank, client, site } = facts;
  const names = [isOfSite(facts) ? '' : tank?.name ?? alarm?.tankId ?? '', client?.name ?? '', site?.name ?? ''].map(oneLine).filter((name) => name !== '');
  return [...new Set(names)].join(', ');
}

function ringLines(facts: PageFacts, alarm: Alarm): string[] {
  const { page, nowMs } = facts;
  const zone = zoneOf(facts);
  const clock = (atMs: number): string => showClock(zone, atMs, nowMs);
  const lines: string[] = [];
  if (alarm.summary !== '') lines.push(isFresh(facts, alarm) ? sentence(alarm.summary) : `At ${clock(alarm.openedMs)}: ${sentence(alarm.summary)}`);
  lines.push(`${alarm.returnedMs === null
    ? `Found at ${clock(alarm.beganMs)} (${showSpan(nowMs - alarm.beganMs)} ago)`
    : `From ${clock(alarm.beganMs)} to ${clock(alarm.returnedMs)}: it is back to normal`}. ${placeLine(facts)}.`);
  const others = facts.onCall.paged.filter((name) => name !== facts.person.name);
  const open = alarm.acknowledgedMs === null && alarm.returnedMs === null;
  if (page.reason === 'escalated' && open) {
    lines.push(`You are paged because nobody has acknowledged it in ${showSpan(nowMs - asksSinceMs(alarm))}${others.length > 0 ? `; ${listOf(others)} ${others.length > 1 ? 'were' : 'was'} paged before you` : ''}.`);
  }
  if (page.reason === 'repeated' && open) lines.push(`Still nobody has acknowledged it after ${showSpan(nowMs - asksSinceMs(alarm))}: you are paged again.`);
  if (page.reason === 'surfaced') lines.push('It came with another alarm that explained it. That one is over, or was put aside; this is still true, so you are paged for it now.');
  if (page.reason === 'morning') {
    lines.push(alarm.policy.priority === 'high'
      ? `It opened at ${clock(alarm.openedMs)}, outside your hours, and could wait for your day to begin.`
      : `It opened at ${clock(alarm.openedMs)} and was held back until now.`);
  }
  if (alarm.acknowledgedMs !== null) lines.push(`${facts.onCall.acknowledgedBy ?? 'Somebody'} acknowledged it at ${clock(alarm.acknowledgedMs)}.`);
  if (alarm.state === 'shelved' || alarm.state === 'suppressed' || alarm.state === 'out-of-service') {
    lines.push(isBehindCause(alarm)
      ? `By now it is explained by another alarm, ${oneLine(alarm.cause?.title ?? '')}, and rings nobody while that lasts.`
      : `By now this alarm is ${alarm.state === 'out-of-service' ? 'out of service' : alarm.state}: somebody put it aside.`);
  } else if (alarm.cause !== null) {
    lines.push(`Another alarm explains it: ${oneLine(alarm.cause.title)}.${alarm.cause.quiet ? '' : ' This one is more urgent, so you are paged for it all the same.'}`);
  }
  return [...lines, ...lateLines(facts)];
}

/** More than these are told by their titles, tank by tank: what a gateway leaves silent fills no screen. */
const MOST_TOLD_WHOLE = 3;
const MOST_TITLES = 6;

function explainsLines({ explains, tank }: PageFacts, over: boolean): Line[] {
  const atTank = (tankName: string): string => (tankName === tank?.name ? '' : `${oneLine(tankName)}: `);
  const lines = explains.length <= MOST_TOLD_WHOLE
    ? explains.map(({ title, tankName, summary }) => ({ text: `${atTank(tankName)}${oneLine(title)}${summary === '' ? '' : `: ${cut(oneLine(summary), MAX_EXPLAINED_CHARS)}`}` }))
    : [...new Set(explains.map(({ tankName }) => tankName))].map((tankName) => {
        const titles = explains.filter((one) => one.tankName === tankName).map(({ title }) => oneLine(title));
        return { text: `${atTank(tankName)}${titles.slice(0, MOST_TITLES).join(', ')}${titles.length > MOST_TITLES ? ` and ${titles.length - MOST_TITLES} more` : ''}` };
      });
  if (lines.length > 0) lines.push({ text: over ? 'What stays so for some minutes more will be paged by itself.' : 'Nobody is paged for these while this alarm lasts. What outlives it is paged then.' });
  return lines;
}

const MAX_EXPLAINED_CHARS = 120;

function overLines(facts: PageFacts, alarm: Alarm): string[] {
  const { nowMs } = facts;
  const zone = zoneOf(facts);
  const clock = (atMs: number): string => showClock(zone, atMs, nowMs);
  const endMs = alarm.returnedMs ?? alarm.closedMs;
  return [
    `${endMs === null ? `It began at ${clock(alarm.beganMs)}` : `It lasted ${showSpan(endMs - alarm.beganMs)}: from ${clock(alarm.beganMs)} to ${clock(endMs)}`}. ${placeLine(facts)}.`,
    alarm.acknowledgedMs === null
      ? 'Nobody has acknowledged it, so it stays on the list until somebody does.'
      : `${facts.onCall.acknowledgedBy ?? 'Somebody'} acknowledged it at ${clock(alarm.acknowledgedMs)}.`,
    'Tankbell does not know why it ended. A fault that goes away by itself tends to come back: look at the cause at the next visit at the latest.',
    ...lateLines(facts),
  ];
}

function lateLines({ page, lateWhy, nowMs, ...rest }: PageFacts): string[] {
  if (lateWhy === null) return [];
  const zone = zoneOf(rest);
  return [`SENT LATE: decided at ${showClock(zone, page.createdMs, nowMs)}, sent at ${showClock(zone, nowMs, nowMs)} (${showSpan(nowMs - page.createdMs)} late). ${sentence(lateWhy)}`];
}

function nowLines({ latest, nowMs, ...rest }: PageFacts): Line[] {
  const zone = zoneOf(rest);
  return latest.map(({ pointName, kind, value, atMs, current, offlineWhy }) => ({
    text: current
      ? `${oneLine(pointName)}: ${show(kind, value)} (${showBareClock(zone, atMs, nowMs)})`
      : `${oneLine(pointName)}: unknown now${offlineWhy === null ? '' : ` (${oneLine(offlineWhy)})`}; last value ${show(kind, value)}, ${showSpan(nowMs - atMs)} ago`,
  }));
}

function evidenceLines(facts: PageFacts, alarm: Alarm): Line[] {
  const zone = zoneOf(facts);
  const lines = alarm.evidence.map((fact) => ({
    text: `${oneLine(fact.label)}: ${evidenceValue(fact)}${fact.atMs === undefined ? '' : ` (${showBareClock(zone, fact.atMs, facts.nowMs)})`}`,
  }));
  // The summary stands at the top already, except in the all-clear.
  return facts.page.reason === 'returned' && alarm.summary !== '' ? [{ text: sentence(alarm.summary) }, ...lines] : lines;
}

function evidenceValue({ value, kind }: Evidence): string {
  if (typeof value === 'string') return oneLine(value);
  return kind === undefined ? (Number.isFinite(value) ? String(Number(value.toPrecision(4))) : 'unknown') : show(kind, value);
}

function checkLines({ firstChecks }: PageFacts): Line[] {
  const checks = firstChecks.length === 0 ? [GENERAL_CAUTION] : firstChecks;
  return checks.map((check) => ({ text: oneLine(check) }));
}

function whereLines({ tank, site, client, equipment }: PageFacts): Line[] {
  const lines: (string | null)[] = [
    tank === null ? null : `${tank.name}: ${waterWord[tank.water]}, ${showLitres(tank.displayLitres)} display${tank.sumpLitres > 0 ? ` + ${showLitres(tank.sumpLitres)} sump` : ''}`,
    site === null ? null : [client?.name, site.name, site.address ?? 'address not recorded'].filter((part) => part !== undefined && part !== '').join(', '),
    site?.access ? `Getting in: ${site.access}` : null,
    site?.breaker ? `Breaker: ${site.breaker}` : null,
    site?.waterShutOff ? `Water shut-off: ${site.waterShutOff}` : null,
    // A reservoir hangs on no circuit.
    equipment === null || (equipment.kind === 'top-off-reservoir' && equipment.circuit === null)
      ? null
      : `${equipment.name}: ${[equipment.nameplateWatts === null ? null : `${equipment.nameplateWatts} W`, equipment.circuit === null ? 'circuit not recorded' : `on ${equipment.circuit}`].filter((part) => part !== null).join(', ')}`,
  ];
  return lines.filter((line) => line !== null).map((line) => ({ text: oneLine(line) }));
}

const waterWord = { reef: 'reef', marine: 'marine', fresh: 'fresh water', cold: 'cold water' } as const;

function callLines({ site }: PageFacts): Line[] {
  return (site?.contacts ?? []).map(({ name, phone }) => ({ text: `${oneLine(name)}: ${oneLine(phone)}`, phone: oneLine(phone) }));
}

function onCallLines(facts: PageFacts, alarm: Alarm): Line[] {
  const { onCall, person, nowMs } = facts;
  const lines: string[] = [];
  if (onCall.paged.length > 0) lines.push(`Paged so far: ${listOf(onCall.paged.map((name) => (name === person.name ? `${name} (you)` : name)))}.`);
  if (facts.page.reason === 'returned' || alarm.returnedMs !== null || alarm.acknowledgedMs !== null || alarm.closedMs !== null) {
    lines.push('Nobody further is paged, unless it comes back.');
  } else if (onCall.next === null) {
    lines.push('NOBODY ELSE is paged after you.');
  } else {
    const who = onCall.next.personId === person.id ? 'you are paged again' : `${oneLine(onCall.next.name)} is paged`;
    const inMs = onCall.next.atMs - nowMs;
    lines.push(`If nobody acknowledges, ${who} ${inMs > 0 ? `at ${showClock(zoneOf(facts), onCall.next.atMs, nowMs)} (in ${showSpan(inMs)})` : 'next'}.`);
  }
  return lines.map((text) => ({ text }));
}

function section(heading: string, list: Section['list'], lines: readonly Line[]): Section {
  return { heading, list, lines };
}

/** The site's zone; for a page without a site, the reader's own. */
function zoneOf({ site, person }: Pick<PageFacts, 'site' | 'person'>): string {
  return site?.timeZone ?? person.timeZone;
}

function listOf(names: readonly string[]): string {
  const clean = names.map(oneLine);
  return clean.length < 2 ? clean.join('') : `${clean.slice(0, -1).join(', ')} and ${clean.at(-1)}`;
}

const MAX_SENTENCE_CHARS = 500;

function sentence(text: string): string {
  const line = cut(oneLine(text), MAX_SENTENCE_CHARS);
  const [first = '', ...rest] = line;
  return `${first.toLocaleUpperCase('en')}${rest.join('')}${/[.!?…]$/.test(line) ? '' : '.'}`;
}
