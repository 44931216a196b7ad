/** Where the demo's e-mails land: a folder of JSON files, fed by a real SMTP server on this machine only. Nothing leaves it. */
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { SMTPServer } from 'smtp-server';

export interface DemoMail {
  readonly id: string;
  readonly atMs: number;
  readonly to: string;
  readonly subject: string;
  readonly text: string;
}

/** Kept at most; older ones are forgotten by the page, not by the journal. */
const shown = 300;

export class DemoMailbox {
  readonly #folder: string;
  #mails: DemoMail[];

  constructor(folder: string) {
    this.#folder = folder;
    mkdirSync(folder, { recursive: true });
    const files = readdirSync(folder).filter((name) => name.endsWith('.json'));
    this.#mails = files.map((name): DemoMail => JSON.parse(readFileSync(join(folder, name), 'utf8'))).sort((a, b) => b.atMs - a.atMs).slice(0, shown);
  }

  /** Newest first. */
  get mails(): readonly DemoMail[] {
    return this.#mails;
  }

  add(mail: DemoMail): void {
    // The same message sent twice (around a crash) is one message.
    if (this.#mails.some(({ id }) => id === mail.id)) return;
    writeFileSync(join(this.#folder, `${mail.id.replaceAll(/[^\w.-]/g, '_')}.json`), JSON.stringify(mail));
    this.#mails = [mail, ...this.#mails].sort((a, b) => b.atMs - a.atMs).slice(0, shown);
  }
}

/** An SMTP server on 127.0.0.1 that puts what it gets into the mailbox. */
export async function startMailServer(mailbox: DemoMailbox, now: () => number): Promise<{ port: number; stop(): Promise<void> }> {
  const server = new SMTPServer({
    disabledCommands: ['AUTH', 'STARTTLS'],
    disableReverseLookup: true,
    logger: false,
    onData(stream, session, done) {
      const chunks: Buffer[] = [];
      stream.on('data', (chunk: Buffer) => chunks.push(chunk));
      stream.on('end', () => {
        const raw = Buffer.concat(chunks).toString('utf8');
        const to = session.envelope.rcptTo.map(({ address }) => address).join(', ');
        mailbox.add({ id: headerOf(raw, 'message-id') ?? `unnamed-${now()}`, atMs: now(), to, subject: headerOf(raw, 'subject') ?? '(no subject)', text: plainText(raw) });
        done();
      });
    },
  });
  const port = await new Promise<number>((resolve, reject) => {
    const listener = server.listen(0, '127.0.0.1', () => {
      const address = listener.address();
      if (typeof address === 'object' && address !== null) resolve(address.port);
      else reject(new Error('the demo mail server has no port'));
    });
    server.on('error', reject);
  });
  return { port, stop: () => new Promise((resolve) => server.close(() => resolve())) };
}

function headerOf(raw: string, name: string): string | null {
  const head = raw.slice(0, raw.indexOf('\r\n\r\n')).replaceAll(/\r\n[ \t]+/g, ' ');
  const line = head.split('\r\n').find((one) => one.toLowerCase().startsWith(`${name}:`));
  return line === undefined ? null : decodeWords(line.slice(name.length + 1).trim());
}

/** Encoded words of RFC 2047, UTF-8 only: what our own sender writes. */
function decodeWords(text: string): string {
  return text.replaceAll(/\?=\s+=\?/g, '?==?').replaceAll(/=\?utf-8\?([qb])\?([^?]*)\?=/gi, (_all, how: string, word: string) =>
    how.toLowerCase() === 'b' ? Buffer.from(word, 'base64').toString('utf8') : decodeQuoted(word.replaceAll('_', ' ')));
}

function plainText(raw: string): string {
  const boundary = /boundary="?([^"\r\n;]+)/i.exec(raw)?.[1];
  const parts = boundary === undefined ? [raw] : raw.split(`--${boundary}`);
  const part = parts.find((one) => /content-type:\s*text\/plain/i.test(one.slice(0, 400))) ?? raw;
  const split = part.indexOf('\r\n\r\n');
  const head = part.slice(0, split);
  const body = part.slice(split + 4);
  if (/content-transfer-encoding:\s*quoted-printable/i.test(head)) return decodeQuoted(body.replaceAll(/=\r\n/g, ''));
  return /content-transfer-encoding:\s*base64/i.test(head) ? Buffer.from(body, 'base64').toString('utf8') : body;
}

function decodeQuoted(text: string): string {
  const bytes = text.replaceAll(/=([0-9A-F]{2})/gi, (_all, hex: string) => String.fromCharCode(Number.parseInt(hex, 16)));
  return Buffer.from(bytes, 'latin1').toString('utf8');
}
