/** A SenML pack in JSON (RFC 8428): one record for each point, with unit and time. */
import type { Point } from '../../src/domain/fleet.ts';
import { option, type PayloadWriter } from './payload.ts';

/** Declared units in SenML's spelling (RFC 8428 §12.1, secondary units of RFC 8798; from memory). Others go as they are. */
const spelling: Readonly<Record<string, string>> = { '°C': 'Cel', C: 'Cel', degC: 'Cel', L: 'l', 'L/h': 'l/h', 'L/min': 'l/min', 'L/s': 'l/s' };

export function senmlWriter(topic: string, points: readonly Point[]): PayloadWriter {
  const records = points.map((point) => {
    const name = option(point, 'name');
    if (name === null) throw new Error(`point ${point.id}: its SenML source has no name`);
    return { name, unit: point.unit === null ? null : (spelling[point.unit] ?? point.unit), isSwitch: point.kind === 'switch' };
  });
  return {
    timed: points.map(() => true),
    topicAt: () => topic,
    write: (values, stampMs) => JSON.stringify(records.flatMap(({ name, unit, isSwitch }, index) => {
      const value = values[index];
      if (value === undefined || value === null) return [];
      return [{ n: name, t: stampMs / 1000, ...(isSwitch ? { vb: value >= 0.5 } : { ...(unit === null ? {} : { u: unit }), v: value }) }];
    })),
  };
}
