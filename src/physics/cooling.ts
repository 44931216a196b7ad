/** Newton's law: a body approaches the temperature at which it would stay, e-fold by e-fold. */

/** Temperature after `time`. @param rate e-folds per unit of time: UA/C. @param restC where it would come to rest. */
export function temperatureAfter(startC: number, restC: number, rate: number, time: number): number {
  return restC + (startC - restC) * Math.exp(-rate * time);
}

/** Time until it passes `targetC`, in the unit of `rate`; 0 if it is there, `Infinity` if it never gets there. */
export function timeToReach(startC: number, targetC: number, restC: number, rate: number): number {
  if (startC === targetC) return 0;
  const share = (startC - restC) / (targetC - restC);
  return share > 1 && Number.isFinite(share) && rate > 0 ? Math.log(share) / rate : Number.POSITIVE_INFINITY;
}
