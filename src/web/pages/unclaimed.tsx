/** @jsxRuntime automatic @jsxImportSource preact */
/** Sources nobody reads, as a list with a way to claim each value. */
import { kinds } from '../../domain/kinds.ts';
import { showDuration } from '../../domain/duration.ts';
import { iso, showAge } from '../times.ts';
import type { UnclaimedFacts, UnclaimedValue } from '../unclaimed.ts';
import { words } from '../words.ts';

const OPEN_VALUES = 6;

export function UnclaimedList({ facts, nowMs, siteNameOf }: { facts: readonly UnclaimedFacts[]; nowMs: number; siteNameOf: (siteId: string) => string }) {
  return (
    <ul class="lines panel">
      {facts.map((one) => <Source key={one.source.topic} facts={one} nowMs={nowMs} siteNameOf={siteNameOf} />)}
    </ul>
  );
}

function Source({ facts, nowMs, siteNameOf }: { facts: UnclaimedFacts; nowMs: number; siteNameOf: (siteId: string) => string }) {
  const w = words.unclaimed;
  const { source, everyMs, values, excerpt } = facts;
  const heard = [w.messages(source.messages), everyMs === null ? null : w.every(showDuration(everyMs) === '0 s' ? w.subSecond : showDuration(everyMs))].filter((part) => part !== null).join(', ');
  return (
    <li>
      <p><code>{source.topic}</code>{` · ${source.siteId === null ? w.noSite : siteNameOf(source.siteId)}`}</p>
      <p class="muted">{source.partial ? w.partly : heard}{', '}<time dateTime={iso(source.lastMs)}>{w.last(showAge(source.lastMs, nowMs))}</time></p>
      {values.slice(0, OPEN_VALUES).map((value) => <Value key={value.part} topic={source.topic} value={value} />)}
      {values.length > OPEN_VALUES && (
        <details>
          <summary>{w.moreValues(values.length - OPEN_VALUES)}</summary>
          {values.slice(OPEN_VALUES).map((value) => <Value key={value.part} topic={source.topic} value={value} />)}
        </details>
      )}
      {values.length === 0 && <p>{excerpt === null ? w.tooLong : <>{w.unreadable}{' '}<code>{excerpt}</code></>}</p>}
    </li>
  );
}

function Value({ topic, value }: { topic: string; value: UnclaimedValue }) {
  const { part } = value;
  return (
    <div class="unclaimed-value">
      <p>
        {part !== null && <><code>{part}</code>{' '}</>}
        <b>{latestText(value)}</b>{' '}
        <span class="muted">{guessText(value)}</span>
      </p>
      <a class="button" href={`/sources/claim?topic=${encodeURIComponent(topic)}${part === null ? '' : `&part=${encodeURIComponent(part)}`}`}>
        {words.unclaimed.claim}<span class="sr">{` ${topic} ${part ?? ''}`}</span>
      </a>
    </div>
  );
}

export function latestText({ latest, unit }: UnclaimedValue): string {
  return latest.map((value) => (typeof value === 'number' ? String(Number(value.toPrecision(7))) : String(value))).join(', ') + (unit === null ? '' : ` ${unit}`);
}

export function guessText({ guess }: UnclaimedValue): string {
  return guess === null ? words.unclaimed.noGuess : words.unclaimed.guess(`${kinds[guess.kind].name}${guess.unit === null ? '' : ` in ${guess.unit}`}`, guess.reason);
}
