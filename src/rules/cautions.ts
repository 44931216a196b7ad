/**
 * Words of caution for whoever is sent to wet electrical equipment, and where to switch it off.
 * Every first check that brings hands near water and mains comes after `beforeReachingIn`.
 */
import type { AdviceContext } from './contract.ts';

type Where = Pick<AdviceContext<unknown>, 'site' | 'equipment'>;

/** Comes first wherever somebody might reach into the water or touch mains equipment. */
export function beforeReachingIn({ site, equipment }: Where): string {
  const breaker = site.breaker === null ? 'at its breaker' : `at the breaker (${site.breaker})`;
  const circuit = equipment?.circuit ? `; ${equipment.name} hangs on ${equipment.circuit}` : '';
  return `Before reaching into the water or touching a plug: switch the power off ${breaker} with dry hands${circuit}. Salt water conducts; a failed heater or pump can make the tank live. Switch on again before leaving, and see that everything starts.`;
}

/** Closes advice about equipment on the mains. */
export const electricalWork =
  'Use a supply with residual-current protection (GFCI/RCD); if it has tripped, find out why before resetting it. Follow the local electrical code; wiring, outlets and breakers are for a licensed electrician.';

/** Closes advice that rests on figures of husbandry. */
export const husbandry =
  'Figures for water and livestock here are common practice, not a rule: check with an independent thermometer or test first, and change things slowly.';

/** Changing the temperature back. Common practice, no source. */
export const slowCorrection = 'Bring the temperature back slowly, by no more than 1 °C in 1–2 hours (common practice): a fast correction can harm more than the excursion.';
