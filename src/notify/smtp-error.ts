/**
 * What a failed SMTP send means. RFC 5321 §4.2.1: 4yz may pass later, 5yz will not. One thing bends that: refusals before the
 * recipient is named (greeting, TLS, login, sender address) are mistakes in the settings that hit every page and that
 * somebody will repair, so no page is thrown away for them: they wait, and are tried slowly.
 */
import { SendError } from './channel.ts';
import type { MailSettings } from './mail-settings.ts';

export function sendErrorOf(error: unknown, mail: MailSettings, password: string | null): SendError {
  const facts = factsOf(error);
  const clean = (text: string): string => withoutSecrets(text, mail.user, password);
  const server = `mail server ${mail.host}:${mail.port}`;
  const cause = new Error(clean(error instanceof Error ? error.message : String(error)));
  const answer = clean((facts.response ?? cause.message).replace(/\s+/g, ' ').trim()).slice(0, MAX_ANSWER_CHARS);
  const { code, command, responseCode } = facts;

  if (code === 'EAUTH' || code === 'ENOAUTH' || responseCode === 530 || responseCode === 535) {
    // 454 4.7.0 is "temporary authentication failure" (RFC 4954 §4.7.1): the server's trouble, not the operator's.
    const theirs = responseCode !== undefined && responseCode < 500;
    const remedy = theirs ? '' : `: check mail.user and the password in ${mail.passwordEnv ?? 'mail.passwordEnv'}`;
    return new SendError(`${server} does not accept the login (${answer})${remedy}`, { permanent: false, scope: 'channel', slow: !theirs, cause });
  }
  if (code === 'ETLS' || (code === 'ESOCKET' && isCertificateProblem(facts.originalCode ?? cause.message))) {
    return new SendError(
      `${server} gave no safe connection (${mail.security === 'starttls' ? 'STARTTLS is required' : 'TLS'}; ${answer}): nothing was sent; check mail.security, mail.port and its certificate`,
      { permanent: false, scope: 'channel', slow: true, cause },
    );
  }
  if (responseCode === 421) return new SendError(`${server} is closing its service for now (${answer})`, { permanent: false, scope: 'channel', cause });
  if (responseCode !== undefined) {
    const recipientWasNamed = command === 'RCPT TO' || command === 'DATA' || code === 'EMESSAGE';
    if (!recipientWasNamed && responseCode >= 500) {
      return new SendError(`${server} refuses this sender (${answer}): check mail.from and mail.user`, { permanent: false, scope: 'channel', slow: true, cause });
    }
    // 503 (bad sequence) speaks of the session, not of the message: a new connection can carry it.
    const permanent = responseCode >= 500 && responseCode !== 503;
    return new SendError(`${server} ${permanent ? 'refuses this mail' : 'puts this mail off'} (${answer})`, { permanent, scope: 'message', cause });
  }
  if (code === 'EENVELOPE' || code === 'EMESSAGE') {
    return new SendError(`this mail cannot be sent (${answer})`, { permanent: true, scope: 'message', cause });
  }
  return new SendError(`${server} cannot be reached (${facts.originalCode ?? code ?? 'no code'}: ${answer})`, { permanent: false, scope: 'channel', cause });
}

const MAX_ANSWER_CHARS = 300;

interface SmtpFacts {
  readonly code: string | undefined;
  readonly originalCode: string | undefined;
  readonly command: string | undefined;
  readonly response: string | undefined;
  readonly responseCode: number | undefined;
}

function factsOf(error: unknown): SmtpFacts {
  const of = (key: string): unknown => (typeof error === 'object' && error !== null ? Reflect.get(error, key) : undefined);
  const text = (key: string): string | undefined => {
    const value = of(key);
    return typeof value === 'string' && value !== '' ? value : undefined;
  };
  const responseCode = of('responseCode');
  return {
    code: text('code'),
    originalCode: text('originalCode'),
    command: text('command'),
    response: text('response'),
    responseCode: typeof responseCode === 'number' ? responseCode : undefined,
  };
}

function isCertificateProblem(text: string): boolean {
  return /cert|self.signed|altname|ssl|tls|EPROTO|wrong version/i.test(text);
}

/** Servers may echo what they were sent: the password in clear or in the base64 forms of AUTH LOGIN and AUTH PLAIN. */
function withoutSecrets(text: string, user: string | null, password: string | null): string {
  if (password === null || password === '') return text;
  const base64 = (plain: string): string => Buffer.from(plain, 'utf8').toString('base64');
  const secrets = [base64(`\0${user ?? ''}\0${password}`), base64(password), password];
  return secrets.reduce((rest, secret) => rest.replaceAll(secret, '[password]'), text);
}
