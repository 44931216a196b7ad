/** How many, lowest, highest and sum, as they come in. */
export class Tally {
  n = 0;
  min = Number.POSITIVE_INFINITY;
  max = Number.NEGATIVE_INFINITY;
  #sum = 0;
  /** What rounding took from the sum so far (Neumaier's variant of Kahan's summation): a year of readings adds up to the last digit or two. */
  #lost = 0;

  get sum(): number {
    return this.#sum + this.#lost;
  }

  get mean(): number {
    return this.sum / this.n;
  }

  add(value: number): void {
    this.addMany(1, value, value, value);
  }

  addMany(n: number, min: number, max: number, sum: number): void {
    this.n += n;
    if (min < this.min) this.min = min;
    if (max > this.max) this.max = max;
    const total = this.#sum + sum;
    this.#lost += Math.abs(this.#sum) >= Math.abs(sum) ? this.#sum - total + sum : sum - total + this.#sum;
    this.#sum = total;
  }
}
