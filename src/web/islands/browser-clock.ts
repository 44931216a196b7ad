/** The only island that reads the browser's clock or sets timers; the others are handed what they need. */
export const nowMs = (): number => Date.now();

/** Runs once after a while. @returns a function that calls it off. */
export function after(delayMs: number, run: () => void): () => void {
  const timer = setTimeout(run, delayMs);
  return () => clearTimeout(timer);
}

export function every(everyMs: number, run: () => void): () => void {
  const timer = setInterval(run, everyMs);
  return () => clearInterval(timer);
}
