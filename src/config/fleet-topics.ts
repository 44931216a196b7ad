/** Topics: every site keeps to its own, and no message means two things. */
import type { FleetReadingState } from './fleet-reading.ts';
import type { Path } from './yaml-document.ts';

export interface SiteTopics {
  readonly siteId: string;
  /** What its topics begin with; `null` when the file gives none that can be used. */
  readonly prefix: string | null;
  /** Group of its Sparkplug gateways; `null`: it names none. */
  readonly group: string | null;
  readonly sitePath: Path;
  readonly user: string | null;
}

export interface ClaimedSource {
  readonly topic: string;
  readonly format: string;
  readonly options: unknown;
  readonly pointPath: Path;
  readonly site: SiteTopics;
}

/** Notes a topic outside of the site's own. */
export function checkFence(state: FleetReadingState, source: ClaimedSource, topicPath: Path): void {
  const { prefix, group, siteId } = source.site;
  if (prefix === null || source.topic.startsWith(prefix) || (group !== null && source.topic.startsWith(`spBv1.0/${group}/`))) return;
  const [namespace, written] = source.topic.split('/');
  if (namespace === 'spBv1.0' && written !== undefined && written !== '') {
    const problem = group === null ? `site "${siteId}" names no Sparkplug group, and "${source.topic}" is of group "${written}"` : `"${source.topic}" is of Sparkplug group "${written}", and that of site "${siteId}" is "${group}"`;
    state.findings.at(topicPath, problem, `add "sparkplugGroup: ${written}" to the site, or put the gateway into the site's group`);
    return;
  }
  const last = source.topic.split('/').filter((part) => part !== '' && `${part}/` !== prefix);
  state.findings.at(
    topicPath,
    `"${source.topic}" lies outside of the topics of site "${siteId}", which begin with "${prefix}"`,
    `write "${prefix}${last.join('/')}" and let the sensor publish there, or change "topics" of the site`,
  );
}

/** Notes two points that read the same value of the same topic, and one topic read in two formats. */
export function checkShared(state: FleetReadingState, sources: readonly ClaimedSource[]): void {
  const byTopic = new Map<string, ClaimedSource[]>();
  for (const source of sources) {
    const earlier = byTopic.get(source.topic) ?? [];
    const lineOf = (other: ClaimedSource): number => state.document.placeOf(other.pointPath).line;
    const otherFormat = earlier.find((other) => other.format !== source.format);
    const same = earlier.find((other) => other.format === source.format && whatItReads(other.options) === whatItReads(source.options));
    if (otherFormat !== undefined) {
      state.findings.at([...source.pointPath, 'source', 'format'], `topic "${source.topic}" is read as "${otherFormat.format}" on line ${lineOf(otherFormat)} and as "${source.format}" here`, `write "format: ${otherFormat.format}" in both, or give each its own topic`);
    } else if (same !== undefined) {
      state.findings.at([...source.pointPath, 'source'], `this reads the same value of topic "${source.topic}" as the point on line ${lineOf(same)}`, `remove one of the two, or let them read different ${whatDiffers(source.options)}`);
    }
    byTopic.set(source.topic, [...earlier, source]);
  }
}

/** Notes sites whose broker accounts could publish for each other, and sites that share an account. */
export function checkSites(state: FleetReadingState, sites: readonly SiteTopics[], sources: readonly ClaimedSource[]): void {
  if (state.broker !== 'embedded') return;
  sites.forEach((site, index) => {
    const usesTopics = sources.some((source) => source.site === site);
    if (site.prefix === '') {
      state.findings.at([...site.sitePath, 'topics'], `site "${site.siteId}" claims every topic, and the built-in broker fences each site to its own`, `write "topics: ${site.siteId}/"`);
    }
    if (site.user === null && usesTopics && !hasKey(blockAt(state, site.sitePath), 'account')) {
      state.findings.at(site.sitePath, `site "${site.siteId}" has sources, and no account for the built-in broker`, `add "account: { user: ${site.siteId}, passwordEnv: TANKBELL_${site.siteId.toUpperCase().replaceAll('-', '_')} }" and set that environment variable`);
    }
    for (const earlier of sites.slice(0, index)) {
      const line = state.document.placeOf(earlier.sitePath).line;
      if (site.group !== null && site.group === earlier.group) {
        state.findings.at([...site.sitePath, 'sparkplugGroup'], `the Sparkplug group "${site.group}" belongs to site "${earlier.siteId}" (line ${line}) already: one account could publish for the other site`, 'give the gateways of each site a group of their own');
      }
      if (site.user !== null && site.user === earlier.user) {
        state.findings.at([...site.sitePath, 'account', 'user'], `the broker account "${site.user}" belongs to site "${earlier.siteId}" (line ${line}) already`, `write one account for each site, like "user: ${site.siteId}"`);
      }
      if (site.prefix !== null && earlier.prefix !== null && site.prefix !== '' && earlier.prefix !== '' && (site.prefix.startsWith(earlier.prefix) || earlier.prefix.startsWith(site.prefix))) {
        state.findings.at([...site.sitePath, 'topics'], `the topics of site "${site.siteId}" ("${site.prefix}") and of site "${earlier.siteId}" ("${earlier.prefix}", line ${line}) overlap: one account could publish for the other site`, `write beginnings of which none contains the other, like "topics: ${site.siteId}/"`);
      }
    }
  });
}

/** What of the message a point reads: its options without those about time and unit, which points may share. */
function whatItReads(options: unknown): string {
  if (typeof options !== 'object' || options === null) return JSON.stringify(options ?? null);
  // Beside "value" a unit says where the unit stands; beside a name it chooses between values of that name.
  const shared = hasKey(options, 'value') ? /^(time|unit)/ : /^time/;
  return JSON.stringify(Object.entries(options).filter(([key]) => !shared.test(key)).sort(([a], [b]) => a.localeCompare(b)));
}

function whatDiffers(options: unknown): string {
  if (hasKey(options, 'value')) return 'values ("value: /…")';
  if (hasKey(options, 'name')) return 'values ("name: …", and "unit: …" where one name carries several)';
  return hasKey(options, 'metric') ? 'metrics ("metric: …")' : 'topics';
}

const hasKey = (value: unknown, key: string): boolean => typeof value === 'object' && value !== null && Object.hasOwn(value, key);

function blockAt(state: FleetReadingState, path: Path): unknown {
  let current: unknown = state.document.value;
  for (const step of path) {
    if (typeof current !== 'object' || current === null) return undefined;
    current = (current as Readonly<Record<string | number, unknown>>)[step];
  }
  return current;
}
