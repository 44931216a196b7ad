/** Entry point of the command line: reads the arguments and runs one command; the exit code says how it went. */
import { readArguments } from './cli/arguments.ts';
import { runCommand } from './cli/run.ts';

const read = readArguments(process.argv.slice(2));
if ('help' in read) {
  process.stdout.write(`${read.help}\n`);
} else if ('mistake' in read) {
  process.stderr.write(`${read.mistake}\n`);
  process.exitCode = 2;
} else {
  process.exitCode = await runCommand(read.run);
}
