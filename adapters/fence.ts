/** What an account of the embedded broker may touch: its own topics, and nothing else. */

export interface Fence {
  /** Every topic of the account begins with this; ends in a slash, holds no wildcard. */
  readonly topics: string;
  /** The Sparkplug group of the account's gateways: it may also use `spBv1.0/group/…`, and read whether this service listens. */
  readonly sparkplugGroup?: string | null;
}

const SPARKPLUG = 'spBv1.0/';
/** What hosts say of themselves: for the broker's own service to write, for gateways to read. */
const HOST_STATE = `${SPARKPLUG}STATE/`;

/** `$…` topics belong to the broker itself and lie outside of every fence. */
export function mayPublish(fence: Fence, topic: string): boolean {
  return isInside(fence, topic) && !topic.startsWith(HOST_STATE);
}

/** The prefix is literal, so whatever wildcards follow it stay inside; shared subscriptions begin with `$share/` and so lie outside. */
export function maySubscribe(fence: Fence, filter: string): boolean {
  return isInside(fence, filter) || (typeof fence.sparkplugGroup === 'string' && filter.startsWith(HOST_STATE) && filter.length > HOST_STATE.length);
}

function isInside({ topics, sparkplugGroup = null }: Fence, topic: string): boolean {
  const prefixes = sparkplugGroup === null ? [topics] : [topics, `${SPARKPLUG}${sparkplugGroup}/`];
  return !topic.startsWith('$') && prefixes.some((prefix) => topic.startsWith(prefix) && topic.length > prefix.length);
}

/** @returns what is wrong with a prefix, or `null`. An empty one would fence nothing. */
export function fenceProblem(topics: string): string | null {
  if (topics === '' || topics === '/') return 'is empty: with the embedded broker every site needs its own beginning of topics, such as harbor-lobby/';
  if (!topics.endsWith('/')) return `"${topics}" must end in a slash, or the site could publish to its neighbour's topics`;
  if (/[#+]/.test(topics) || topics.startsWith('$')) return `"${topics}" must hold no # and no +, and must not begin with $`;
  if (topics.startsWith(HOST_STATE) || topics === SPARKPLUG) return `"${topics}" belongs to Sparkplug; write the group of the site's gateways as sparkplugGroup`;
  return null;
}
