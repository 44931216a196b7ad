/** Waits, with a bound, for something real (a socket, a server) to have happened. */
export async function until(what: string, condition: () => boolean | Promise<boolean>, boundMs = 10_000): Promise<void> {
  const endMs = Date.now() + boundMs;
  while (!(await condition())) {
    if (Date.now() > endMs) throw new Error(`not within ${boundMs} ms: ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 5));
  }
}
