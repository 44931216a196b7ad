/**
 * Two scales that are both called degrees Celsius. Thermometers show ITS-90; PSS-78, EOS-80 and the specific heat of TP44 were fitted on IPTS-68.
 * At 25 °C they differ by 0.006 K, which moves a salinity of 35 by 0.0047. So the scale is part of the type where it matters, and
 * every function that takes a plain `celsius` takes ITS-90.
 *
 * Source: t68 = 1.00024 · t90 (Saunders 1990, as used in the TEOS-10 GSW library; valid −2 to 40 °C).
 */
declare const scale: unique symbol;

/** °C on the scale of 1968. Made by `ipts68`, or by `asIpts68` where a publication states its temperatures so. */
export type Ipts68 = number & { readonly [scale]: 'IPTS-68' };

/** @param celsius ITS-90, what a thermometer shows. */
export function ipts68(celsius: number): Ipts68 {
  return asIpts68(1.00024 * celsius);
}

/** @returns °C, ITS-90. */
export function its90(t68: Ipts68): number {
  return t68 / 1.00024;
}

/** Takes a number for what it already is: a temperature printed on the scale of 1968. */
export function asIpts68(celsius68: number): Ipts68 {
  return celsius68 as Ipts68;
}
