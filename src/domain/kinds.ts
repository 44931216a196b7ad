/**
 * The quantities Tankbell understands, each kept in one canonical unit.
 * A kind decides which units are accepted at the border (`units.ts`) and what is physically possible.
 */
export const kinds = {
  temperature: { unit: '°C', name: 'temperature', decimals: 2, range: [-20, 80] },
  level: { unit: 'mm', name: 'level', decimals: 0, range: [-2000, 5000] },
  fill: { unit: '%', name: 'fill', decimals: 1, range: [-5, 120] },
  volume: { unit: 'L', name: 'volume', decimals: 1, range: [-10, 1e6] },
  conductivity: { unit: 'mS/cm', name: 'conductivity', decimals: 2, range: [0, 200] },
  power: { unit: 'W', name: 'power', decimals: 1, range: [-50, 20_000] },
  current: { unit: 'A', name: 'current', decimals: 2, range: [-1, 200] },
  energy: { unit: 'kWh', name: 'energy counter', decimals: 3, range: [0, 1e9] },
  voltage: { unit: 'V', name: 'voltage', decimals: 1, range: [0, 600] },
  flow: { unit: 'L/h', name: 'flow', decimals: 0, range: [-10, 1e6] },
  humidity: { unit: '%RH', name: 'relative humidity', decimals: 0, range: [0, 105] },
  acidity: { unit: 'pH', name: 'pH', decimals: 2, range: [0, 14] },
  switch: { unit: 'on/off', name: 'on or off', decimals: 0, range: [0, 1] },
} as const satisfies Record<string, KindFacts>;

export type Kind = keyof typeof kinds;

export interface KindFacts {
  /** Canonical unit: everything stored, judged and computed is in this unit. */
  readonly unit: string;
  readonly name: string;
  /** Decimals worth showing. */
  readonly decimals: number;
  /** Outside of this a value cannot be true (a broken wire, an error code): kept and flagged, never judged. */
  readonly range: readonly [number, number];
}

export const kindNames = Object.keys(kinds) as readonly Kind[];
