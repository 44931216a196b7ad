/**
 * A gateway from which nothing comes any more: many points of one site or source silent together.
 *
 * Problem: when the network, the gateway or its power fails, every point of the site falls silent, and a dozen alarms would ring for one cause. And nobody watches the tanks.
 * Method: points whose topics begin alike come from one place: those of one topic (a message with many values), of one branch below the site's topics, or all of the site. Breached when all points of
 * such a group, `points` of them at least, are silent after they had been heard: no usable reading for four fifths of their `silentAfter`, or said to be offline. Four fifths, so that this says it before
 * `silent-point` says it of each. The widest group is named. A single sensor is none of this rule's business. A gateway whose messages keep arriving is not silent, however
 * wrong their stamps are: its clock is (`wrong-clock`); nor is one whose probes say what cannot be true.
 * One rule for the site. The wake-up is set when it fires, not moved with every reading.
 *
 * High: nothing is known to be wrong with the water, but nothing would be noticed either. On-delay 5 min: routers restart, and a pause of a few minutes is common. Common practice, no source.
 */
import { z } from 'zod';
import { MINUTE, showDuration } from '../../domain/duration.ts';
import type { Point } from '../../domain/fleet.ts';
import { clear, type Evidence, type Verdict } from '../../domain/verdict.ts';
import { beforeReachingIn, electricalWork } from '../cautions.ts';
import { defineRule, quietForever, type RuleContext, type TankFacts } from '../contract.ts';

const settings = z.strictObject({
  points: z.int().min(2).max(100).default(3).describe('So many points of one source must be silent together. Default 3.'),
});
type Settings = z.infer<typeof settings>;

const state = z.strictObject({ watched: z.boolean(), silent: z.string().nullable(), sinceMs: z.number().nullable() });
type State = z.infer<typeof state>;

const SHARE = 0.8;
const WHOLE_SITE = '';
const POINTS_WATCHED = 200;

export default defineRule<Settings, State>({
  kind: 'silent-gateway',
  watchesFor: 'A gateway from which nothing comes any more: many points of a site silent together.',
  settings,
  state,
  initial: { watched: false, silent: null, sinceMs: null },
  policy: { priority: 'high', onDelayMs: 5 * MINUTE, offDelayMs: MINUTE },

  apply(facts) {
    const points = pointsOf(facts);
    if (points.length < 3) return [];
    return [{
      subject: `${facts.site.id}/gateway`,
      title: `${facts.site.name}: gateway silent`,
      roles: Object.fromEntries(points.map(({ id }, index) => [`point-${index + 1}`, id])),
      equipment: null,
      missing: null,
      defaults: {},
    }];
  },

  step(before, input, context) {
    // By far the most frequent case: one point of many delivers, and nothing was silent.
    if (input.type === 'reading' && before.silent === null && before.watched) return { state: before, verdict: clear, quiet: quietForever };
    const { silent, lookAtMs } = look(context);
    const sinceMs = silent === null ? null : before.sinceMs ?? context.nowMs;
    const same = before.watched && before.silent === silent && before.sinceMs === sinceMs;
    const verdict = silent === null ? clear : breached(silent, context);
    // The wake-up that is set stands.
    return same && input.type === 'reading' ? { state: before, verdict } : { state: same ? before : { watched: true, silent, sinceMs }, verdict, wakeAtMs: lookAtMs };
  },

  speaksFor: ({ silent }, { source }) => silent !== null && source !== null && (silent === WHOLE_SITE || source.topic === silent || source.topic.startsWith(`${silent}/`)),

  surelyAfterMs: (_settings, { points }) => SHARE * Math.max(0, ...[...points.values()].map(({ silentAfterMs }) => silentAfterMs)),

  firstChecks(advice) {
    return [
      'Ring the site: do the lamps of the tank burn, does the water move? Without readings nobody knows; that is the question that matters.',
      'Is the network of the site up, has somebody moved or switched off the router, the gateway or its strip? Has a password or a contract run out?',
      'If the whole site is dark it is the mains: treat it as a power cut, oxygen first.',
      beforeReachingIn(advice),
      'On site: power and status lamps of gateway and router, then plug and power supply; restart the gateway once, and see that readings arrive.',
      electricalWork,
    ];
  },
});

function pointsOf({ points, neighbours, site }: TankFacts): readonly Point[] {
  return [...points, ...neighbours.points].filter((point) => point.source !== null && point.siteId === site.id).slice(0, POINTS_WATCHED);
}

type Groups = readonly (readonly [beginning: string, roles: readonly string[]])[];

/** A context is bound to one rule, and the topics of its points stay what they are: put together once. */
const knownGroups = new WeakMap<RuleContext<Settings>, Groups>();

function groupsOf(context: RuleContext<Settings>): Groups {
  const known = knownGroups.get(context);
  if (known !== undefined) return known;
  const groups = groupsByTopic(context);
  knownGroups.set(context, groups);
  return groups;
}

/** Roles by what the topics of their points begin with, widest first; the whole site comes before everything. */
function groupsByTopic(context: RuleContext<Settings>): Groups {
  const groups = new Map<string, string[]>([[WHOLE_SITE, []]]);
  for (let index = 1; index <= POINTS_WATCHED; index += 1) {
    const role = `point-${index}`;
    const point = context.point(role);
    if (point === null) break;
    groups.get(WHOLE_SITE)?.push(role);
    const parts = (point.source?.topic ?? '').split('/');
    for (let length = 1; length <= parts.length; length += 1) {
      const beginning = parts.slice(0, length).join('/');
      const group = groups.get(beginning);
      if (group === undefined) groups.set(beginning, [role]);
      else group.push(role);
    }
  }
  // Of those alike in size the longer name tells more; the whole site stays first.
  return [...groups].sort(([a, one], [b, other]) => other.length - one.length || Number(b === WHOLE_SITE) - Number(a === WHOLE_SITE) || b.length - a.length);
}

/** The widest silent group, and when to look again: not before the first point that speaks now can have fallen silent. */
function look(context: RuleContext<Settings>): { readonly silent: string | null; readonly lookAtMs: number } {
  let silent: string | null = null;
  let lookAtMs = Number.POSITIVE_INFINITY;
  for (const [beginning, roles] of groupsOf(context)) {
    const atMs = silentAtMs(roles, context);
    if (atMs === null) continue;
    if (atMs > context.nowMs) lookAtMs = Math.min(lookAtMs, atMs);
    else silent ??= beginning;
  }
  // All of it is silent, and the next reading tells; or too little has been heard yet.
  return { silent, lookAtMs: Number.isFinite(lookAtMs) ? lookAtMs : context.nowMs + LOOK_AGAIN_MS };
}

/** No point is patient for less than this by itself (`silentAfter`). */
const LOOK_AGAIN_MS = 4 * MINUTE;

/** When all of these have been silent for long enough, if none speaks from now on; `null`: too few have been heard. */
function silentAtMs(roles: readonly string[], context: RuleContext<Settings>): number | null {
  let atMs = 0;
  let heard = 0;
  for (const role of roles) {
    const latest = context.latest(role);
    const point = context.point(role);
    // What has never delivered shows nothing of a gateway; `silent-point` tells of it.
    if (latest === null || point === null) continue;
    heard += 1;
    if (context.offline(role) === null) atMs = Math.max(atMs, Math.ceil(Math.max(latest.atMs, context.lastStampMs(role) ?? 0, context.heardMs(role) ?? 0) + SHARE * point.silentAfterMs) + 1);
  }
  return heard < context.settings.points ? null : atMs;
}

function breached(beginning: string, context: RuleContext<Settings>): Verdict {
  const roles = groupsOf(context).find(([name]) => name === beginning)?.[1] ?? [];
  let last: { readonly name: string; readonly atMs: number } | null = null;
  let offline: string | null = null;
  for (const role of roles) {
    const latest = context.latest(role);
    offline ??= context.offline(role);
    if (latest !== null && (last === null || latest.atMs > last.atMs)) last = { name: context.point(role)?.name ?? role, atMs: latest.atMs };
  }
  const from = beginning === WHOLE_SITE ? `any of the ${roles.length} points of the site` : `${beginning} (${roles.length} points)`;
  const evidence: Evidence[] = [
    { label: 'Silent', value: `${roles.length} points${beginning === WHOLE_SITE ? ', all of the site' : ` under ${beginning}`}` },
    last === null ? { label: 'Last reading', value: 'never' } : { label: 'Last reading', value: last.name, atMs: last.atMs },
  ];
  if (offline !== null) evidence.push({ label: 'Said of it', value: offline });
  const since = last === null ? 'yet' : `for ${showDuration(context.nowMs - last.atMs)}`;
  return { state: 'breached', summary: `nothing from ${from} ${since}${offline === null ? '' : `; ${offline}`}`, evidence };
}
