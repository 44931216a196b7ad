/**
 * The same heat balance in two scales: by the heater's watts, or by the chiller's.
 *
 * heater − k · chiller = rest, divided by κ = k/k₀ (k₀ a usual chiller), is heater/κ − k₀ · chiller = rest/κ. Solved for the chiller's draw, all unknowns of the
 * rest are known in units of the chiller's heat; 1/κ stands where k stood, and is settled by what heating there is, or by the prior. Going from one to
 * the other is θ' = θ · h, h = 1/κ; priors and covariances follow by their derivatives.
 */
import type { Observation, Prior, Regression } from '../statistics/huber.ts';
import { dot, inverseOf, times } from '../statistics/linear-system.ts';
import type { Block } from './block.ts';
import { CHILLING, USUAL_CHILLING } from './prior.ts';

export type Scale = 'heated' | 'cooled';

export function scaleOf(blocks: readonly Block[]): Scale {
  const heating = blocks.reduce((sum, { heaterWatts }) => sum + heaterWatts, 0);
  const cooling = blocks.reduce((sum, { chillerWatts }) => sum + chillerWatts, 0);
  return USUAL_CHILLING * cooling > heating ? 'cooled' : 'heated';
}

export function scaled({ x, y }: Observation, scale: Scale): Observation {
  if (scale === 'heated') return { x, y };
  return { x: x.map((value, i) => (i === CHILLING ? -y : value)), y: -USUAL_CHILLING * (x[CHILLING] ?? Number.NaN) };
}

export function scaledPrior(prior: Prior, scale: Scale): Prior {
  if (scale === 'heated') return prior;
  const covariance = inverseOf(prior.precision);
  if (covariance === null) throw new Error('a prior must settle every unknown');
  const mean = times(covariance, prior.weighted);
  const k = mean[CHILLING] ?? Number.NaN;
  const h = USUAL_CHILLING / k;
  const to = mean.map((value, i) => (i === CHILLING ? h : value * h));
  const precision = inverseOf(moved(covariance, jacobian(mean, h, -h / k)));
  if (precision === null) throw new Error('a prior must settle every unknown');
  return { precision, weighted: times(precision, to) };
}

/** Back to watts, kelvin and k. */
export function inWatts(regression: Regression, scale: Scale): Regression {
  if (scale === 'heated') return regression;
  const { coefficients } = regression;
  const h = Math.max(LEAST_SHARE, coefficients[CHILLING] ?? Number.NaN);
  const back = coefficients.map((value, i) => (i === CHILLING ? USUAL_CHILLING / h : value / h));
  return { ...regression, coefficients: back, covariance: moved(regression.covariance, jacobian(back, 1 / h, -USUAL_CHILLING / h ** 2, -1 / h)) };
}

/** No chiller is better than three times a usual one. */
const LEAST_SHARE = 1 / 3;

/**
 * Derivatives of θᵢ · factor by θ and by the unknown at CHILLING. @param own derivative of the new unknown at CHILLING by the old one.
 * @param relative by how much of themselves the others change with it.
 */
function jacobian(values: readonly number[], factor: number, own: number, relative = own): number[][] {
  return values.map((value, i) => values.map((_, j) => {
    if (i === CHILLING) return j === CHILLING ? own : 0;
    return j === CHILLING ? value * relative : i === j ? factor : 0;
  }));
}

function moved(covariance: readonly (readonly number[])[], by: readonly (readonly number[])[]): number[][] {
  const half = by.map((row) => covariance.map((line) => dot(line, row)));
  return by.map((row) => half.map((line) => dot(row, line)));
}
