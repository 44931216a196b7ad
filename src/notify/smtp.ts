/**
 * E-mail over SMTP (nodemailer). One pool of kept-open connections; retrying is the outbox's business, so that a crash
 * forgets nothing, and the pool's own requeue covers only a kept connection that the server closed before a byte was sent.
 */
import { createTransport } from 'nodemailer';
import addressparser from 'nodemailer/lib/addressparser';
import { MINUTE, SECOND } from '../domain/duration.ts';
import { type Channel, type Message, SendError } from './channel.ts';
import type { MailSettings } from './mail-settings.ts';
import { sendErrorOf } from './smtp-error.ts';

const MAIL_CONNECTIONS = 4;

/**
 * Connects to nothing until the first send.
 * @param password `null` when the server wants none.
 * @param options.ca certificate authority (PEM) to trust instead of the machine's own list.
 * @throws Error when the settings contradict themselves, naming the key.
 */
export function makeSmtpChannel(mail: MailSettings, password: string | null, options: { readonly ca?: string } = {}): Channel {
  const from = senderOf(mail);
  if (mail.user !== null && (password === null || password === '')) {
    throw new Error(`mail.user is "${mail.user}" but there is no password: set the environment variable ${mail.passwordEnv ?? 'named by mail.passwordEnv'}`);
  }
  const transport = createTransport({
    pool: true,
    maxConnections: MAIL_CONNECTIONS,
    // The default of 100 would reconnect, with greeting and login, in the middle of a busy night.
    maxMessages: Number.POSITIVE_INFINITY,
    maxRequeues: 1,
    idleTimeout: MINUTE,
    host: mail.host,
    port: mail.port,
    secure: mail.security === 'tls',
    requireTLS: mail.security === 'starttls',
    ignoreTLS: mail.security === 'none',
    // A named user that is silently not used would be refused later, at the recipient, as if the address were wrong.
    ...(mail.user === null ? {} : { auth: { user: mail.user, pass: password ?? '' }, forceAuth: true }),
    ...(options.ca === undefined ? {} : { tls: { ca: options.ca } }),
    dnsTimeout: 15 * SECOND,
    connectionTimeout: 15 * SECOND,
    greetingTimeout: 15 * SECOND,
    socketTimeout: 45 * SECOND,
    logger: false,
    disableFileAccess: true,
    disableUrlAccess: true,
  });
  return {
    name: 'e-mail',
    async send(message) {
      const to = recipientOf(message);
      try {
        await transport.sendMail({
          from,
          to,
          subject: message.subject,
          text: message.text,
          html: message.html,
          date: new Date(message.dateMs),
          messageId: `<${message.messageId}@${from.domain}>`,
          ...(message.inReplyTo === null
            ? {}
            : { inReplyTo: `<${message.inReplyTo}@${from.domain}>`, references: [`<${message.inReplyTo}@${from.domain}>`] }),
          headers: {
            ...message.headers,
            // RFC 3834: no vacation notice comes back, and no loop starts.
            'Auto-Submitted': 'auto-generated',
          },
        });
      } catch (error) {
        throw sendErrorOf(error, mail, password);
      }
    },
    async close() {
      transport.close({ force: true });
    },
  };
}

function senderOf(mail: MailSettings): { name: string; address: string; domain: string } {
  const [first, ...more] = addressparser(mail.from, { flatten: true });
  const domain = first?.address.split('@')[1];
  if (first === undefined || more.length > 0 || domain === undefined || domain === '') {
    throw new Error(`mail.from is "${mail.from}": write one address, e.g. alarms@example.com or Tankbell <alarms@example.com>`);
  }
  return { name: first.name, address: first.address, domain };
}

function recipientOf(message: Message): { name: string; address: string } {
  const { name, email } = message.to;
  // One address and nothing else: a list, a comment or a line break here would send the page somewhere unintended.
  if (!/^[^\s<>(),;:"\\\p{Cc}@]+@[^\s<>(),;:"\\\p{Cc}@]+$/u.test(email)) {
    throw new SendError(`"${email.replace(/\p{Cc}/gu, ' ')}" is no e-mail address: correct it in the fleet file`, { permanent: true, scope: 'message' });
  }
  return { name: name.replace(/\p{Cc}+/gu, ' '), address: email };
}
