/** Why a rule does not know. The words stay the same while the reason does, so that nothing is written anew for every reading. */
import type { Verdict } from '../domain/verdict.ts';
import type { RuleContext } from './contract.ts';

type Context = Pick<RuleContext<unknown>, 'point' | 'latest'> & Partial<Pick<RuleContext<unknown>, 'offline' | 'doubted'>>;

export const unknown = (why: string): Verdict => ({ state: 'unknown', why });

/** For a role whose value is not current. */
export function whyNotCurrent(context: Context, role: string): string {
  const point = context.point(role);
  if (point === null) return `no ${role} point`;
  const disbelief = context.offline?.(role) ?? context.doubted?.(role) ?? null;
  if (disbelief !== null) return `${point.name}: ${disbelief}`;
  return context.latest(role) === null ? `${point.name} has not delivered yet` : `${point.name} has gone silent`;
}
