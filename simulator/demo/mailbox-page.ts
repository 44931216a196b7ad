/** The page that shows the demo mailbox. Plain HTML, on 127.0.0.1 only. */
import { createServer } from 'node:http';
import type { DemoMail, DemoMailbox } from './mailbox.ts';

export async function startMailboxPage(mailbox: DemoMailbox, port: number, appUrl: string): Promise<{ url: string; stop(): Promise<void> }> {
  const server = createServer((request, response) => {
    const id = new URL(request.url ?? '/', 'http://demo').searchParams.get('mail');
    const mail = id === null ? undefined : mailbox.mails.find((one) => one.id === id);
    response.writeHead(id !== null && mail === undefined ? 404 : 200, {
      'content-type': 'text/html; charset=utf-8', 'cache-control': 'no-store', 'content-security-policy': "default-src 'none'; style-src 'unsafe-inline'",
    });
    response.end(page(mail === undefined ? list(mailbox.mails) : one(mail), mail === undefined, appUrl));
  });
  await new Promise<void>((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, '127.0.0.1', resolve);
  });
  const address = server.address();
  const listening = typeof address === 'object' && address !== null ? address.port : port;
  return {
    url: `http://127.0.0.1:${listening}`,
    stop: () => new Promise((resolve) => {
      server.close(() => resolve());
      server.closeAllConnections();
    }),
  };
}

const escape = (text: string): string => text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');
const when = (atMs: number): string => `${new Date(atMs).toISOString().slice(0, 16).replace('T', ' ')} UTC`;

function list(mails: readonly DemoMail[]): string {
  if (mails.length === 0) return '<p>No mail yet. The first page comes within two minutes.</p>';
  return `<ol>${mails.map((mail) => `<li><a href="/?mail=${encodeURIComponent(mail.id)}"><b>${escape(mail.subject)}</b><span>to ${escape(mail.to)} · ${when(mail.atMs)}</span></a></li>`).join('')}</ol>`;
}

function one(mail: DemoMail): string {
  const text = escape(mail.text).replaceAll(/https?:\/\/[^\s<&]+/g, (url) => `<a href="${url}">${url}</a>`);
  return `<p><a href="/">All mails</a></p><h2>${escape(mail.subject)}</h2><p>to ${escape(mail.to)} · ${when(mail.atMs)}</p><pre>${text}</pre>`;
}

function page(body: string, refresh: boolean, appUrl: string): string {
  return `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">${refresh ? '<meta http-equiv="refresh" content="5">' : ''}
<title>Demo mailbox</title><style>
:root { color-scheme: light dark } body { font: 16px/1.5 system-ui, sans-serif; max-width: 46rem; margin: 0 auto; padding: 1rem }
ol { list-style: none; padding: 0 } li { border-top: 1px solid #8886 } li a { display: block; padding: .6rem 0; color: inherit; text-decoration: none }
li a:hover b, li a:focus b { text-decoration: underline } span { display: block; opacity: .75; font-size: .875rem } pre { white-space: pre-wrap; overflow-wrap: anywhere; font: inherit }
</style></head><body><h1>Demo mailbox</h1><p>Every tank, person and mail here is invented. Nothing leaves this machine. <a href="${escape(appUrl)}">To Tankbell</a></p>${body}</body></html>`;
}
