/** From canonical values to the unit a sensor sends in: the simulator's own table, so that it can disagree with the product's. */
import type { Kind } from '../../src/domain/kinds.ts';

type Convert = (canonical: number) => number;

const same: Convert = (value) => value;
const times = (factor: number): Convert => (value) => value * factor;

const units: Record<Kind, Readonly<Record<string, Convert>>> = {
  temperature: { '°C': same, C: same, Cel: same, degC: same, '°F': (c) => c * 1.8 + 32, F: (c) => c * 1.8 + 32, degF: (c) => c * 1.8 + 32, K: (c) => c + 273.15 },
  level: { mm: same, cm: times(0.1), m: times(0.001), in: times(1 / 25.4), inch: times(1 / 25.4) },
  fill: { '%': same, '/': times(0.01) },
  volume: { L: same, l: same, mL: times(1000), ml: times(1000), gal: times(1 / 3.785411784), 'US gal': times(1 / 3.785411784), m3: times(0.001) },
  conductivity: { 'mS/cm': same, 'µS/cm': times(1000), 'μS/cm': times(1000), 'uS/cm': times(1000), 'S/m': times(0.1), 'S/cm': times(0.001) },
  power: { W: same, kW: times(0.001), mW: times(1000) },
  current: { A: same, mA: times(1000) },
  energy: { kWh: same, Wh: times(1000), MWh: times(0.001), J: times(3.6e6) },
  voltage: { V: same, mV: times(1000), kV: times(0.001) },
  flow: {
    'L/h': same, 'L/min': times(1 / 60), 'L/s': times(1 / 3600), 'gal/h': times(1 / 3.785411784), gph: times(1 / 3.785411784),
    'gal/min': times(1 / 227.12470704), 'm3/h': times(0.001),
  },
  humidity: { '%RH': same, '%': same },
  acidity: { pH: same },
  switch: { 'on/off': same },
};

/** @param unit `null`: canonical. @throws Error for a unit the simulator cannot send. */
export function toDeclared(kind: Kind, unit: string | null): Convert {
  if (unit === null) return same;
  const convert = Object.hasOwn(units[kind], unit) ? units[kind][unit] : undefined;
  if (convert === undefined) throw new Error(`the simulator cannot send ${kind} in "${unit}"; it knows ${Object.keys(units[kind]).join(', ')}`);
  return convert;
}
