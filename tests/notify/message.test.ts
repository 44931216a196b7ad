import { describe, expect, it } from 'vitest';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { Page } from '../../src/domain/page.ts';
import type { PageFacts } from '../../src/notify/facts.ts';
import { composePage } from '../../src/notify/message.ts';
import { alarm, ben, facts, firstChecks, heater, nowMs, page, site, tank } from './install.ts';

const compose = (changes: Partial<PageFacts> = {}, alarmChanges: Partial<Alarm> = {}) => composePage({ ...facts, alarm: { ...alarm, ...alarmChanges }, ...changes });
const reason = (one: Page['reason']): Page => ({ ...page, id: `12-${one}`, reason: one });
const subject = (changes: Partial<PageFacts> = {}, alarmChanges: Partial<Alarm> = {}) => compose({ client: null, ...changes }, alarmChanges).subject;

describe('subject', () => {
  it('says how urgent, where, what and how bad, in that order', () => {
    expect(subject()).toBe('URGENT Lobby reef: Heater 1 stuck on, 28.6 °C');
    expect(subject({}, { policy: { ...alarm.policy, priority: 'high' } })).toBe('HIGH Lobby reef: Heater 1 stuck on, 28.6 °C');
  });

  it('says why it comes again', () => {
    const later = nowMs + 5 * MINUTE;
    expect(subject({ page: reason('escalated'), nowMs: later })).toBe('URGENT unanswered 5 min, Lobby reef: Heater 1 stuck on, 28.6 °C');
    expect(subject({ page: reason('repeated'), nowMs: later + 30 * MINUTE })).toBe('URGENT unanswered 35 min, Lobby reef: Heater 1 stuck on, 28.6 °C');
    expect(subject({ page: reason('morning'), nowMs: later }, { policy: { ...alarm.policy, priority: 'high' } })).toBe('HIGH for 11 min, Lobby reef: Heater 1 stuck on, 28.6 °C');
    expect(subject({ page: reason('returned'), nowMs: later }, { state: 'returned', returnedMs: later })).toBe('OVER after 11 min, Lobby reef: Heater 1 stuck on, now 28.6 °C');
    expect(subject({}, { state: 'returned', returnedMs: later })).toBe('URGENT, over by now, Lobby reef: Heater 1 stuck on, 28.6 °C');
    expect(compose({ alarm: null, page: reason('test') }).subject).toBe('TEST for Ana Brightwater: Tankbell can reach you');
  });

  it('never gives a number that is not current', () => {
    expect(subject({ latest: facts.latest.map((reading) => ({ ...reading, current: false })) })).toBe('URGENT Lobby reef: Heater 1 stuck on');
    expect(subject({ latest: facts.latest.map((reading) => ({ ...reading, current: reading.kind === 'power' })) })).toBe('URGENT Lobby reef: Heater 1 stuck on, 296.2 W');
  });

  it('names the client when there is room', () => {
    expect(compose().subject).toBe('URGENT Lobby reef: Heater 1 stuck on, 28.6 °C (Harbor Dental (invented))');
    expect(compose({}, { title: 'Heater 1 stuck on for no reason that we know' }).subject).not.toContain('Harbor');
  });

  it('stays within 78 characters, and cuts names before numbers', () => {
    const long = { ...tank, name: `The large display in the ${'very '.repeat(12)}long lobby` };
    const cut = subject({ tank: long }, { title: 'Circulation pump at the rear left has stopped or is unplugged' });
    expect([...cut].length).toBeLessThanOrEqual(78);
    expect(cut).toMatch(/^URGENT The large display.*…: Circulation pump.*…, 28\.6 °C$/);
  });

  it('gives the number of what is wrong, and none that is not', () => {
    const pump = { ...heater, kind: 'return-pump' } as const;
    const latest = [{ ...facts.latest[0], pointName: 'Conductivity', kind: 'conductivity', value: 48_100 }, ...facts.latest] as typeof facts.latest;
    expect(subject({ latest, equipment: null }, { title: 'Salinity jumped', evidence: [{ label: 'Salinity', value: '31.1 (practical salinity)' }] })).toBe('URGENT Lobby reef: Salinity jumped');
    expect(subject({ equipment: pump }, { title: 'Return pump stopped', evidence: [{ label: 'Draws', value: 0, kind: 'power' }] })).toContain('stopped, 296.2 W');
  });

  it('names the site and no tank, when it is the site that is concerned', () => {
    const title = `${site.name}: mains lost`;
    expect(subject({ equipment: null, latest: [] }, { title })).toBe('URGENT Main Street lobby: mains lost');
    expect(compose({ equipment: null, latest: [] }, { title }).text).toContain('ago). Harbor Dental (invented), Main Street lobby.');
  });

  it('is one line, whatever the names hold', () => {
    const nasty = 'Reef\r\nBcc: everybody@example.invalid\u2028\u202ekcab';
    const message = compose({ tank: { ...tank, name: nasty }, person: { ...facts.person, name: nasty }, page: { ...page, id: `12\r\n${nasty}` } }, { title: nasty });
    for (const text of [message.subject, message.to.name, ...Object.values(message.headers)]) expect(text).not.toMatch(/[\p{Cc}\u2028\u202e]/u);
    expect(message.text.split('\n').some((line) => line.startsWith('Bcc:'))).toBe(false);
  });
});

describe('text', () => {
  const { text } = compose();
  const at = (part: string): number => {
    const index = text.indexOf(part);
    expect(index, part).toBeGreaterThanOrEqual(0);
    return index;
  };

  it('holds all that is needed, the most needed first', () => {
    const order = [
      'URGENT: Heater 1 stuck on', 'Drawing 296 W for 6 min', 'Found at 02:04 MST (6 min ago). Lobby reef, Harbor Dental (invented), Main Street lobby.',
      'https://bell.example.invalid/acknowledge/t0k-3n_', 'Works until Fri 27 Nov 2026, 02:10 MST',
      'CALL', 'Night guard: +1 555 0101', 'Office manager: +1 555 0102',
      'CHECK FIRST', `1. ${firstChecks[0]}`, `2. ${firstChecks[1]}`, `3. ${firstChecks[2]}`,
      'WHERE', '12 Example Street', 'Getting in: Side door', 'Breaker: Panel B', 'Water shut-off: Under the sink', 'Heater 1: 300 W, on strip A, outlet 3',
      'WHO ELSE', 'Paged so far: Ana Brightwater (you).', 'Ben Møller is paged at 02:15 MST (in 5 min)',
      'MEASURED WHEN IT RANG', '- Heater 1 power: 296.2 W (02:09)', '- Setpoint and band: 25.5 °C ± 0.3 K', '- Warming: 1.235',
      'https://bell.example.invalid/alarms/12', 'Sent automatically', 'not a life-safety system',
    ].map(at);
    expect(order).toEqual([...order].sort((a, b) => a - b));
  });

  it('says who was paged before, and what is measured now, when it escalates', () => {
    const later = nowMs + 5 * MINUTE;
    const escalated = compose({
      page: { ...reason('escalated'), personId: 'ben', createdMs: later }, person: ben, nowMs: later, latest: facts.latest.map((reading) => ({ ...reading, atMs: later })),
      onCall: { paged: ['Ana Brightwater', 'Ben Møller'], next: null, acknowledgedBy: null },
    }).text;
    expect(escalated).toContain('At 02:10 MST: Drawing 296 W');
    expect(escalated).toContain('nobody has acknowledged it in 5 min; Ana Brightwater was paged before you.');
    expect(escalated).toContain('NOW\n- Heater 1 power: 296.2 W (02:15)');
    expect(escalated).toContain('NOBODY ELSE is paged after you.');
  });

  it('says when an alarm of the night waited for the morning', () => {
    const morningMs = Date.parse('2026-11-24T14:00:00Z');
    const { text: morning } = compose({ page: reason('morning'), nowMs: morningMs }, { policy: { ...alarm.policy, priority: 'high' } });
    expect(morning).toContain('It opened at 02:10 MST, outside your hours, and could wait for your day to begin.');
    expect(compose({ page: reason('morning'), nowMs: morningMs }).text).toContain('It opened at 02:10 MST and was held back until now.');
  });

  it('gives the date when it is another day', () => {
    const nextDay = Date.parse('2026-11-25T14:00:00Z');
    expect(compose({ page: reason('repeated'), nowMs: nextDay }).text).toContain('Found at Tue 24 Nov 2026, 02:04 MST (1 d 4 h ago)');
  });

  it('is short when it is over, and does not claim to know why', () => {
    const endMs = nowMs + 46 * MINUTE;
    const over = compose({ page: reason('returned'), nowMs: endMs, onCall: { paged: ['Ana Brightwater'], next: null, acknowledgedBy: null } }, { state: 'returned', returnedMs: endMs }).text;
    expect(over).toContain('It lasted 52 min: from 02:04 MST to 02:56 MST.');
    expect(over).toContain('Nobody has acknowledged it');
    expect(over).toContain('does not know why it ended');
    expect(over).not.toContain('CHECK FIRST');
    expect(over).toContain('Acknowledge: I have seen it');
  });

  it('says when it is late, and why', () => {
    const late = compose({ nowMs: nowMs + 45 * MINUTE, lateWhy: 'Earlier tries failed: no route' }).text;
    expect(late).toContain('SENT LATE: decided at 02:10 MST, sent at 02:55 MST (45 min late). Earlier tries failed: no route.');
  });

  it('shows a stale value as unknown', () => {
    const stale = compose({ page: reason('repeated'), nowMs: nowMs + 40 * MINUTE, latest: facts.latest.map((reading) => ({ ...reading, current: false })) }).text;
    expect(stale).toContain('- Water temperature: unknown now; last value 28.61 °C, 40 min ago');
  });

  it('says why nothing is known, when a gateway has gone since it rang', () => {
    const offlineWhy = 'its gateway lobby/edge-1 is offline since Tue 3 Mar 2026, 02:09';
    const { text } = compose({ latest: facts.latest.map((reading) => ({ ...reading, current: false, offlineWhy })) });
    expect(text).toContain(`- Water temperature: unknown now (${offlineWhy}); last value 28.61 °C, `);
  });

  it('says who has it in hand, when a late first page finds it acknowledged', () => {
    const { text: taken } = compose({ links: { ...facts.links, acknowledge: null }, onCall: { ...facts.onCall, acknowledgedBy: 'Ben Møller' } }, { state: 'acknowledged', acknowledgedMs: nowMs + MINUTE, acknowledgedBy: 'ben' });
    expect(taken).toContain('Ben Møller acknowledged it at 02:11 MST.');
    expect(taken).toContain('Nobody further is paged');
    expect(taken).not.toContain('/acknowledge/');
  });

  it('still helps when the tank, the site and the rule have left the fleet', () => {
    const bare = compose({ tank: null, site: null, client: null, equipment: null, firstChecks: [], latest: [] });
    expect(bare.subject).toBe('URGENT lobby-reef: Heater 1 stuck on');
    expect(bare.text).toContain('switch off at the breaker, with dry hands');
    expect(bare.text).toContain('Found at 02:04 MST');
  });

  it('says what is not recorded', () => {
    const { text: sparse } = compose({ site: { ...site, address: null, access: null, breaker: null, waterShutOff: null, contacts: [] }, equipment: { ...heater, circuit: null, nameplateWatts: null } });
    expect(sparse).toContain('Main Street lobby, address not recorded');
    expect(sparse).toContain('Heater 1: circuit not recorded');
    expect(sparse).not.toContain('\nCALL\n');
  });

  it('carries the notice on top', () => {
    expect(compose({ notice: 'Demo: nothing here is real' }).text.startsWith('Demo: nothing here is real\n\nURGENT')).toBe(true);
  });
});

describe('HTML', () => {
  it('says the same as the text', () => {
    const { html } = compose();
    for (const part of ['URGENT: Heater 1 stuck on', 'Drawing 296 W', ...firstChecks, 'Panel B in the store room', 'href="https://bell.example.invalid/acknowledge/t0k-3n_"', 'href="tel:+15550101"', 'Ben Møller', '28.61 °C']) {
      expect(html).toContain(part);
    }
  });

  it('escapes whatever comes from outside', () => {
    const { html } = compose({ tank: { ...tank, name: '<img src=x onerror=alert(1)> & "co"' }, firstChecks: ['</li><script>'] });
    expect(html).toContain('&lt;img src=x onerror=alert(1)&gt; &amp; &quot;co&quot;');
    expect(html).not.toMatch(/<(script|img)/);
  });

  it('fetches nothing, and sets no colours that dark mode could turn against the text', () => {
    const { html } = compose();
    expect(html).not.toMatch(/<(img|link|script|iframe|object|video|audio)\b|\bsrc=|url\(|@import/i);
    expect(html).not.toMatch(/[;"\s](color|background[a-z-]*)\s*:/i);
    expect([...html.matchAll(/href="([^"]*)"/g)].map(([, href]) => href)).toEqual([
      'https://bell.example.invalid/acknowledge/t0k-3n_', 'tel:+15550101', 'tel:+15550102', 'https://bell.example.invalid/alarms/12',
    ]);
  });
});

describe('identity', () => {
  it('is the same for every copy of a page, and no other', () => {
    expect(compose({ nowMs: nowMs + MINUTE }).messageId).toBe(compose().messageId);
    expect(compose({ page: { ...page, id: '12-1-ana' } }).messageId).not.toBe(compose().messageId);
    // A fresh data folder counts alarms from 1 again.
    expect(compose({ page: { ...page, createdMs: nowMs + 1 } }).messageId).not.toBe(compose().messageId);
    expect(compose().messageId).toMatch(/^page-[0-9a-f]{32}$/);
  });

  it('continues the conversation that the first page began', () => {
    expect(compose().inReplyTo).toBeNull();
    expect(compose({ page: reason('escalated'), threadRoot: page }).inReplyTo).toBe(compose().messageId);
  });

  it('is marked important only while it is', () => {
    expect(compose().headers['Importance']).toBe('high');
    expect(compose({ page: reason('returned') }).headers['Importance']).toBeUndefined();
    expect(compose({}, { policy: { ...alarm.policy, priority: 'high' } }).headers['Importance']).toBeUndefined();
  });
});
