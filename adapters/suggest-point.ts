/** For a message that no point claims: the lines that would claim it, ready to be pasted into the fleet file. */
import type { Site } from '../src/domain/fleet.ts';
import { decodeUtf8 } from './utf8.ts';
import { writePointer } from './json-pointer.ts';
import { shorten } from './source.ts';

/** Same topic and same shape of message give the same text, so that repetitions fold. */
export function suggestPoint(topic: string, bytes: Uint8Array, site: Site | null): string {
  const where = site === null ? 'no site has topics that begin so' : `site ${site.id}`;
  const id = idFrom(topic);
  const source = `{ topic: ${quote(shorten(topic, 200))}, ${formatOf(bytes)} }`;
  return `no point claims this topic (${where}). To keep it, add under points: in the fleet file, with the kind it measures:\n- { id: ${id}, kind: temperature, every: 60s, source: ${source} }`;
}

function idFrom(topic: string): string {
  const last = topic.split('/').findLast((part) => part !== '') ?? '';
  const id = last.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-+|-+$/g, '').slice(0, 40);
  return id === '' ? 'new-point' : id;
}

function quote(text: string): string {
  return /^[A-Za-z0-9/_.-]+$/.test(text) ? text : JSON.stringify(text);
}

function formatOf(bytes: Uint8Array): string {
  const text = bytes.length > 16_384 ? null : decodeUtf8(bytes);
  if (text === null || !/^\s*[{[]/.test(text)) return 'format: number';
  try {
    return `format: json, value: ${quote(firstNumber(JSON.parse(text), [], 0) ?? '/…')}`;
  } catch {
    // Not JSON after all: the suggestion stays general; what is wrong with it is said once the topic is claimed.
    return 'format: json, value: /…';
  }
}

function firstNumber(value: unknown, path: readonly string[], depth: number): string | null {
  if (typeof value === 'number') return path.length === 0 ? null : writePointer(path);
  if (typeof value !== 'object' || value === null || depth > 6) return null;
  for (const [key, inner] of Object.entries(value).slice(0, 50)) {
    if (key.length > 60 || /time|stamp|date|^ts$|^id$/i.test(key)) continue;
    const found = firstNumber(inner, [...path, key], depth + 1);
    if (found !== null) return found;
  }
  return null;
}
