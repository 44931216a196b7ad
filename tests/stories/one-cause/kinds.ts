/**
 * The kinds these stories are told with: real ones, and plain stand-ins for the mains and for gateways, so that the stories are about causes and
 * not about how a lost site is recognised.
 */
import { z } from 'zod';
import { MINUTE } from '../../../src/domain/duration.ts';
import { clear } from '../../../src/domain/verdict.ts';
import { gatewayOf } from '../../../src/rules/causes.ts';
import { defineRule, type RuleKind } from '../../../src/rules/contract.ts';
import heaterStuckOn from '../../../src/rules/kinds/heater-stuck-on.ts';
import limit from '../../../src/rules/kinds/limit.ts';
import returnPumpStopped from '../../../src/rules/kinds/return-pump-stopped.ts';
import silentPoint from '../../../src/rules/kinds/silent-point.ts';
import topOffEmpty from '../../../src/rules/kinds/top-off-empty.ts';
import topOffLow from '../../../src/rules/kinds/top-off-low.ts';

const nothing = z.strictObject({});
const silentAfterMs = 4 * MINUTE;

const sitePowerLost = defineRule({
  kind: 'site-power-lost',
  watchesFor: 'Mains gone at the site (a stand-in).',
  settings: nothing, state: nothing, initial: {},
  policy: { priority: 'urgent', onDelayMs: MINUTE, offDelayMs: 0 },
  apply: ({ points, site }) => points.filter(({ id, kind }) => kind === 'voltage' && id.startsWith(`${site.id}/`)).map((point) => ({
    subject: point.id, title: 'Mains lost', roles: { supply: point.id }, equipment: null, missing: null, defaults: {},
  })),
  step(state, _input, context) {
    const supply = context.current('supply');
    if (supply === null) return { state, verdict: { state: 'unknown', why: 'no supply voltage' } };
    return { state, verdict: supply.value < 50 ? { state: 'breached', summary: `${supply.value} V at the panel`, evidence: [] } : clear };
  },
  firstChecks: () => ['Ring the site.'],
});

/** One for each gateway of a tank: nothing from any of its points for four minutes. */
const silentGateway = defineRule({
  kind: 'silent-gateway',
  watchesFor: 'A gateway from which nothing comes (a stand-in).',
  settings: nothing, state: nothing, initial: {},
  policy: { priority: 'high', onDelayMs: 0, offDelayMs: 0 },
  apply({ points, tank }) {
    const own = points.filter(({ tankId }) => tankId === tank.id);
    return [...new Set(own.map(gatewayOf))].filter((gateway) => gateway !== null).map((gateway) => ({
      subject: `${tank.id}/gateway-${gateway.slice(gateway.lastIndexOf('/') + 1)}`, title: `Gateway ${gateway} silent`, equipment: null, missing: null, defaults: {},
      roles: Object.fromEntries(own.filter((point) => gatewayOf(point) === gateway).map((point, index) => [`point-${index + 1}`, point.id])),
    }));
  },
  step(state, _input, context) {
    let latestMs = 0;
    for (let index = 1; context.point(`point-${index}`) !== null; index += 1) latestMs = Math.max(latestMs, context.latest(`point-${index}`)?.atMs ?? 0);
    if (latestMs === 0) return { state, verdict: { state: 'unknown', why: 'never heard of' }, wakeAtMs: context.nowMs + silentAfterMs };
    const silent = context.nowMs - latestMs > silentAfterMs;
    return { state, verdict: silent ? { state: 'breached', summary: 'nothing from it for 4 min', evidence: [] } : clear, wakeAtMs: silent ? null : latestMs + silentAfterMs + 1 };
  },
  firstChecks: () => ['Look at its lamp.'],
});

export const causeKinds: ReadonlyMap<string, RuleKind> = new Map([heaterStuckOn, limit, returnPumpStopped, silentPoint, topOffEmpty, topOffLow, sitePowerLost, silentGateway].map((kind) => [kind.kind, kind]));
