/**
 * Does a request that changes something come from our own pages? Browsers say so in `Sec-Fetch-Site` (over https and on localhost)
 * and in `Origin` (everywhere, for POST). Programs send neither: they hold no cookie that somebody else's page could ride on.
 */
export interface OriginFacts {
  readonly secFetchSite: string | undefined;
  readonly origin: string | undefined;
  readonly host: string | undefined;
  readonly publicUrl: string;
  /**
   * Accept `Origin: null`: what browsers send from a page that hides its address. Only for pages whose address is the permission itself,
   * where no cookie is used.
   */
  readonly nullOriginAllowed: boolean;
}

/** `null` when it does, else the reason in words. */
export function foreignOrigin(facts: OriginFacts): string | null {
  const { secFetchSite, origin, host } = facts;
  if (secFetchSite !== undefined && secFetchSite !== 'same-origin' && secFetchSite !== 'none') return `it was sent from another site (Sec-Fetch-Site: ${secFetchSite.slice(0, 20)})`;
  if (origin === undefined) return null;
  if (origin === 'null') return facts.nullOriginAllowed || secFetchSite === 'same-origin' ? null : 'it was sent from a page without an origin';
  if (origin === originOf(facts.publicUrl)) return null;
  if (host !== undefined && hostOf(origin) === host.toLowerCase()) return null;
  return `it was sent from ${origin.slice(0, 100)}`;
}

function originOf(url: string): string | null {
  return URL.canParse(url) ? new URL(url).origin : null;
}

function hostOf(url: string): string | null {
  return URL.canParse(url) ? new URL(url).host : null;
}
