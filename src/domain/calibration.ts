/** What a point's sensor is corrected by from an instant on: true value = raw value × slope + offset, in the canonical unit of its kind. */
export interface Calibration {
  readonly pointId: string;
  /** In force from here until the next one begins. */
  readonly fromMs: number;
  readonly slope: number;
  readonly offset: number;
  /** Person, as journaled. */
  readonly by: string;
  readonly why: string;
  readonly enteredMs: number;
}
