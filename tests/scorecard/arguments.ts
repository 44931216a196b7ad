/** What may be written after `npm run scorecard --`. */
import { availableParallelism } from 'node:os';
import { faultKinds } from '../../simulator/faults/all.ts';
import { type TankKind, tankKindOf, tankKinds } from '../../simulator/tank-kinds.ts';

export interface ScorecardOptions {
  readonly faults: readonly string[];
  readonly tankKinds: readonly TankKind[];
  /** Of each fault on each kind of tank. */
  readonly seeds: number;
  readonly firstSeed: number;
  /** `false`: every seed of a fault on one kind of tank, each on another. */
  readonly everyKind: boolean;
  readonly healthyMonths: number;
  readonly workers: number;
  readonly json: boolean;
}

/** Seeds below this are for tuning and never reported. */
export const FIRST_REPORTED_SEED = 1000;
const usual = { seeds: 20, healthyMonths: 100 };
const quick = { seeds: 2, healthyMonths: 4 };

export const help = `npm run scorecard -- [options]

Every fault on every kind of tank it can happen to, and healthy tank-months, through the real engine with all rules.

  --quick              for daily work: ${quick.seeds} seeds of each fault, each on another kind of tank, and ${quick.healthyMonths} healthy months
  --seeds N            seeds of each fault on each kind of tank (${usual.seeds})
  --fault NAME         only this fault, and no healthy months unless asked for; may be repeated
  --tank KIND          only this kind of tank: ${tankKinds.join(', ')}; may be repeated
  --healthy-months N   tank-months without a fault (${usual.healthyMonths})
  --first-seed N       first seed (${FIRST_REPORTED_SEED}); 1 to ${FIRST_REPORTED_SEED - 1} are for tuning and not to be reported
  --workers N          processes at work (as many as there are processors, at most 8)
  --json               one line of JSON last
Interrupted (Ctrl-C), it sums up what has been done by then, and says so.
  --help               this`;

export type Asked = { readonly options: ScorecardOptions } | { readonly print: string } | { readonly mistake: string };

export function readArguments(words: readonly string[]): Asked {
  const faults: string[] = [];
  const kinds: TankKind[] = [];
  const numbers = new Map<string, number>();
  let isQuick = false;
  let json = false;
  for (let index = 0; index < words.length; index += 1) {
    const [name = '', inline] = (words[index] ?? '').split('=', 2);
    if (name === '--help') return { print: help };
    if (name === '--quick') isQuick = true;
    else if (name === '--json') json = true;
    else if (['--seeds', '--healthy-months', '--first-seed', '--workers', '--fault', '--tank'].includes(name)) {
      const value = inline ?? words[(index += 1)];
      if (value === undefined) return { mistake: `${name} wants a value after it` };
      if (name === '--fault') {
        if (!faultKinds.some((kind) => kind.name === value)) return { mistake: `--fault: there is no fault "${value}"; there are: ${faultKinds.map((kind) => kind.name).join(', ')}` };
        faults.push(value);
      } else if (name === '--tank') {
        const kind = tankKindOf(value);
        if (kind === null) return { mistake: `--tank: "${value}" is no kind of tank; there are: ${tankKinds.join(', ')}` };
        kinds.push(kind);
      } else {
        const number = Number(value);
        const least = name === '--healthy-months' ? 0 : 1;
        if (!Number.isInteger(number) || number < least) return { mistake: `${name}: write a whole number from ${least} on, not "${value}"` };
        numbers.set(name, number);
      }
    } else return { mistake: `"${words[index]}" is no option (--help says what there is)` };
  }
  const { seeds, healthyMonths } = isQuick ? quick : usual;
  return {
    options: {
      faults: faults.length > 0 ? faults : faultKinds.map(({ name }) => name),
      tankKinds: kinds.length > 0 ? kinds : tankKinds,
      seeds: numbers.get('--seeds') ?? seeds,
      everyKind: !isQuick,
      firstSeed: numbers.get('--first-seed') ?? FIRST_REPORTED_SEED,
      healthyMonths: numbers.get('--healthy-months') ?? (faults.length > 0 ? 0 : healthyMonths),
      workers: numbers.get('--workers') ?? Math.min(8, availableParallelism()),
      json,
    },
  };
}
