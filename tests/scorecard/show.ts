/** The card as text. */
import { DAY, HOUR, MINUTE } from '../../src/domain/duration.ts';
import { FIRST_REPORTED_SEED, type ScorecardOptions } from './arguments.ts';
import type { FaultScore } from './judge.ts';
import type { Card, FalsePage, FaultRow } from './sum.ts';

const EXAMPLES = 2;

export function showCard(card: Card, options: ScorecardOptions, strangers: readonly string[]): string {
  return [
    ...seedLines(options), '',
    ...faultTable(card.rows), '',
    ...confusion(card.rows), '',
    ...failures(card), '',
    ...healthyLines(card), '',
    ...figureLines(card),
    ...(strangers.length === 0 ? [] : ['', `Names in the truth that no rule kind has: ${strangers.join(', ')}.`]),
  ].join('\n');
}

function seedLines({ seeds, firstSeed, everyKind, tankKinds }: ScorecardOptions): string[] {
  const last = firstSeed + seeds - 1;
  const isReported = firstSeed >= FIRST_REPORTED_SEED;
  return [
    `Seeds ${firstSeed} to ${last} of each fault, ${everyKind ? 'on each of' : 'each on another of'}: ${tankKinds.join(', ')}.`,
    isReported
      ? `Seeds 1 to ${FIRST_REPORTED_SEED - 1} are those that rules are tuned on; none of them is among these.`
      : 'THESE ARE SEEDS THAT RULES ARE TUNED ON: not figures to report.',
  ];
}

function faultTable(rows: readonly FaultRow[]): string[] {
  const head = ['fault', 'runs', 'found', 'right', '1 page', 'none', 'listed', 'shows after', 'told after', '÷ bound'];
  const body = rows.map((row) => [
    row.fault, String(row.runs), share(row.found, row.runs), share(row.namedRight, row.runs), share(row.onePage, row.runs), share(row.noPage, row.runs), share(row.onlyListed, row.runs),
    lasting(row.medianDepartureMs), lasting(row.medianDelayMs), row.medianDelayRatio === null ? '–' : row.medianDelayRatio.toFixed(2),
  ]);
  return [
    ...table([head, ...body]),
    'right: the rule kind that paged first (or where none paged, stood on the list first) names the fault. listed: found by a rule of low priority, which pages nobody.',
    'shows after, told after: medians from the beginning of the fault to the first reading its healthy twin would not show, and to the opening of the alarm.',
    'bound: 1.5 × “shows after” + the rule’s own delay (its on-delay, and the time its settings say it takes to be sure); 1 or less is within it.',
  ];
}

function confusion(rows: readonly FaultRow[]): string[] {
  return [
    'Fault → rule kind that answered first (in brackets: only on the list)',
    ...rows.map(({ fault, answers }) => `  ${fault.padEnd(26)} ${[...answers].sort((a, b) => b[1] - a[1]).map(([kind, count]) => `${kind} ${count}`).join(', ')}`),
  ];
}

/** A run that went wrong can be looked at: `npm run simulate` makes the same readings. */
function failures({ rows, faultScores }: Card): string[] {
  const lines = rows.flatMap(({ fault }) => {
    const of = faultScores.filter(({ job }) => job.fault === fault);
    return [
      ...examples(of.filter(({ by }) => by === null), 'missed', () => ''),
      ...examples(of.filter(({ by, namedRight }) => by !== null && !namedRight), 'misnamed', (score) => `: ${firstWords(score)}`),
      ...examples(of.filter(({ pages }) => pages.length > 1), 'more than one page', ({ pages, beginMs }) => `: ${pages.slice(0, 5).map(({ ruleKind, atMs }) => `${ruleKind} ${lasting(atMs - beginMs)}`).join(', ')}`),
    ].map((text) => `  ${fault}: ${text}`);
  });
  return lines.length === 0 ? ['No run went wrong.'] : ['What went wrong (times from the beginning of the fault)', ...lines];
}

function examples(scores: readonly FaultScore[], what: string, more: (score: FaultScore) => string): string[] {
  return scores.slice(0, EXAMPLES).map((score, index) => `${what}${index === 0 ? ` (${scores.length})` : ''}, ${score.job.tankKind} seed ${score.job.seed} (${score.does})${more(score)}`);
}

const firstWords = ({ pages: [first], named, beginMs }: FaultScore): string => (first === undefined ? `${named}, on the list` : `${first.ruleKind} after ${lasting(first.atMs - beginMs)}: ${first.summary}`);

function healthyLines({ figures, falsePages, falseListed, besideFaults }: Card): string[] {
  return [
    `Healthy tank-months: ${figures.healthyTankMonths.toFixed(1)}, false pages: ${figures.falsePages}`,
    ...byKind(falsePages),
    ...(falseListed.length === 0 ? [] : [`False entries on the list (no page): ${falseListed.length}`, ...byKind(falseListed)]),
    ...(besideFaults.length === 0 ? [] : [`Beside the faults, not in the figures (before they began, or in the healthy twin as well), pages: ${besideFaults.length}`, ...byKind(besideFaults)]),
  ];
}

function byKind(pages: readonly FalsePage[]): string[] {
  const kinds = [...new Set(pages.map(({ ruleKind }) => ruleKind))].map((kind) => pages.filter(({ ruleKind }) => ruleKind === kind)).sort((a, b) => b.length - a.length);
  return kinds.flatMap((of) => {
    const during = (['visit', 'refill', 'feeding'] as const).map((what) => [what, of.filter((page) => page.during === what).length] as const).filter(([, count]) => count > 0);
    return [
      `  ${String(of.length).padStart(4)} ${of[0]?.ruleKind ?? ''}${during.length === 0 ? '' : ` (${during.map(([what, count]) => `${count} at a ${what}`).join(', ')})`}`,
      ...of.slice(0, EXAMPLES).map(({ tankKind, seed, atMs, ruleId, summary }) => `       ${tankKind} seed ${seed}, ${new Date(atMs).toISOString().slice(0, 16)}, ${ruleId}: ${summary}`),
    ];
  });
}

function figureLines({ figures }: Card): string[] {
  const { faults, faultsFound, runs, found, namedRight, onePage, onlyListed, medianDelayRatio, falsePagesPerTankMonth, forecasts, forecastMedianError, forecastCover80 } = figures;
  return [
    `faults of which no run was missed   ${faultsFound} of ${faults} (aim: all)`,
    `runs found                          ${share(found, runs)} of ${runs}`,
    `named right                         ${share(namedRight, runs)} of ${runs} (aim: 95 %)`,
    `exactly one page                    ${share(onePage, runs)} of ${runs}; put on the list, paging nobody: ${share(onlyListed, runs)}`,
    `median delay ÷ bound                ${medianDelayRatio?.toFixed(2) ?? 'not measured'} (aim: 1 or less)`,
    `false pages a healthy tank-month    ${falsePagesPerTankMonth?.toFixed(3) ?? 'not measured'} (aim: 0.05 or less)`,
    `forecasts made one third of the way ${forecasts}; median error ${percent(forecastMedianError)} (aim: 20 %), truths in the stated 80 % range: ${forecastCover80 === null ? 'no rule states a range' : `${percent(forecastCover80)} (aim: 75 to 90 %)`}`,
  ];
}

const percent = (part: number | null): string => (part === null ? 'not measured' : `${(100 * part).toFixed(0)} %`);
const share = (part: number, whole: number): string => (whole === 0 ? '–' : `${part} (${((100 * part) / whole).toFixed(0)} %)`);

function lasting(ms: number | null): string {
  if (ms === null) return '–';
  if (Math.abs(ms) < 2 * HOUR) return `${(ms / MINUTE).toFixed(0)} min`;
  return Math.abs(ms) < 2 * DAY ? `${(ms / HOUR).toFixed(1)} h` : `${(ms / DAY).toFixed(1)} d`;
}

function table(lines: readonly (readonly string[])[]): string[] {
  const widths = (lines[0] ?? []).map((_, column) => Math.max(...lines.map((line) => (line[column] ?? '').length)));
  return lines.map((line) => line.map((cell, column) => (column === 0 ? cell.padEnd(widths[column] ?? 0) : cell.padStart(widths[column] ?? 0))).join('  ').trimEnd());
}
