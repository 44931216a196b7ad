/** A plain number as text, the simplest thing a sensor can publish: `23.5`, `23.5 °C`, `on`. */
import { z } from 'zod';
import type { Refusal } from '../../src/domain/reading.ts';
import { type Decode, defineFormat, excerpt, type Field } from '../contract.ts';
import { readScalarText } from '../scalar-text.ts';
import { decodeUtf8 } from '../utf8.ts';

export default defineFormat({
  format: 'number',
  looksLike: 'One number as text, such as 23.5, with its unit behind it if you like (23.5 °C), or on / off for a switch.',
  options: z.strictObject({}),
  prepare,
});

function prepare(fields: readonly Field[]): Decode {
  const only = fields.length === 1 ? (fields[0]?.pointId ?? null) : null;
  return (bytes, { topic }) => {
    const refuse = (reason: string): Refusal => ({ source: topic, pointId: only, reason, excerpt: excerpt(bytes) });
    const text = decodeUtf8(bytes);
    if (text === null) return { samples: [], refusals: [refuse('the message is not UTF-8 text; send a number as text, such as 23.5')] };
    if (/^\s*[{[]/.test(text)) return { samples: [], refusals: [refuse('the message looks like JSON; write format: json and value: /… in the fleet file')] };
    const read = readScalarText(text);
    if (!read.ok) return { samples: [], refusals: [refuse(`the message ${read.reason}`)] };
    return { samples: fields.map(({ pointId }) => ({ pointId, atMs: null, value: read.value, unit: read.unit })), refusals: [] };
  };
}
