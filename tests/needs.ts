/**
 * What the tests need beside Node: mosquitto, openssl and Chromium. Runs once before all tests; as root on Debian it installs what is missing, elsewhere
 * it fetches a Chromium, and the tests that still lack something fail and say what to install.
 */
import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { findChromium } from './browser/chromium.ts';

const searched = [...(process.env['PATH'] ?? '').split(delimiter), '/usr/sbin', '/usr/local/sbin', '/opt/homebrew/sbin'];
const isThere = (program: string): boolean => searched.some((folder) => existsSync(join(folder, program)));

function hasChromium(): boolean {
  try {
    findChromium();
    return true;
  } catch {
    return false;
  }
}

export default function setup(): void {
  const wanted = [
    ...(isThere('mosquitto') ? [] : ['mosquitto']),
    ...(isThere('mosquitto_pub') ? [] : ['mosquitto-clients']),
    ...(isThere('openssl') ? [] : ['openssl']),
    ...(hasChromium() ? [] : ['chromium', 'fonts-dejavu-core']),
  ];
  if (wanted.length === 0) return;
  if (process.getuid?.() === 0 && isThere('apt-get')) {
    console.log(`Installing for the tests: ${wanted.join(', ')} …`);
    const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' };
    spawnSync('apt-get', ['update', '-qq'], { stdio: 'inherit', env });
    spawnSync('apt-get', ['install', '-y', '-qq', '--no-install-recommends', ...wanted], { stdio: ['ignore', 'ignore', 'inherit'], env });
  } else if (wanted.includes('chromium')) {
    console.log('Fetching Chromium for the browser tests …');
    spawnSync('npx', ['playwright-core', 'install', 'chromium'], { stdio: 'inherit' });
  }
}
