import { describe, expect, it } from 'vitest';
import type { Alarm } from '../../src/domain/alarm.ts';
import { MINUTE } from '../../src/domain/duration.ts';
import type { OutboxPage, PageReason } from '../../src/domain/page.ts';
import { stillWanted } from '../../src/notify/still-wanted.ts';
import { alarm, inOutbox, nowMs, page } from './install.ts';

const of = (reason: PageReason, personId = 'ana', rest: Partial<OutboxPage> = {}): OutboxPage => inOutbox({ ...page, id: `12-${reason}-${personId}`, personId, reason }, rest);
const ask = (one: OutboxPage, changes: Partial<Alarm> = {}, others: readonly OutboxPage[] = []) =>
  stillWanted({
    page: one,
    alarm: one.reason === 'test' ? null : { ...alarm, ...changes },
    pagesOfAlarm: [one, ...others],
    acknowledger: changes.acknowledgedMs === undefined || changes.acknowledgedMs === null ? null : { name: 'Ben Møller', personId: 'ben' },
    clock: (atMs) => `T+${(atMs - nowMs) / MINUTE}`,
  });

const acknowledged = { state: 'acknowledged', acknowledgedMs: nowMs + MINUTE, acknowledgedBy: 'ben' } as const;
const returned = { state: 'returned', returnedMs: nowMs + 2 * MINUTE } as const;
const closed = { ...acknowledged, state: 'normal', returnedMs: nowMs + 2 * MINUTE, closedMs: nowMs + 2 * MINUTE } as const;
const told = of('opened', 'ana', { state: 'handed-over' });

describe('calls for help', () => {
  it.each(['opened', 'escalated', 'repeated', 'morning'] as const)('%s: sent while the alarm asks for somebody', (reason) => {
    expect(ask(of(reason), {}, [told])).toEqual({ send: true });
  });

  it.each([['acknowledged', acknowledged], ['returned', returned], ['shelved', { state: 'shelved' }], ['out of service', { state: 'out-of-service' }]] as const)(
    'the first page of an open alarm is sent even when it is %s', (_, changes) => {
      expect(ask(of('opened'), changes, [of('escalated', 'ben', { state: 'handed-over' })])).toEqual({ send: true });
    });

  it.each(['escalated', 'repeated', 'morning'] as const)('%s: not after somebody acknowledged', (reason) => {
    expect(ask(of(reason), acknowledged)).toEqual({ send: false, why: 'obsolete: acknowledged by Ben Møller at T+1, before it was sent' });
  });

  it('not after the alarm is closed, the first page neither', () => {
    expect(ask(of('opened'), closed)).toEqual({ send: false, why: 'obsolete: acknowledged by Ben Møller at T+1 and over at T+2, before it was sent' });
    expect(ask(of('escalated'), { state: 'normal', closedMs: nowMs + MINUTE })).toEqual({ send: false, why: 'obsolete: over at T+1, before it was sent' });
  });

  it('not while somebody holds the alarm back', () => {
    expect(ask(of('escalated'), { state: 'shelved' })).toEqual({ send: false, why: 'obsolete: the alarm was shelved before it was sent' });
    expect(ask(of('repeated'), { state: 'suppressed' })).toEqual({ send: false, why: 'obsolete: the alarm was suppressed before it was sent' });
    expect(ask(of('morning'), { state: 'out-of-service' })).toEqual({ send: false, why: 'obsolete: the alarm was taken out of service before it was sent' });
  });

  it('over but unacknowledged: only if nobody has been told yet', () => {
    expect(ask(of('escalated', 'ben'), returned, [told])).toEqual({ send: false, why: 'obsolete: back to normal at T+2, before it was sent' });
    expect(ask(of('escalated', 'ben'), returned, [of('opened', 'ana', { state: 'refused' })])).toEqual({ send: true });
  });
});

describe('all clear', () => {
  it('goes to whoever was told', () => {
    expect(ask(of('returned'), returned, [told])).toEqual({ send: true });
    expect(ask(of('returned'), closed, [told])).toEqual({ send: true });
  });

  it('goes to whoever may have been told: a page claimed, or one that failed half-way', () => {
    expect(ask(of('returned'), returned, [of('opened', 'ana', { state: 'claimed' })])).toEqual({ send: true });
    expect(ask(of('returned'), returned, [of('opened', 'ana', { state: 'queued', attempts: 2 })])).toEqual({ send: true });
  });

  it('is never sent when the condition is back', () => {
    expect(ask(of('returned'), {}, [told])).toEqual({ send: false, why: 'obsolete: the condition came back before it was sent' });
  });

  it('is not sent when the alarm ended without returning', () => {
    expect(ask(of('returned'), { state: 'normal', closedMs: nowMs }, [told])).toEqual({ send: false, why: 'obsolete: the alarm was ended at T+0 without returning' });
  });

  it('does not puzzle people who never heard of the alarm', () => {
    expect(ask(of('returned', 'ben'), returned, [told])).toEqual({ send: false, why: 'obsolete: this person was never told of the alarm' });
    expect(ask(of('returned'), returned, [of('opened', 'ana', { state: 'refused' })])).toEqual({ send: false, why: 'obsolete: this person was never told of the alarm' });
  });

  it('leaves it to the first page to say so, when that is still waiting', () => {
    expect(ask(of('returned'), returned, [of('opened', 'ana', { state: 'queued', attempts: 0 })]))
      .toEqual({ send: false, why: 'obsolete: the page before it has not been sent and will say so itself' });
  });

  it('is not news to the person who acknowledged after the return', () => {
    const byBen = { ...returned, state: 'normal', acknowledgedMs: nowMs + 3 * MINUTE, acknowledgedBy: 'ben', closedMs: nowMs + 3 * MINUTE } as const;
    expect(ask(of('returned', 'ben'), byBen, [of('escalated', 'ben', { state: 'handed-over' })]))
      .toEqual({ send: false, why: 'obsolete: acknowledged by Ben Møller at T+3, after it had returned' });
    expect(ask(of('returned'), byBen, [told])).toEqual({ send: true });
  });
});

it('a test page is always wanted', () => {
  expect(ask(of('test'))).toEqual({ send: true });
});
