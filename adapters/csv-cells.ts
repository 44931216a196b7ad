/** From one record to its cells (RFC 4180 §2), and which character separates them. */
import Papa from 'papaparse';

export const delimiters = [',', ';', '\t', '|'] as const;
export type Delimiter = (typeof delimiters)[number];

/** @returns the cells of one record, or `null` when its quotes make no sense. */
export function cellsOf(text: string, delimiter: string): readonly string[] | null {
  if (!text.includes('"')) return text.split(delimiter);
  const { data, errors } = Papa.parse<string[]>(text, { delimiter, newline: text.includes('\n') ? '\n' : '\r\n', header: false });
  const [row] = data;
  return errors.length > 0 || row === undefined || data.length !== 1 ? null : row;
}

/** The separator that cuts a header into most cells; quotes and brackets keep what is in them together. */
export function findDelimiter(header: string): Delimiter {
  const bare = header.replace(/"[^"]*"|\([^)]*\)/g, '');
  const count = (delimiter: string): number => bare.split(delimiter).length;
  const best = (['\t', ';', ',', '|'] as const).toSorted((a, b) => count(b) - count(a));
  return best[0] ?? ',';
}

/** `sep=;` on the first line: how spreadsheets are told the separator. */
export function declaredDelimiter(text: string): Delimiter | null {
  const declared = /^"?sep=(.)"?$/i.exec(text)?.[1] ?? (/^"?sep=\t?"?$/i.test(text) ? '\t' : null);
  return delimiters.find((one) => one === declared) ?? null;
}

export function trimEnd(cells: readonly string[]): readonly string[] {
  return cells.slice(0, cells.findLastIndex((cell) => cell.trim() !== '') + 1);
}

/** What loggers and spreadsheets write where nothing was measured. A cell like this is neither kept nor refused. */
export function isMissing(cell: string): boolean {
  return cell === '' || (cell.length <= 5 && missing.test(cell));
}

const missing = /^(-+|–|—|nan|n\/?a|#n\/a|null|none|nil)$/i;
