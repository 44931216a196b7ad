/** A value with the range that holds it in four cases of five. */
export interface Estimate {
  readonly value: number;
  readonly low: number;
  readonly high: number;
}
