/**
 * What an unknown value may be. A guess, called one wherever it is shown, with its reason; a person decides.
 *
 * Three things speak, the strongest first:
 * 1. **The unit** the message writes behind the value or beside it. It leaves the kinds that accept it.
 * 2. **The words** of the topic and of the key the value stands under, the last word counting most: `reef/heater-1/power` is a power, not a
 *    heater. A word may carry a unit: `temp_f`, `flow_gph`.
 * 3. **The values**: what is impossible for a kind (its range, and for some a narrower usual span) rules it out; text and 0/1 make a switch.
 *
 * The words, and the usual spans used to tell °C from °F and mS/cm from µS/cm, are common practice. Values alone never make a guess save for
 * on/off: 25 could be a temperature as well as a percentage.
 */
import { type Kind, kindNames, kinds } from '../domain/kinds.ts';
import { converter, kindsFor, switchValue, unitsOf } from '../domain/units.ts';

export interface GuessFacts {
  readonly topic: string;
  /** JSON Pointer or name of the value; `null` when the message is the value. */
  readonly part: string | null;
  /** What `part` is, for the reason: `the key`, `the name`. */
  readonly partIs?: string;
  readonly unit: string | null;
  /** Some of the latest values. */
  readonly values: readonly (number | boolean | string)[];
}

export interface KindGuess {
  readonly kind: Kind;
  /** `null`: the canonical one. */
  readonly unit: string | null;
  /** Why, in words: `the key says "temp_f", and 78 to 79 is usual in °F`. */
  readonly reason: string;
}

const kindWords: Readonly<Record<Kind, readonly string[]>> = {
  temperature: ['temperature', 'temp', 'tmp', 'degc', 'degf', 'celsius', 'fahrenheit', 'thermometer'],
  level: ['level', 'lvl', 'height', 'depth', 'distance'],
  fill: ['fill', 'percent', 'pct', 'remaining'],
  volume: ['volume', 'vol', 'litres', 'liters', 'litre', 'liter', 'gallons'],
  conductivity: ['conductivity', 'cond', 'ec', 'salinity'],
  power: ['power', 'watts', 'watt', 'apower', 'load'],
  current: ['current', 'amps', 'amp', 'amperes'],
  energy: ['energy', 'kwh', 'wh', 'consumption', 'counter'],
  voltage: ['voltage', 'volts', 'volt', 'mains'],
  flow: ['flow', 'flowrate', 'gph', 'lph', 'lpm'],
  humidity: ['humidity', 'hum', 'rh'],
  acidity: ['ph', 'acidity'],
  switch: ['switch', 'relay', 'state', 'output', 'on', 'float', 'leak', 'contact', 'running', 'enabled'],
};

/** Words that name a unit of their kind. */
const unitWords: Readonly<Record<string, readonly [Kind, string]>> = {
  f: ['temperature', '°F'], degf: ['temperature', '°F'], fahrenheit: ['temperature', '°F'], c: ['temperature', '°C'], degc: ['temperature', '°C'], celsius: ['temperature', '°C'],
  mm: ['level', 'mm'], cm: ['level', 'cm'], inch: ['level', 'in'], inches: ['level', 'in'],
  kw: ['power', 'kW'], mw: ['power', 'mW'], w: ['power', 'W'], kwh: ['energy', 'kWh'], wh: ['energy', 'Wh'],
  ma: ['current', 'mA'], a: ['current', 'A'], mv: ['voltage', 'mV'], v: ['voltage', 'V'],
  gph: ['flow', 'gal/h'], lph: ['flow', 'L/h'], lpm: ['flow', 'L/min'], gallons: ['volume', 'gal'], gal: ['volume', 'gal'], us: ['conductivity', 'µS/cm'], ms: ['conductivity', 'mS/cm'],
};

/** Where values of a unit usually lie around a tank; only for kinds whose units can be mixed up. Common practice. */
const usual: Partial<Record<Kind, readonly (readonly [unit: string, low: number, high: number])[]>> = {
  temperature: [['°C', 5, 40], ['°F', 41, 105], ['K', 278, 313]],
  conductivity: [['mS/cm', 0.01, 80], ['µS/cm', 80, 80_000]],
  fill: [['%', 1.001, 110], ['/', 0, 1]],
};

/** @returns `null` when nothing speaks for any kind. */
export function guessKind({ topic, part, partIs = 'the key', unit, values }: GuessFacts): KindGuess | null {
  const numbers = values.map(numberOf).filter((value) => value !== null);
  const possible = (kind: Kind, inUnit: string | null): boolean => {
    if (kind === 'switch') return values.length > 0 && values.every(isOnOff);
    const convert = converter(kind, inUnit);
    const [low, high] = kinds[kind].range;
    return convert !== null && numbers.length === values.length && numbers.every((value) => convert(value) >= low && convert(value) <= high);
  };
  const topicWords = wordsOf(topic);
  const keyWords = part === null ? [] : wordsOf(part);
  if (unit !== null && kindsFor(unit).length > 0) return byUnit(unit, [...topicWords, ...keyWords], possible);
  return (keyWords.length > 0 ? byWords(keyWords, partIs, numbers, possible) : null)
    ?? byWords(topicWords, 'the topic', numbers, possible)
    ?? byValues(values);
}

type Possible = (kind: Kind, unit: string | null) => boolean;

function byUnit(unit: string, words: readonly string[], possible: Possible): KindGuess | null {
  const fitting = kindsFor(unit).filter((kind) => possible(kind, unit));
  const worded = [...words].reverse().flatMap((word) => fitting.filter((kind) => kindWords[kind].includes(word)).map((kind) => ({ kind, word })))[0];
  const kind = worded?.kind ?? fitting[0];
  if (kind === undefined) return null;
  const among = worded === undefined ? (fitting.length > 1 ? `; it could also be ${fitting.slice(1).map((other) => kinds[other].name).join(' or ')}` : '') : ` and the word "${worded.word}"`;
  return { kind, unit, reason: `the message says ${unit}${among}` };
}

function byWords(words: readonly string[], who: string, numbers: readonly number[], possible: Possible): KindGuess | null {
  // From the end: the last word says what is measured, those before it where.
  for (let at = words.length - 1; at >= 0; at -= 1) {
    const word = words[at] ?? '';
    const beside = unitWords[words[at + 1] ?? ''] ?? unitWords[word];
    for (const kind of kindNames) {
      if (!kindWords[kind].includes(word)) continue;
      const said = beside !== undefined && beside[0] === kind && unitsOf(kind).includes(beside[1]) ? beside[1] : null;
      if (said !== null && possible(kind, said)) return { kind, unit: said, reason: `${who} says "${at + 1 < words.length && unitWords[words[at + 1] ?? ''] === beside ? `${word} ${words[at + 1]}` : word}"` };
      const likely = likelyUnit(kind, numbers);
      if (possible(kind, likely?.unit ?? null)) return { kind, unit: likely?.unit ?? null, reason: `${who} says "${word}"${likely === null ? '' : `, and ${likely.span} is usual in ${likely.unit}`}` };
    }
  }
  return null;
}

function byValues(values: readonly (number | boolean | string)[]): KindGuess | null {
  if (values.length === 0 || !values.every((value) => typeof value !== 'number' && isOnOff(value))) return null;
  return { kind: 'switch', unit: null, reason: 'its values are on and off' };
}

function likelyUnit(kind: Kind, numbers: readonly number[]): { readonly unit: string; readonly span: string } | null {
  const spans = usual[kind];
  if (spans === undefined || numbers.length === 0) return null;
  const low = Math.min(...numbers);
  const high = Math.max(...numbers);
  const fit = spans.find(([, from, to]) => low >= from && high <= to);
  return fit === undefined ? null : { unit: fit[0], span: low === high ? String(low) : `${low} to ${high}` };
}

/** `Sump_TempF/outlets/0/watts` → sump, temp, f, outlets, 0, watts. */
function wordsOf(path: string): readonly string[] {
  return path
    .replaceAll('~1', '/')
    .replace(/([a-z0-9])([A-Z])/g, '$1 $2')
    .toLowerCase()
    .split(/[^a-z0-9]+/)
    .flatMap((word) => /^[a-z]+$/.test(word) || word === '' ? [word] : word.split(/(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])/))
    .filter((word) => word !== '');
}

const numberOf = (value: number | boolean | string): number | null => (typeof value === 'number' ? value : typeof value === 'boolean' ? Number(value) : null);
const isOnOff = (value: number | boolean | string): boolean => (typeof value === 'boolean' ? true : typeof value === 'number' ? value === 0 || value === 1 : switchValue(value) !== null);
