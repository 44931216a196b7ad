/** Durations as people write them: `30s`, `5m`, `2h`, `7d`, `1h30m`. */
export const SECOND = 1000;
export const MINUTE = 60 * SECOND;
export const HOUR = 60 * MINUTE;
export const DAY = 24 * HOUR;

const unitMs: Record<string, number> = { ms: 1, s: SECOND, m: MINUTE, min: MINUTE, h: HOUR, d: DAY };

/** @returns milliseconds, or `null` when the text is no duration. */
export function parseDuration(text: string): number | null {
  const trimmed = text.trim();
  if (!/^(\d+(\.\d+)?(ms|s|min|m|h|d))+$/.test(trimmed)) return null;
  let total = 0;
  for (const [, amount, unit] of trimmed.matchAll(/(\d+(?:\.\d+)?)(ms|s|min|m|h|d)/g)) {
    total += Number(amount) * (unitMs[unit ?? ''] ?? Number.NaN);
  }
  return Number.isFinite(total) ? Math.round(total) : null;
}

/** `2 h 5 min`, `45 s` — two largest units, rounded down; from five minutes on without seconds, to the nearest minute. */
export function showDuration(ms: number): string {
  return showExactDuration(ms < 5 * MINUTE ? ms : Math.round(ms / MINUTE) * MINUTE);
}

/** The same to the second, for what somebody has set: `15 min 30 s`. */
export function showExactDuration(ms: number): string {
  const total = Math.max(0, Math.floor(ms / SECOND));
  const parts: [number, string][] = [
    [Math.floor(total / 86_400), 'd'],
    [Math.floor(total / 3600) % 24, 'h'],
    [Math.floor(total / 60) % 60, 'min'],
    [total % 60, 's'],
  ];
  const first = parts.findIndex(([amount]) => amount > 0);
  if (first < 0) return '0 s';
  return parts.slice(first, first + 2).filter(([amount]) => amount > 0).map(([amount, unit]) => `${amount} ${unit}`).join(' ');
}
