/** A page as a message: what, how bad, since when, what to do, where, whom to call, who else. Pure. */
import type { Message } from './channel.ts';
import { contentOf } from './content.ts';
import type { PageFacts } from './facts.ts';
import { messageIdOf } from './message-id.ts';
import { oneLine } from './plain.ts';
import { renderHtml, renderText } from './render.ts';
import { subjectOf } from './subject.ts';

export function composePage(facts: PageFacts): Message {
  const { page, person, alarm, threadRoot, nowMs } = facts;
  const content = contentOf(facts);
  const urgent = alarm !== null && alarm.policy.priority === 'urgent' && page.reason !== 'returned';
  return {
    to: { name: oneLine(person.name), email: person.email },
    subject: subjectOf(facts),
    text: renderText(content),
    html: renderHtml(content),
    messageId: messageIdOf(page),
    inReplyTo: threadRoot === null ? null : messageIdOf(threadRoot),
    dateMs: nowMs,
    headers: {
      'X-Tankbell-Page': oneLine(page.id),
      'X-Tankbell-Reason': page.reason,
      ...(alarm === null ? {} : { 'X-Tankbell-Alarm': String(alarm.id) }),
      // Importance: RFC 2156 §5.3.4; mailboxes and phones may let these through at night.
      ...(urgent ? { Importance: 'high', 'X-Priority': '1' } : {}),
    },
  };
}
