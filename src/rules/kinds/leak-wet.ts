/**
 * A leak sensor that is wet.
 *
 * Problem: water on the floor costs more than the tank: floors, ceilings below, and mains in the cabinet.
 * Method: a switch that lies on the floor (`place: floor`; or a switch of the tank in the room whose id or name says leak, flood or wet) reads on. It must be wet for the on-delay:
 * a cloth or a drop on a visit is wiped away within a minute. Sensors that read wet when they corrode are told by finding the floor dry.
 *
 * Urgent, on-delay 1 min: common practice.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { clear } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, type Proposal } from '../contract.ts';
import { between, quietWithin } from '../quiet.ts';
import { pointById } from '../subject.ts';
import { unknown, whyNotCurrent } from '../unknown.ts';

const settings = z.strictObject({
  wetWhen: z.enum(['on', 'off']).default('on').describe('What the sensor says when it is wet: on, or off for one that opens its contact. Default on.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ wetSinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

const dry: State = { wetSinceMs: null };

export default defineRule<Settings, State>({
  kind: 'leak-wet',
  watchesFor: 'A leak sensor on the floor that is wet.',
  settings,
  state,
  initial: dry,
  policy: { priority: 'urgent', onDelayMs: MINUTE, offDelayMs: 10 * MINUTE },

  apply: (facts) => facts.points.filter((point) => isLeakSensor(point)).map(proposalFor),

  applyTo(facts, subject) {
    const point = pointById(facts, subject);
    return point?.kind === 'switch' ? proposalFor(point) : `a leak sensor is a point of kind: switch, and “${subject}” is none; write the id of one`;
  },

  step(before, _input, context) {
    const sensor = context.current('sensor');
    if (sensor === null) return { state: before, verdict: unknown(whyNotCurrent(context, 'sensor')) };
    if ((sensor.value >= 0.5) !== (context.settings.wetWhen === 'on')) return { state: before.wetSinceMs === null ? before : dry, verdict: clear, quiet: quietWithin({ sensor: between(sensor.value, 0.5) }) };
    const wetSinceMs = before.wetSinceMs ?? sensor.atMs;
    return {
      state: before.wetSinceMs === null ? { wetSinceMs } : before,
      verdict: {
        state: 'breached',
        summary: `${context.point('sensor')?.name ?? 'the leak sensor'} is wet`,
        evidence: [
          { label: 'Leak sensor', value: 'wet', atMs: sensor.atMs },
          { label: 'Wet for', value: showDuration(Math.max(0, context.nowMs - wetSinceMs)), atMs: wetSinceMs },
        ],
      },
    };
  },

  firstChecks(advice) {
    const shutOff = advice.site.waterShutOff === null ? '' : ` Where to shut the water off: ${advice.site.waterShutOff}.`;
    return [
      `Ring the site: is there water on the floor, and where does it come from?${shutOff} Nobody steps into water that may be live.`,
      beforeReachingIn(advice),
      'Look at the sump for overflow, then at unions, hoses, the skimmer cup and the top-off line; see whether display or sump have fallen.',
      'If the floor is dry: wipe and dry the sensor, look at it for corrosion and its cable for damage.',
      electricalWork,
    ];
  },
});

function isLeakSensor({ kind, place, equipmentId, tankId, id, name }: Point): boolean {
  if (kind !== 'switch' || equipmentId !== null) return false;
  return place === 'floor' || (place === 'room' && tankId !== null && /leak|flood|wet/i.test(`${id} ${name}`));
}

const proposalFor = (point: Point): Proposal => ({ subject: point.id, title: `${point.name} wet`, roles: { sensor: point.id }, equipment: null, missing: null, defaults: {} });
