/** What a supply voltage says: which network it belongs to, and whether there is any. */

/** Below this share of the nominal voltage nothing runs: there is no supply. */
export const NO_SUPPLY_SHARE = 0.5;

/** 120 or 230 V, by a reading that is not a fault's: 170 V lies between the worst of both. A supply of 100 V counts as 120 V: enter its nominal voltage. */
export function nominalVoltsOf(volts: number): number {
  return volts < 170 ? 120 : 230;
}

/** A reading of at least this shows that there is a supply, whatever the network. */
export const LEAST_SUPPLY_VOLTS = 85;
