/** Finds a Chromium and starts it, with everything switched off by which it would talk to anybody but the pages under test. */
import { accessSync, constants } from 'node:fs';
import { delimiter, join } from 'node:path';
import { type Browser, chromium } from 'playwright-core';

const names = ['chromium', 'chromium-browser', 'google-chrome', 'google-chrome-stable'];

export async function startChromium(): Promise<Browser> {
  return chromium.launch({
    executablePath: findChromium(),
    args: ['--no-sandbox', '--disable-gpu', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--no-first-run'],
  });
}

/** @throws Error that says what to install, when there is none. */
export function findChromium(env: NodeJS.ProcessEnv = process.env): string {
  const named = env['CHROMIUM_PATH'];
  if (named !== undefined && named !== '') {
    if (isExecutable(named)) return named;
    throw new Error(`CHROMIUM_PATH is ${named}, which is no program that can be run; point it at a Chromium or unset it`);
  }
  const folders = (env['PATH'] ?? '').split(delimiter).filter((folder) => folder !== '');
  const found = names.flatMap((name) => folders.map((folder) => join(folder, name))).find(isExecutable);
  if (found !== undefined) return found;
  const bundled = chromium.executablePath();
  if (isExecutable(bundled)) return bundled;
  throw new Error('the browser tests need Chromium: install it (Debian and Ubuntu: apt-get install chromium; anywhere: npx playwright-core install chromium), or set CHROMIUM_PATH to one');
}

function isExecutable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return true;
  } catch {
    return false;
  }
}
