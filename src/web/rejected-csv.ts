/**
 * The refused lines of an import as a CSV file that a spreadsheet opens. A cell that begins like a formula is made a text by an apostrophe:
 * what it quotes comes from a file of somebody else (OWASP, "CSV injection", from memory).
 */
import type { ImportRefusal } from '../engine/import-contract.ts';

/** With the mark that tells spreadsheets that it is UTF-8. */
export const rejectedHead = '\uFEFFline,reason\r\n';

export function rejectedRows(refused: readonly ImportRefusal[]): string {
  return refused.map(({ line, reason }) => `${line},${safeCell(reason)}\r\n`).join('');
}

export function safeCell(text: string): string {
  return `"${(/^[=+\-@\t\r\n]/.test(text) ? `'${text}` : text).replaceAll('"', '""')}"`;
}
