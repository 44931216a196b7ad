/**
 * What a sound heater may truthfully draw: nameplate, tolerance of manufacture, and the voltage it gets.
 *
 * A resistive load draws P ∝ V². Deviation from the nameplate: IEC 60335-1, Table 1 (from memory): up to 25 W +20 %, no lower bound given; 25–200 W ±10 %;
 * above 200 W −10 %, and +5 % or 20 W, whichever is greater.
 */

/** W at another voltage. @param ratedVolts voltage on the nameplate. */
export function wattsAtVoltage(ratedWatts: number, ratedVolts: number, volts: number): number {
  return ratedWatts * (volts / ratedVolts) ** 2;
}

export interface PowerBand {
  /** `null`: no lower bound is given for heaters this small. */
  readonly lowWatts: number | null;
  readonly highWatts: number;
}

/** A sound heater on a supply that lies within [lowVolts, highVolts]; give the measured voltage twice where there is one. */
export function soundHeaterWatts(ratedWatts: number, ratedVolts: number, lowVolts: number, highVolts: number): PowerBand {
  const { low, high } = manufacture(ratedWatts);
  return {
    lowWatts: low === null ? null : wattsAtVoltage(low, ratedVolts, lowVolts),
    highWatts: wattsAtVoltage(high, ratedVolts, highVolts),
  };
}

function manufacture(ratedWatts: number): { readonly low: number | null; readonly high: number } {
  if (ratedWatts <= 25) return { low: null, high: ratedWatts * 1.2 };
  if (ratedWatts <= 200) return { low: ratedWatts * 0.9, high: ratedWatts * 1.1 };
  return { low: ratedWatts * 0.9, high: ratedWatts + Math.max(0.05 * ratedWatts, 20) };
}
