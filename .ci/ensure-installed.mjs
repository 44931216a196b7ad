// Installs the packages of package-lock.json when they are missing or older than the lock file. Plain Node: it runs before anything is installed.
import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { createHash } from 'node:crypto';

const [major, minor] = process.versions.node.split('.').map(Number);
if (major < 20 || (major === 20 && minor < 19)) {
  console.error(`Tankbell needs Node.js 20.19 or newer; this is ${process.versions.node}.`);
  process.exit(1);
}

const stamp = 'node_modules/.tankbell-installed';
// Native modules are built for one Node version: a change of it installs again.
const wanted = createHash('sha256').update(readFileSync('package-lock.json')).update(process.versions.modules).digest('hex');
if (!existsSync(stamp) || readFileSync(stamp, 'utf8') !== wanted) {
  console.log('Installing packages (the first time takes a minute or two: the database is compiled here) …');
  const install = spawnSync('npm', ['ci', '--no-audit', '--no-fund'], { stdio: ['ignore', 'inherit', 'inherit'], shell: process.platform === 'win32' });
  if (install.status !== 0) {
    console.error('Could not install the packages. Check the network, and that python3, make and a C++ compiler are there, then try again.');
    process.exit(1);
  }
  writeFileSync(stamp, wanted);
}
