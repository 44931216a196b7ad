/** The subject: what a lock screen shows of a mail. Most important first; 78 characters (RFC 5322 §2.1.1) where possible. */
import { type Alarm, asksSinceMs, type Priority } from '../domain/alarm.ts';
import { show } from '../domain/units.ts';
import type { PageFacts } from './facts.ts';
import { charsOf, cut, oneLine } from './plain.ts';
import { showSpan } from './times.ts';

export const MAX_SUBJECT_CHARS = 78;
const MIN_NAME_CHARS = 14;

export function subjectOf(facts: PageFacts): string {
  const { alarm } = facts;
  if (alarm === null) return cut(`TEST for ${oneLine(facts.person.name)}: Tankbell can reach you`, MAX_SUBJECT_CHARS);
  const lead = leadOf(facts);
  const number = keyNumber(alarm, facts);
  const tail = number === null ? '' : `, ${facts.page.reason === 'returned' ? 'now ' : ''}${number}`;
  const tank = oneLine(facts.tank?.name ?? alarm.tankId);
  const title = oneLine(alarm.title);
  let tankChars = charsOf(tank);
  let titleChars = charsOf(title);
  const write = (): string => `${lead} ${isOfSite(facts) ? '' : `${cut(tank, tankChars)}: `}${cut(title, titleChars)}${tail}`;
  // Names give way before numbers do, the longer name first.
  while (charsOf(write()) > MAX_SUBJECT_CHARS && Math.max(tankChars, titleChars) > MIN_NAME_CHARS) {
    if (tankChars >= titleChars) tankChars -= 1;
    else titleChars -= 1;
  }
  const withClient = facts.client === null ? write() : `${write()} (${oneLine(facts.client.name)})`;
  return charsOf(withClient) <= MAX_SUBJECT_CHARS ? withClient : write();
}

/** The mains or the gateway of a site: its title names the site, and the tank it is kept under is one among those that it concerns. */
export function isOfSite({ alarm, site }: Pick<PageFacts, 'alarm' | 'site'>): boolean {
  return alarm !== null && site !== null && alarm.title.startsWith(`${site.name}: `);
}

export function priorityWord(priority: Priority): string {
  return { urgent: 'URGENT', high: 'HIGH', low: 'LOW', journal: 'RECORD' }[priority];
}

function leadOf({ alarm, page, nowMs }: PageFacts): string {
  if (alarm === null) return 'TEST';
  const word = priorityWord(alarm.policy.priority);
  if (page.reason === 'returned') return `OVER after ${showSpan((alarm.returnedMs ?? nowMs) - alarm.beganMs)},`;
  if (alarm.returnedMs !== null) return `${word}, over by now,`;
  if (page.reason === 'escalated' || page.reason === 'repeated') return `${word} unanswered ${showSpan(nowMs - asksSinceMs(alarm))},`;
  if (page.reason === 'surfaced') return `${word} still, its cause is over,`;
  if (page.reason === 'morning') return `${word} for ${showSpan(nowMs - alarm.beganMs)},`;
  return word;
}

/**
 * The one number worth a lock screen: the water temperature where it is about heating or cooling, else what the rule measured first, as it is now.
 * No other will do: "Salinity jumped, 25.3 °C" reads as if the temperature had.
 */
function keyNumber({ evidence: [first] }: Alarm, { latest, equipment }: PageFacts): string | null {
  const current = latest.filter((reading) => reading.current && reading.kind !== 'switch');
  const aboutHeat = first === undefined || equipment?.kind === 'heater' || equipment?.kind === 'chiller';
  const water = aboutHeat ? current.find(({ kind }) => kind === 'temperature') : undefined;
  const chosen = water ?? (first === undefined ? current[0] : current.find(({ kind }) => kind === first.kind));
  if (chosen === undefined) return null;
  // A tenth of a degree is as much as anybody acts on.
  return chosen.kind === 'temperature' ? `${chosen.value.toFixed(1)} °C` : show(chosen.kind, chosen.value);
}
