import limit from '../../../../src/rules/kinds/limit.ts';

export default { ...limit, kind: 'bad-state', initial: { side: 'sideways', sinceMs: null, worst: undefined }, step: undefined, policy: { priority: 'loud', onDelayMs: 0, offDelayMs: 0 } };
