/** What an account of the embedded broker may touch: its own topics, and nothing else. */

export interface Fence {
  /** Every topic of the account begins with this; ends in a slash, holds no wildcard. */
  readonly topics: string;
}

/** `$…` topics belong to the broker itself and lie outside of every fence. */
export function mayPublish({ topics }: Fence, topic: string): boolean {
  return topic.startsWith(topics) && topic.length > topics.length && !topic.startsWith('$');
}

/** The prefix is literal, so whatever wildcards follow it stay inside; shared subscriptions begin with `$share/` and so lie outside. */
export function maySubscribe({ topics }: Fence, filter: string): boolean {
  return filter.startsWith(topics) && filter.length > topics.length && !filter.startsWith('$');
}

/** @returns what is wrong with a prefix, or `null`. An empty one would fence nothing. */
export function fenceProblem(topics: string): string | null {
  if (topics === '' || topics === '/') return 'is empty: with the embedded broker every site needs its own beginning of topics, such as harbor-lobby/';
  if (!topics.endsWith('/')) return `"${topics}" must end in a slash, or the site could publish to its neighbour's topics`;
  if (/[#+]/.test(topics) || topics.startsWith('$')) return `"${topics}" must hold no # and no +, and must not begin with $`;
  return null;
}
