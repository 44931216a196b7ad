// Types, then every test; ends with one line that counts both: `N passed, N failed`.
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

let passed = 0;
let failed = 0;
const run = (command, args) => spawnSync(command, args, { stdio: ['ignore', 'inherit', 'inherit'], shell: process.platform === 'win32' }).status === 0;

for (const project of ['tsconfig.json', 'src/web/islands/tsconfig.json']) {
  console.log(`types: ${project}`);
  if (run('npx', ['tsc', '--noEmit', '-p', project])) passed += 1;
  else failed += 1;
}

const folder = mkdtempSync(join(tmpdir(), 'tankbell-test-'));
const report = join(folder, 'report.json');
const ok = run('npx', ['vitest', 'run', '--reporter=default', '--reporter=json', `--outputFile.json=${report}`, ...process.argv.slice(2)]);
try {
  const counts = JSON.parse(readFileSync(report, 'utf8'));
  passed += counts.numPassedTests;
  failed += counts.numFailedTests;
  // A file that cannot even be loaded has no tests to count.
  for (const file of counts.testResults) if (file.status === 'failed' && file.assertionResults.length === 0) failed += 1;
} catch {
  failed += 1;
}
if (!ok && failed === 0) failed += 1;
rmSync(folder, { recursive: true, force: true });
console.log(`\n${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
