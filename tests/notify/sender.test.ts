import { afterEach, describe, expect, it, vi } from 'vitest';
import type { Alarm } from '../../src/domain/alarm.ts';
import { HOUR, MINUTE, SECOND } from '../../src/domain/duration.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { StoredJournalEntry } from '../../src/domain/journal.ts';
import type { OutboxPage, Page } from '../../src/domain/page.ts';
import { makeLogger } from '../../src/log.ts';
import { ACKNOWLEDGE_PATH, makeAckLinks } from '../../src/notify/ack-link.ts';
import { type Channel, type Message, SendError } from '../../src/notify/channel.ts';
import { MAIL_NOT_SET_UP, type Sender, type SenderOptions, startSender } from '../../src/notify/sender.ts';
import { makeSmtpChannel } from '../../src/notify/smtp.ts';
import type { Batch, Store } from '../../src/store/contract.ts';
import { openSqliteStore } from '../../src/store/sqlite.ts';
import { alarm, fleet, nowMs, page, powerPoint, rule, waterPoint } from './install.ts';
import { type Mailbox, type MailboxOrders, answer, openMailbox } from './mailbox.ts';
import { type ManualClock, manualClock } from './manual-clock.ts';
import { until } from './until.ts';

const closing: (() => Promise<void>)[] = [];
afterEach(async () => {
  for (const close of closing.splice(0).reverse()) await close();
});

const links = makeAckLinks(new Uint8Array(32).fill(5), 'https://bell.example.invalid');

interface Scene {
  readonly store: Store;
  readonly clock: ManualClock;
  start(channel: Channel | null, changes?: Partial<SenderOptions> & { readonly clock?: ManualClock }): Sender;
  put(batch: Partial<Batch>): Promise<void>;
  pageOf(id: string): Promise<OutboxPage>;
  deliveries(): Promise<readonly StoredJournalEntry[]>;
}

/** An alarm and a page about it in a real store, at 02:10 in Denver. */
async function scene(pages: readonly Page[] = [page], alarms: readonly Alarm[] = [alarm]): Promise<Scene> {
  const store = await openSqliteStore(':memory:');
  closing.push(() => store.close());
  const clock = manualClock(nowMs);
  const put: Scene['put'] = (batch) =>
    store.commit({ readings: [], ruleStates: [], statuses: [], alarms: [], journal: [], pages: [], refusals: [], aliveMs: clock.now(), ...batch });
  await put({ alarms, pages });
  return {
    store, clock, put,
    start(channel, changes = {}) {
      const sender = startSender({
        outbox: store, history: store, fleet: () => fleet, rules: () => [rule], live: { offline: () => null, atPresent: (point) => point }, channel, links, clock, log: makeLogger('silent', clock.now), notice: null, ...changes,
      });
      closing.push(async () => {
        const stopping = sender.stop();
        await settled();
        // Sends that hang on purpose are not waited for longer than this.
        (changes.clock ?? clock).advance(10 * SECOND);
        await stopping;
      });
      return sender;
    },
    async pageOf(id) {
      const found = (await store.pages({ limit: 2000 })).find((one) => one.id === id);
      if (found === undefined) throw new Error(`no page ${id}`);
      return found;
    },
    deliveries: async () => [...(await store.journal({ kinds: ['delivery'], limit: 500 }))].reverse(),
  };
}

async function mailbox(orders: MailboxOrders = {}): Promise<Mailbox> {
  const box = await openMailbox(orders);
  closing.push(() => box.close());
  return box;
}

function smtp(port: number): Channel {
  const channel = makeSmtpChannel({ host: '127.0.0.1', port, security: 'none', user: null, passwordEnv: null, from: 'alarms@bell.example.invalid' }, null);
  return channel;
}

/** A channel that does what it is told, for what no server can be made to do at will. */
function scripted(behave: (message: Message, count: number) => Promise<void> | void): Channel & { readonly messages: Message[]; closed(): boolean } {
  const messages: Message[] = [];
  let closed = false;
  return {
    name: 'e-mail', messages, closed: () => closed,
    async send(message) {
      messages.push(message);
      await behave(message, messages.length);
    },
    async close() {
      closed = true;
    },
  };
}

const down = (): never => {
  throw new SendError('the line is dead', { permanent: false, scope: 'channel' });
};
const tick = () => new Promise<void>((resolve) => setImmediate(resolve));
/** Everything that can happen without time passing has happened. */
async function settled(): Promise<void> {
  for (let turn = 0; turn < 50; turn += 1) await tick();
}

describe('a page that goes through', () => {
  it('arrives, is settled and is journaled', async () => {
    const { store, start, put, pageOf, deliveries, clock } = await scene();
    const series = await store.seriesFor([waterPoint.id, powerPoint.id]);
    const water = series.get(waterPoint.id);
    if (water === undefined) throw new Error('no series');
    await put({ readings: [{ series: water, atMs: nowMs - 20 * SECOND, value: 28.61, quality: 0 }] });
    const box = await mailbox();
    const sender = start(smtp(box.port));
    await until('the page is handed over', async () => (await pageOf(page.id)).state === 'handed-over');
    expect(box.mails).toHaveLength(1);
    expect(box.mails[0]?.to).toEqual(['ana@example.invalid']);
    expect(box.mails[0]?.headers.get('subject')).toContain('URGENT Lobby reef: Heater 1 stuck on, 28.6 °C');
    expect(box.mails[0]?.text).toContain('If nobody acknowledges, Ben Møller is paged at 02:15 MST (in 5 min).');

    const token = new RegExp(`${ACKNOWLEDGE_PATH}(\\S+)`).exec(box.mails[0]?.text ?? '')?.[1] ?? '';
    expect(links.verify(token, nowMs)).toEqual({ ok: true, alarmId: 12, personId: 'ana' });

    const [entry, ...more] = await deliveries();
    expect(more).toEqual([]);
    expect(entry).toMatchObject({ alarmId: 12, tankId: 'lobby-reef', siteId: 'harbor-main', by: 'tankbell', text: 'Heater 1 stuck on: e-mail to Ana Brightwater (opened) handed over' });
    expect(entry?.detail).toMatchObject({ pageId: page.id, personId: 'ana', reason: 'opened', attempt: 1, outcome: 'handed-over' });
    clock.advance(SECOND);
    await until('the sender has looked again', () => sender.status().oldestUnsentMs === null);
    expect(sender.status()).toMatchObject({ lastError: null, lastHandedOverMs: nowMs, nextTryMs: null });
  });

  it('does not call a value current whose gateway has gone, however fresh it is, nor one older than its source promised', async () => {
    const { store, start, put, pageOf } = await scene();
    const series = await store.seriesFor([waterPoint.id, powerPoint.id]);
    const readings = [[waterPoint.id, 28.61], [powerPoint.id, 296.2]].flatMap(([pointId, value]) => {
      const known = series.get(String(pointId));
      return known === undefined ? [] : [{ series: known, atMs: nowMs - 20 * SECOND, value: Number(value), quality: 0 }];
    });
    await put({ readings });
    const channel = scripted(() => undefined);
    const why = 'its gateway lobby/edge-1 is offline since Tue 3 Mar 2026, 02:09';
    start(channel, { live: { offline: (pointId) => (pointId === waterPoint.id ? why : null), atPresent: (point) => ({ ...point, silentAfterMs: 10 * SECOND }) } });
    await until('the page is handed over', async () => (await pageOf(page.id)).state === 'handed-over');
    expect(channel.messages[0]?.subject).toBe('URGENT Lobby reef: Heater 1 stuck on (Harbor Dental (invented))');
    expect(channel.messages[0]?.text).toContain(`${waterPoint.name}: unknown now (${why}); last value 28.61 °C`);
    expect(channel.messages[0]?.text).toContain(`${powerPoint.name}: unknown now; last value 296.2 W`);
  });

  it('is sent once a nudge says that it is there, and a later page replies to it', async () => {
    const { start, put, clock } = await scene();
    const box = await mailbox();
    const sender = start(smtp(box.port));
    await until('the first mail', () => box.mails.length === 1);
    clock.advance(500);
    await put({ pages: [{ ...page, id: '12-1-ben', personId: 'ben', reason: 'escalated', createdMs: clock.now() }] });
    sender.nudge();
    await until('the second mail', () => box.mails.length === 2);
    expect(box.mails[1]?.to).toEqual(['ben@example.invalid']);
    expect(box.mails[1]?.headers.get('references')).toBe(box.mails[0]?.headers.get('message-id'));
  });

  it('a test page needs no alarm', async () => {
    const { store, start } = await scene([]);
    const box = await mailbox();
    await store.enqueue({ id: 'test-1', alarmId: null, personId: 'ben', reason: 'test', createdMs: nowMs });
    start(smtp(box.port));
    await until('the mail', () => box.mails.length === 1);
    expect(box.mails[0]?.headers.get('subject')).toBe('TEST for Ben Møller: Tankbell can reach you');
  });
});

describe('a page that does not go through', () => {
  it('put off by the server: tried again after 10 s, then through', async () => {
    const box = await mailbox({ onMail: (count) => (count === 1 ? answer(451, '4.3.0 busy') : null) });
    const { start, clock, pageOf, deliveries } = await scene();
    const sender = start(smtp(box.port));
    await until('the first try failed', async () => (await pageOf(page.id)).attempts === 1 && (await pageOf(page.id)).state === 'queued');
    await settled();
    expect(await pageOf(page.id)).toMatchObject({ attempts: 1, nextTryMs: nowMs + 10 * SECOND });
    expect(sender.status().lastError).toContain('451');
    clock.advance(9 * SECOND);
    await settled();
    expect((await pageOf(page.id)).attempts).toBe(1);
    clock.advance(SECOND);
    await until('the second try went through', async () => (await pageOf(page.id)).state === 'handed-over');
    expect(box.mails).toHaveLength(1);
    expect((await deliveries()).map((entry) => entry.text)).toEqual([
      expect.stringMatching(/failed, next try in 10 s: mail server .* puts this mail off \(451 4\.3\.0 busy\)/),
      expect.stringContaining('handed over'),
    ]);
    expect(sender.status().lastError).toBeNull();
  });

  it('refused by the server: settled as refused, with the reason, and the others go on', async () => {
    const box = await mailbox({ onRecipient: (_count, address) => (address.startsWith('ana') ? answer(550, '5.1.1 no such mailbox') : null) });
    const { start, pageOf, deliveries, clock } = await scene([page, { ...page, id: '12-1-ben', personId: 'ben' }]);
    start(smtp(box.port));
    await until('both are settled', async () => (await pageOf(page.id)).state === 'refused' && (await pageOf('12-1-ben')).state === 'handed-over');
    expect((await pageOf(page.id)).lastError).toContain('no such mailbox');
    expect((await deliveries()).some((entry) => entry.text.includes('not delivered: mail server') && entry.text.includes('550'))).toBe(true);
    clock.advance(24 * HOUR);
    await settled();
    expect((await pageOf(page.id)).attempts).toBe(1);
  });

  it('no server: waits, comes up, and says that it is late and why', async () => {
    const first = await openMailbox();
    await first.close();
    const { start, pageOf, clock } = await scene();
    const sender = start(smtp(first.port));
    await until('the first try failed', async () => (await pageOf(page.id)).attempts === 1 && (await pageOf(page.id)).state === 'queued');
    await settled();
    expect(sender.status()).toMatchObject({ nextTryMs: nowMs + 10 * SECOND, lastHandedOverMs: null, oldestUnsentMs: nowMs });
    expect(sender.status().lastError).toContain('ECONNREFUSED');
    const box = await mailbox({ port: first.port });
    clock.advance(45 * MINUTE);
    await until('the mail', () => box.mails.length === 1);
    expect(box.mails[0]?.text).toContain('SENT LATE: decided at 02:10 MST, sent at 02:55 MST (45 min late). Earlier tries failed: mail server 127.0.0.1');
    await until('no error is left', () => sender.status().lastError === null);
  });

  it('a server that cuts DATA: the mail goes again under the same id', async () => {
    const box = await mailbox({ cutData: (count) => count === 1 });
    const { start, pageOf, clock } = await scene();
    start(smtp(box.port));
    await until('the first try failed', async () => (await pageOf(page.id)).attempts === 1 && (await pageOf(page.id)).state === 'queued');
    await settled();
    clock.advance(10 * SECOND);
    await until('the page is handed over', async () => (await pageOf(page.id)).state === 'handed-over');
    expect(box.mails).toHaveLength(1);
  });

  it('put off again and again: ever slower, and given up after a day', async () => {
    const channel = scripted(() => {
      throw new SendError('greylisted', { permanent: false, scope: 'message' });
    });
    const { start, pageOf, clock } = await scene();
    start(channel);
    const waits: number[] = [];
    for (let tries = 1; tries <= 200; tries += 1) {
      await until(`try ${tries} ended`, async () => ['queued', 'refused'].includes((await pageOf(page.id)).state) && (await pageOf(page.id)).attempts === tries);
      await settled();
      const { state, nextTryMs } = await pageOf(page.id);
      if (state === 'refused') break;
      waits.push((nextTryMs - clock.now()) / SECOND);
      clock.advance(nextTryMs - clock.now());
      await settled();
    }
    expect(waits.slice(0, 9)).toEqual([10, 30, 60, 120, 300, 600, 900, 900, 900]);
    expect(clock.now() - nowMs).toBeGreaterThanOrEqual(24 * HOUR);
    expect(clock.now() - nowMs).toBeLessThan(24 * HOUR + 15 * MINUTE);
    expect(await pageOf(page.id)).toMatchObject({ state: 'refused', lastError: expect.stringMatching(/^given up after 1 d.*: greylisted$/) });
  });

  it('a page whose person left the fleet is refused, and the others go on', async () => {
    const box = await mailbox();
    const { start, pageOf } = await scene([{ ...page, id: '12-0-gone', personId: 'gone' }, page]);
    start(smtp(box.port));
    await until('both are settled', async () => (await pageOf('12-0-gone')).state === 'refused' && (await pageOf(page.id)).state === 'handed-over');
    expect((await pageOf('12-0-gone')).lastError).toBe('there is no person "gone" in the fleet any more');
  });

  it('a page that cannot be composed is refused, journaled, and the others go on', async () => {
    const box = await mailbox();
    const { start, pageOf, deliveries } = await scene([page, { id: 'test-1', alarmId: null, personId: 'ben', reason: 'test', createdMs: nowMs }]);
    // A zone that no runtime knows can't come from a checked fleet file; a poisoned page has to be made somehow.
    const poisoned: Fleet = { ...fleet, sites: fleet.sites.map((one) => ({ ...one, timeZone: 'Atlantis/Capital' })) };
    start(smtp(box.port), { fleet: () => poisoned });
    await until('both are settled', async () => (await pageOf(page.id)).state === 'refused' && (await pageOf('test-1')).state === 'handed-over');
    expect((await deliveries()).some((entry) => entry.text.includes('not delivered: the message could not be composed: '))).toBe(true);
  });

  it('advice that fails does not silence the alarm', async () => {
    const box = await mailbox();
    const { start } = await scene();
    const broken = { ...rule, kind: { ...rule.kind, firstChecks: () => { throw new Error('no advice'); } } };
    start(smtp(box.port), { rules: () => [broken] });
    await until('the mail', () => box.mails.length === 1);
    expect(box.mails[0]?.text).toContain('switch off at the breaker, with dry hands');
  });
});

describe('while the channel is down', () => {
  const many = Array.from({ length: 12 }, (_, index): Page => ({ ...page, id: `12-${String(index).padStart(2, '0')}-ana`, createdMs: nowMs + index }));

  it('one page probes it, and all go out when it is back', async () => {
    let up = false;
    const channel = scripted(() => (up ? undefined : down()));
    const { start, store, clock } = await scene(many);
    clock.advance(SECOND);
    start(channel);
    await settled();
    // Four were under way together; from then on one at a time, at 10 s, 30 s, 1 min …
    expect(channel.messages).toHaveLength(4);
    for (const [waitMs, sent] of [[10 * SECOND, 5], [30 * SECOND, 6], [MINUTE, 7], [2 * MINUTE, 8], [2 * MINUTE, 9]] as const) {
      clock.advance(waitMs - SECOND);
      await settled();
      expect(channel.messages).toHaveLength(sent - 1);
      clock.advance(SECOND);
      await settled();
      expect(channel.messages).toHaveLength(sent);
    }
    up = true;
    clock.advance(2 * MINUTE);
    await until('all are handed over', async () => (await store.pages({ limit: 100 })).every((one) => one.state === 'handed-over'));
    expect(channel.messages).toHaveLength(9 + 12);
  });

  it('a wrong password is tried at 1, 5 and then every 15 minutes', async () => {
    const channel = scripted(() => {
      throw new SendError('wrong password', { permanent: false, scope: 'channel', slow: true });
    });
    const { start, clock } = await scene();
    const sender = start(channel);
    await settled();
    for (const [waitMs, sent] of [[MINUTE, 2], [5 * MINUTE, 3], [15 * MINUTE, 4], [15 * MINUTE, 5]] as const) {
      clock.advance(waitMs - SECOND);
      await settled();
      expect(channel.messages).toHaveLength(sent - 1);
      clock.advance(SECOND);
      await settled();
      expect(channel.messages).toHaveLength(sent);
    }
    expect(sender.status().lastError).toBe('wrong password');
  });

  it('no page of an open alarm is given up, however long it lasts', async () => {
    let up = false;
    const channel = scripted(() => (up ? undefined : down()));
    const { start, clock, pageOf } = await scene();
    start(channel);
    await settled();
    clock.advance(30 * HOUR);
    await settled();
    expect((await pageOf(page.id)).state).toBe('queued');
    up = true;
    clock.advance(10 * MINUTE);
    await until('handed over', async () => (await pageOf(page.id)).state === 'handed-over');
  });
});

describe('a page overtaken by events', () => {
  it('is settled as refused, with who acknowledged', async () => {
    const acknowledged: Alarm = { ...alarm, state: 'acknowledged', acknowledgedMs: nowMs + MINUTE, acknowledgedBy: 'ben' };
    const box = await mailbox();
    const { start, pageOf, deliveries } = await scene([page, { ...page, id: '12-1-ben', personId: 'ben', reason: 'escalated' }], [acknowledged]);
    start(smtp(box.port));
    await until('both are settled', async () => (await pageOf('12-1-ben')).state === 'refused' && (await pageOf(page.id)).state === 'handed-over');
    expect((await pageOf('12-1-ben')).lastError).toBe('obsolete: acknowledged by Ben Møller at 02:11 MST, before it was sent');
    expect((await deliveries()).some((entry) => entry.text === 'Heater 1 stuck on: e-mail to Ben Møller (escalated) not sent, obsolete: acknowledged by Ben Møller at 02:11 MST, before it was sent')).toBe(true);
    expect(box.mails).toHaveLength(1);
    expect(box.mails[0]?.text).toContain('Ben Møller acknowledged it at 02:11 MST.');
    expect(box.mails[0]?.text).not.toContain(ACKNOWLEDGE_PATH);
  });

  it('says that Tankbell itself was away', async () => {
    const box = await mailbox();
    const { start, clock } = await scene();
    clock.advance(45 * MINUTE);
    start(smtp(box.port));
    await until('the mail', () => box.mails.length === 1);
    expect(box.mails[0]?.text).toContain('sent at 02:55 MST (45 min late). Tankbell was not running, or had no mail server, in between.');
  });
});

describe('a sender that dies', () => {
  it('between sending and settling: the next one sends the same mail again, recognisable as one', async () => {
    const box = await mailbox();
    const { store, start, pageOf } = await scene();
    // Never settles: what a kill between the two leaves behind.
    const dying = { claim: store.claim, enqueue: store.enqueue, oldestUnsentMs: store.oldestUnsentMs, settle: () => new Promise<void>(() => {}) };
    start(smtp(box.port), { outbox: dying, clock: manualClock(nowMs) });
    await until('the first copy', () => box.mails.length === 1);
    expect((await pageOf(page.id)).state).toBe('claimed');
    // At once, without waiting for the claim to grow old: only one process may hold the data folder.
    start(smtp(box.port), { clock: manualClock(nowMs + 1) });
    await until('the second copy', async () => (await pageOf(page.id)).state === 'handed-over');
    expect(box.mails).toHaveLength(2);
    expect(box.mails[1]?.headers.get('message-id')).toBe(box.mails[0]?.headers.get('message-id'));
    expect(box.mails[1]?.headers.get('references')).toBeUndefined();
    expect((await pageOf(page.id)).attempts).toBe(2);
  }, 15_000);

  it('stops after the sends under way, and leaves the rest for the next start', async () => {
    let release = (): void => {};
    const gate = new Promise<void>((resolve) => {
      release = resolve;
    });
    const channel = scripted(() => gate);
    const pages = Array.from({ length: 6 }, (_, index): Page => ({ ...page, id: `12-${index}-ana` }));
    const { start, store, clock } = await scene(pages);
    const sender = start(channel);
    await until('four are under way', () => channel.messages.length === 4);
    const stopping = sender.stop();
    release();
    await stopping;
    const states = (await store.pages({ limit: 10 })).map((one) => one.state).sort();
    expect(states.filter((state) => state === 'handed-over')).toHaveLength(4);
    clock.advance(HOUR);
    sender.nudge();
    await settled();
    expect(channel.messages).toHaveLength(4);
  });

  it('does not wait for ever for a send that hangs', async () => {
    const { start, clock } = await scene();
    const channel = scripted(() => new Promise(() => {}));
    const sender = start(channel);
    await until('one is under way', () => channel.messages.length === 1);
    const stopping = sender.stop();
    await settled();
    expect(channel.closed()).toBe(false);
    clock.advance(10 * SECOND);
    await stopping;
    expect(channel.closed()).toBe(true);
  });

  it('a send slower than a claim is not started a second time by the same sender', async () => {
    const { start, clock } = await scene();
    const channel = scripted(() => new Promise(() => {}));
    start(channel);
    await until('one is under way', () => channel.messages.length === 1);
    for (let minute = 0; minute < 10; minute += 1) {
      clock.advance(MINUTE);
      await settled();
    }
    expect(channel.messages).toHaveLength(1);
  });
});

describe('a store in trouble', () => {
  it('that takes no settlement: the mail is not sent twice for it, and settled when the store is back', async () => {
    const { store, start, clock, pageOf } = await scene();
    let broken = true;
    const settle = vi.fn((...args: Parameters<Store['settle']>) => (broken ? Promise.reject(new Error('disk full')) : store.settle(...args)));
    const channel = scripted(() => {});
    const sender = start(channel, { outbox: { claim: store.claim, enqueue: store.enqueue, oldestUnsentMs: store.oldestUnsentMs, settle } });
    await until('the store refused', () => settle.mock.calls.length > 0);
    for (let minute = 0; minute < 5; minute += 1) {
      clock.advance(MINUTE);
      await settled();
    }
    expect(sender.status().lastError).toContain('disk full');
    expect(channel.messages).toHaveLength(1);
    broken = false;
    clock.advance(SECOND);
    await until('settled', async () => (await pageOf(page.id)).state === 'handed-over');
    expect(await pageOf(page.id)).toMatchObject({ handedOverMs: nowMs });
    expect(channel.messages).toHaveLength(1);
  });

  it('that cannot be read: the page waits for its claim to run out and is tried again', async () => {
    const { store, start, clock, pageOf } = await scene();
    let broken = true;
    const channel = scripted(() => {});
    const sender = start(channel, { history: { ...store, alarm: (id) => (broken ? Promise.reject(new Error('cannot read')) : store.alarm(id)) } });
    await until('it is noticed', () => sender.status().lastError?.includes('cannot read') === true);
    broken = false;
    clock.advance(2 * MINUTE);
    await until('handed over', async () => (await pageOf(page.id)).state === 'handed-over');
  });
});

describe('mail that is not set up', () => {
  it('leaves pages queued and says so', async () => {
    const { start, pageOf, clock } = await scene();
    const sender = start(null);
    clock.advance(HOUR);
    await until('it has looked', () => sender.status().oldestUnsentMs === nowMs);
    expect(sender.status().lastError).toBe(MAIL_NOT_SET_UP);
    expect(await pageOf(page.id)).toMatchObject({ state: 'queued', attempts: 0 });
  });
});

it('a heap of pages left by a predecessor go out once each, four at a time', async () => {
  let under = 0;
  let most = 0;
  const channel = scripted(async () => {
    under += 1;
    most = Math.max(most, under);
    await tick();
    under -= 1;
  });
  const pages = Array.from({ length: 150 }, (_, index): Page => ({ ...page, id: `12-${index}-ana` }));
  const { start, store } = await scene(pages);
  await store.claim(nowMs, 90, HOUR);
  start(channel);
  await until('all are handed over', async () => (await store.pages({ limit: 2000 })).every((one) => one.state === 'handed-over'));
  expect(new Set(channel.messages.map((message) => message.messageId)).size).toBe(150);
  expect(channel.messages).toHaveLength(150);
  expect(most).toBeLessThanOrEqual(4);
});
