/**
 * Keeps a page up to date without a reload. The server says over an event stream that something changed; the page then fetches itself
 * and swaps the parts marked `data-live` that differ, so that there is one copy of every rule of display: the server's.
 * When the stream falls silent the page says since when it is not live.
 */
import { after, every, nowMs } from './browser-clock.ts';

/** The server sends a sign of life every 15 s. */
const SILENT_MS = 40_000;
const MIN_RENEW_MS = 3_000;
const SOON_MS = 900;
/** Ages and silence change even when nothing arrives. */
const MAX_RENEW_MS = 30_000;

interface Change {
  readonly readings: readonly string[];
  readonly alarms: readonly string[];
}

const state = document.getElementById('live-state');
const liveFor = document.body.dataset['liveFor'] ?? '';
let heardMs = nowMs();
let renewedMs = nowMs();
let live: boolean | null = null;
let calledOff: (() => void) | null = null;
let renewing = false;

say(state?.dataset['connecting'] ?? '');
const stream = new EventSource('/api/live');
stream.addEventListener('open', heard);
stream.addEventListener('alive', heard);
stream.addEventListener('change', (event) => {
  heard();
  const change: Change = JSON.parse(event.data);
  const concerns = (ids: readonly string[]): boolean => liveFor === '*' ? ids.length > 0 : ids.includes(liveFor) || ids.includes('*');
  if (concerns(change.alarms)) renewSoon(0);
  else if (concerns(change.readings)) renewSoon(MIN_RENEW_MS);
});
stream.addEventListener('error', () => show(false));
every(5_000, () => {
  if (nowMs() - heardMs > SILENT_MS) show(false);
  if (nowMs() - renewedMs > MAX_RENEW_MS) renewSoon(0);
});
// Something on the page is under way: it is asked for again and again until it is over.
every(1_000, () => {
  if (document.querySelector('[data-live-soon]') !== null) renewSoon(0, SOON_MS);
});
document.addEventListener('visibilitychange', () => {
  if (!document.hidden && nowMs() - renewedMs > MIN_RENEW_MS) renewSoon(0);
});

function heard(): void {
  heardMs = nowMs();
  show(true);
}

function show(on: boolean): void {
  if (state === null || live === on) return;
  live = on;
  const time = new Intl.DateTimeFormat(undefined, { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }).format(heardMs);
  say((on ? state.dataset['on'] : state.dataset['off']?.replace('{time}', time)) ?? '');
  document.body.classList.toggle('not-live', !on);
  document.body.classList.toggle('live', on);
}

function say(text: string): void {
  const word = state?.querySelector('.live-word');
  if (word !== null && word !== undefined) word.textContent = text;
}

function renewSoon(delayMs: number, apartMs = MIN_RENEW_MS): void {
  if (calledOff !== null) return;
  const wait = Math.max(delayMs, apartMs - (nowMs() - renewedMs), 0);
  calledOff = after(wait, () => {
    calledOff = null;
    if (!document.hidden) void renew();
  });
}

async function renew(): Promise<void> {
  if (renewing) return;
  renewing = true;
  renewedMs = nowMs();
  try {
    const answer = await fetch(location.href, { headers: { accept: 'text/html' }, credentials: 'same-origin', cache: 'no-store' });
    if (answer.redirected) return location.reload();
    if (answer.ok) swap(new DOMParser().parseFromString(await answer.text(), 'text/html'));
    else show(false);
  } catch {
    // The network is gone; the error of the stream says so as well, whichever notices first.
    show(false);
  } finally {
    renewing = false;
  }
}

/** Each part as the server last sent it: what the person does to it here (opening a fold) is no reason to replace it. */
const sent = new Map<string, string>();
for (const part of document.querySelectorAll<HTMLElement>('[data-live]')) sent.set(part.dataset['live'] ?? '', part.outerHTML);

function swap(fresh: Document): void {
  for (const old of document.querySelectorAll<HTMLElement>('[data-live]')) {
    const key = old.dataset['live'] ?? '';
    const next = fresh.querySelector<HTMLElement>(`[data-live="${CSS.escape(key)}"]`);
    if (next === null || next.outerHTML === sent.get(key)) continue;
    // Never take away what somebody is filling in: it is renewed the next time.
    const focused = old.contains(document.activeElement) ? document.activeElement : null;
    if (focused instanceof HTMLInputElement || focused instanceof HTMLSelectElement || old.querySelector('details[open]') !== null) continue;
    sent.set(key, next.outerHTML);
    const put = document.importNode(next, true);
    old.replaceWith(put);
    if (focused !== null) sameIn(put, focused)?.focus({ preventScroll: true });
  }
  document.dispatchEvent(new CustomEvent('tankbell-renewed'));
}

/** The link or button the keyboard stood on, in the new part. */
function sameIn(part: HTMLElement, focused: Element): HTMLElement | null {
  const alike = [...part.querySelectorAll<HTMLElement>(focused.tagName)];
  return alike.find((one) => one.getAttribute('href') === focused.getAttribute('href') && one.textContent === focused.textContent)
    ?? alike.find((one) => one.hasAttribute('href') && one.getAttribute('href') === focused.getAttribute('href')) ?? null;
}
