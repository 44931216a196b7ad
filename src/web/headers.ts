/** Headers of every answer: no inline script, no other host, no framing, no copy in shared caches. */
export const securityHeaders: Readonly<Record<string, string>> = {
  'content-security-policy':
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
  'x-content-type-options': 'nosniff',
  'x-frame-options': 'DENY',
  'referrer-policy': 'same-origin',
  'cross-origin-opener-policy': 'same-origin',
  'permissions-policy': 'camera=(), microphone=(), geolocation=()',
  'cache-control': 'no-store',
};

/** For pages whose address is itself a permission: it must not leave through a link or a search engine. */
export const secretAddressHeaders: Readonly<Record<string, string>> = {
  'referrer-policy': 'no-referrer',
  'x-robots-tag': 'noindex, nofollow',
};
