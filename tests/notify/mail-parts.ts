/** Takes a mail as it came over the wire apart again: written from RFC 5322, 2045, 2046 and 2047, so that it owes nothing to what sent it. */
export interface MailParts {
  /** Unfolded and decoded, names in lower case. */
  readonly headers: ReadonlyMap<string, string>;
  readonly rawHeaders: string;
  readonly text: string;
  readonly html: string;
}

export function takeApart(raw: string): MailParts {
  const { headers, rawHeaders, body } = split(raw);
  const boundary = /boundary="?([^";]+)"?/i.exec(headers.get('content-type') ?? '')?.[1];
  if (boundary === undefined) throw new Error(`no multipart mail: ${headers.get('content-type')}`);
  const parts = body.split(`--${boundary}`).slice(1, -1).map((part) => split(part.replace(/^\r\n/, '').replace(/\r\n$/, '')));
  const of = (type: string): string => {
    const found = parts.filter((part) => part.headers.get('content-type')?.startsWith(type));
    const [part] = found;
    if (part === undefined || found.length !== 1) throw new Error(`${found.length} parts of ${type}`);
    if (!/charset=utf-8/i.test(part.headers.get('content-type') ?? '')) throw new Error(`${type} is not declared UTF-8`);
    return decodeBody(part.body, part.headers.get('content-transfer-encoding') ?? '7bit');
  };
  return { headers, rawHeaders, text: of('text/plain'), html: of('text/html') };
}

function split(raw: string): { headers: ReadonlyMap<string, string>; rawHeaders: string; body: string } {
  const end = raw.indexOf('\r\n\r\n');
  const rawHeaders = raw.slice(0, end);
  const headers = new Map<string, string>();
  for (const line of rawHeaders.replace(/\r\n[ \t]+/g, ' ').split('\r\n')) {
    const colon = line.indexOf(':');
    const name = line.slice(0, colon).toLowerCase();
    if (headers.has(name)) throw new Error(`header ${name} stands twice`);
    headers.set(name, decodeWords(line.slice(colon + 1).trim()));
  }
  return { headers, rawHeaders, body: raw.slice(end + 4) };
}

function decodeWords(text: string): string {
  return text
    .replace(/\?=\s+=\?/g, '?==?')
    .replace(/((?:=\?utf-8\?[qb]\?[^?]*\?=)+)/gi, (words) => {
      const bytes = [...words.matchAll(/=\?utf-8\?([qb])\?([^?]*)\?=/gi)].map(([, encoding, content = '']) =>
        encoding?.toLowerCase() === 'b' ? Buffer.from(content, 'base64') : quotedBytes(content.replaceAll('_', ' ')));
      return Buffer.concat(bytes).toString('utf8');
    });
}

function decodeBody(body: string, encoding: string): string {
  const bytes = encoding === 'base64' ? Buffer.from(body, 'base64') : encoding === 'quoted-printable' ? quotedBytes(body.replace(/=\r\n/g, '')) : Buffer.from(body, 'utf8');
  return new TextDecoder('utf-8', { fatal: true }).decode(bytes).replaceAll('\r\n', '\n');
}

function quotedBytes(text: string): Buffer {
  return Buffer.from(text.replace(/=([0-9A-F]{2})/gi, (_, hex: string) => String.fromCharCode(Number.parseInt(hex, 16))), 'latin1');
}
