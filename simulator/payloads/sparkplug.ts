/**
 * Sparkplug B (Eclipse Sparkplug 3.0.0, chapter 6; field numbers from memory): the births and data of one edge node, its few protobuf fields written by
 * hand. It hears no commands, so it repeats its birth every so many messages by itself; and it has no will, so it dies in silence.
 */
import type { Point } from '../../src/domain/fleet.ts';
import { option, type PayloadWriter } from './payload.ts';

const BIRTH_EVERY = 20;

/** @param address `spBv1.0/group/edge node`. @throws Error for the address of a device. */
export function sparkplugWriter(address: string, points: readonly Point[]): PayloadWriter {
  const [namespace, group, edgeNode, device] = address.split('/');
  if (device !== undefined) throw new Error(`${address}: the simulator plays edge nodes, not devices behind them; write spBv1.0/group/edge node`);
  const metrics = points.map((point) => {
    const name = option(point, 'metric');
    if (name === null) throw new Error(`point ${point.id}: its Sparkplug source has no metric`);
    return { name, isSwitch: point.kind === 'switch' };
  });
  return {
    timed: points.map(() => true),
    topicAt: (number) => `${namespace}/${group}/${number % BIRTH_EVERY === 0 ? 'NBIRTH' : 'NDATA'}/${edgeNode}`,
    write: (values, stampMs, number) => {
      const birth = number % BIRTH_EVERY === 0;
      const body = metrics.flatMap(({ name, isSwitch }, index) => {
        const value = values[index];
        const missing = value === undefined || value === null;
        // A birth names every metric; data only what there is.
        if (missing && !birth) return [];
        const datatype = isSwitch ? BOOLEAN : DOUBLE;
        const content = missing ? varint(7, 1) : isSwitch ? varint(14, value >= 0.5 ? 1 : 0) : double(13, value);
        return [bytes(2, Buffer.concat([bytes(1, Buffer.from(name)), varint(3, stampMs), varint(4, datatype), content]))];
      });
      const bdSeq = birth ? [bytes(2, Buffer.concat([bytes(1, Buffer.from('bdSeq')), varint(3, stampMs), varint(4, UINT64), varint(11, 0)]))] : [];
      return Buffer.concat([varint(1, stampMs), ...bdSeq, ...body, varint(3, number % BIRTH_EVERY)]);
    },
  };
}

const UINT64 = 8;
const DOUBLE = 10;
const BOOLEAN = 11;

function varint(field: number, value: number): Buffer {
  return Buffer.from([...digits(field << 3), ...digits(value)]);
}

function bytes(field: number, content: Buffer): Buffer {
  return Buffer.concat([Buffer.from([...digits((field << 3) | 2), ...digits(content.length)]), content]);
}

function double(field: number, value: number): Buffer {
  const content = Buffer.alloc(8);
  content.writeDoubleLE(value);
  return Buffer.concat([Buffer.from(digits((field << 3) | 1)), content]);
}

/** Base 128, least significant first, the high bit saying that more follow. */
function digits(value: number): number[] {
  const found: number[] = [];
  for (let rest = value; ; rest = Math.floor(rest / 128)) {
    if (rest < 128) return [...found, rest];
    found.push((rest % 128) | 128);
  }
}
