import { afterEach, describe, expect, it } from 'vitest';
import type { ServiceConfig } from '../../src/config/service.ts';
import { type Channel, type Message, SendError } from '../../src/notify/channel.ts';
import { composePage } from '../../src/notify/message.ts';
import type { MailSettings } from '../../src/notify/mail-settings.ts';
import { makeSmtpChannel } from '../../src/notify/smtp.ts';
import { makeCertificate } from './certificate.ts';
import { facts, nowMs, page } from './install.ts';
import { type Mailbox, type MailboxOrders, answer, openMailbox } from './mailbox.ts';

const opened: { close(): Promise<void> }[] = [];
afterEach(async () => {
  for (const one of opened.splice(0).reverse()) await one.close();
});

const message: Message = composePage({ ...facts, threadRoot: { ...page, id: '12-0-zoe' }, person: { ...facts.person, name: 'Zoë Øster, "night"' } });

async function mailbox(orders: MailboxOrders = {}): Promise<Mailbox> {
  const box = await openMailbox(orders);
  opened.push(box);
  return box;
}

function channel(port: number, changes: Partial<MailSettings> = {}, password: string | null = null, ca?: string): Channel {
  // The shape is declared twice, because notify may not look into config: here they must fit.
  const mail: NonNullable<ServiceConfig['mail']> & MailSettings = {
    host: '127.0.0.1', port, security: 'none', user: null, passwordEnv: null, from: 'Tankbell (invented) <alarms@bell.example.invalid>', ...changes,
  };
  const made = makeSmtpChannel(mail, password, ca === undefined ? {} : { ca });
  opened.push(made);
  return made;
}

async function failure(attempt: Promise<void>): Promise<SendError> {
  const error = await attempt.then(() => null, (reason: unknown) => reason);
  if (!(error instanceof SendError)) throw new Error(`expected a SendError, got ${String(error)}`);
  return error;
}

describe('a mail that arrives', () => {
  it('has the headers and parts it was given', async () => {
    const box = await mailbox();
    await channel(box.port).send(message);
    const [mail] = box.mails;
    expect(box.mails).toHaveLength(1);
    expect(mail?.from).toBe('alarms@bell.example.invalid');
    expect(mail?.to).toEqual(['ana@example.invalid']);
    const header = (name: string) => mail?.headers.get(name);
    // RFC 3834: keeps vacation answers and loops away.
    expect(header('auto-submitted')).toBe('auto-generated');
    expect(header('date')).toBe('Tue, 24 Nov 2026 09:10:00 +0000');
    expect(header('message-id')).toBe(`<${message.messageId}@bell.example.invalid>`);
    expect(header('in-reply-to')).toBe(`<${message.inReplyTo}@bell.example.invalid>`);
    expect(header('references')).toBe(`<${message.inReplyTo}@bell.example.invalid>`);
    expect(header('subject')).toBe('URGENT Lobby reef: Heater 1 stuck on, 28.6 °C (Harbor Dental (invented))');
    expect(header('importance')).toBe('high');
    expect(header('x-tankbell-alarm')).toBe('12');
    expect(header('from')).toContain('<alarms@bell.example.invalid>');
    expect(header('to')).toContain('Zoë Øster');
    expect(header('to')).toContain('<ana@example.invalid>');
    expect(mail?.text).toBe(message.text);
    expect(mail?.html.trim()).toBe(message.html);
    expect(mail?.rawHeaders).toMatch(/^[\x20-\x7e\r\n]*$/);
  });

  it('cannot carry injected headers or recipients', async () => {
    const box = await mailbox();
    const evil = 'x\r\nBcc: evil@example.invalid\r\n\r\nbody';
    await channel(box.port).send({ ...message, subject: evil, to: { ...message.to, name: evil }, headers: { 'X-Tankbell-Page': evil } });
    expect(box.mails[0]?.to).toEqual(['ana@example.invalid']);
    expect(box.mails[0]?.headers.has('bcc')).toBe(false);
    for (const email of ['a@example.invalid, evil@example.invalid', 'a@example.invalid\r\nRCPT TO:<evil@example.invalid>', 'Evil <evil@example.invalid>', 'nobody', '']) {
      const error = await failure(channel(box.port).send({ ...message, to: { name: 'A', email } }));
      expect(error).toMatchObject({ permanent: true, scope: 'message' });
      expect(error.message).toContain('no e-mail address');
    }
    expect(box.mails).toHaveLength(1);
  });

  it('shares a connection with the ones before it', async () => {
    const box = await mailbox();
    const through = channel(box.port);
    for (let count = 0; count < 5; count += 1) await through.send({ ...message, messageId: `page-${count}` });
    expect(box.mails).toHaveLength(5);
    expect(box.connections()).toBe(1);
  });
});

describe('what a refusal means', () => {
  it('4yz: the same mail may pass later, on the same channel', async () => {
    const box = await mailbox({ onMail: (count) => (count === 1 ? answer(451, '4.3.0 try again later') : null) });
    const through = channel(box.port);
    const error = await failure(through.send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'message' });
    expect(error.message).toContain('451');
    await through.send(message);
    expect(box.mails).toHaveLength(1);
  });

  it('5yz after DATA or at the recipient: never', async () => {
    const box = await mailbox({ onMail: () => answer(554, '5.6.0 no such thing'), onRecipient: (count) => (count === 1 ? answer(550, '5.1.1 no such mailbox') : null) });
    const through = channel(box.port);
    const atRecipient = await failure(through.send(message));
    expect(atRecipient).toMatchObject({ permanent: true, scope: 'message' });
    expect(atRecipient.message).toContain('no such mailbox');
    expect(await failure(through.send(message))).toMatchObject({ permanent: true, scope: 'message' });
  });

  it('4yz at the recipient (greylisting): later', async () => {
    const box = await mailbox({ onRecipient: (count) => (count === 1 ? answer(450, '4.2.0 greylisted') : null) });
    const through = channel(box.port);
    expect(await failure(through.send(message))).toMatchObject({ permanent: false, scope: 'message' });
    await through.send(message);
    expect(box.mails).toHaveLength(1);
  });

  it('5yz for the sender: a mistake in the settings, so no mail is thrown away for it', async () => {
    const box = await mailbox({ options: { onMailFrom: (_address, _session, done) => done(answer(550, '5.7.1 sender not allowed')) } });
    const error = await failure(channel(box.port).send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'channel', slow: true });
    expect(error.message).toContain('check mail.from');
  });

  it('421: the server is closing, everything waits', async () => {
    const box = await mailbox({ options: { onMailFrom: (_address, _session, done) => done(answer(421, '4.3.2 shutting down')) } });
    expect(await failure(channel(box.port).send(message))).toMatchObject({ permanent: false, scope: 'channel', slow: false });
  });

  it('nobody listening: everything waits', async () => {
    const box = await openMailbox();
    await box.close();
    const error = await failure(channel(box.port).send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'channel', slow: false });
    expect(error.message).toContain(`127.0.0.1:${box.port} cannot be reached (ECONNREFUSED`);
  });

  it('a connection cut in the middle of DATA: the same mail goes again', async () => {
    const box = await mailbox({ cutData: (count) => count === 1 });
    const through = channel(box.port);
    expect(await failure(through.send(message))).toMatchObject({ permanent: false, scope: 'channel', slow: false });
    await through.send(message);
    expect(box.mails.map((mail) => mail.headers.get('message-id'))).toEqual([`<${message.messageId}@bell.example.invalid>`]);
  });

  it('a server that never answers is given up when the channel closes', async () => {
    const box = await mailbox({ options: { onMailFrom: () => {} } });
    const through = channel(box.port);
    const attempt = failure(through.send(message));
    await expect.poll(() => box.connections()).toBe(1);
    await through.close();
    expect(await attempt).toMatchObject({ permanent: false });
  });
});

describe('TLS', () => {
  const { key, cert } = makeCertificate();
  const overTls = { disabledCommands: ['AUTH'], key, cert };

  it('starttls: the mail goes through the upgraded connection', async () => {
    const box = await mailbox({ options: overTls });
    await channel(box.port, { security: 'starttls' }, null, cert).send(message);
    expect(box.mails[0]?.overTls).toBe(true);
  });

  it('starttls: nothing is sent to a server that does not offer it', async () => {
    const box = await mailbox();
    const error = await failure(channel(box.port, { security: 'starttls' }, null, cert).send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'channel', slow: true });
    expect(error.message).toContain('STARTTLS is required');
    expect(box.mails).toHaveLength(0);
  });

  it('a certificate nobody vouches for: nothing is sent', async () => {
    const box = await mailbox({ options: overTls });
    const error = await failure(channel(box.port, { security: 'starttls' }).send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'channel', slow: true });
    expect(error.message).toMatch(/no safe connection .*certificate/);
    expect(box.mails).toHaveLength(0);
  });

  it('tls: from the first byte', async () => {
    const box = await mailbox({ options: { ...overTls, secure: true } });
    await channel(box.port, { security: 'tls' }, null, cert).send(message);
    expect(box.mails[0]?.overTls).toBe(true);
  });

  it('tls: a server in clear on that port is no safe connection', async () => {
    const box = await mailbox();
    const error = await failure(channel(box.port, { security: 'tls' }, null, cert).send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'channel' });
    expect(error.message).toContain('no safe connection');
  });

  it('none: STARTTLS is not tried even where it is offered', async () => {
    const box = await mailbox({ options: overTls });
    await channel(box.port).send(message);
    expect(box.mails[0]?.overTls).toBe(false);
  });
});

describe('login', () => {
  const password = 'correct horse';
  const login: MailboxOrders = {
    options: {
      disabledCommands: ['STARTTLS'],
      onAuth: ({ username, password: given }, _session, done) =>
        username === 'bell' && given === password ? done(null, { user: username }) : done(answer(535, `5.7.8 bad login ${username} ${given} ${Buffer.from(`\0bell\0${given}`).toString('base64')}`)),
    },
  };
  const settings = { user: 'bell', passwordEnv: 'TANKBELL_MAIL_PASSWORD' };

  it('is used when a user is named', async () => {
    const box = await mailbox(login);
    await channel(box.port, settings, password).send(message);
    expect(box.mails[0]?.user).toBe('bell');
  });

  it('refused: tried again slowly, with the setting to correct, and never with the password', async () => {
    const box = await mailbox(login);
    const wrong = 'hunter2-wrong';
    const error = await failure(channel(box.port, settings, wrong).send(message));
    expect(error).toMatchObject({ permanent: false, scope: 'channel', slow: true });
    expect(error.message).toContain('check mail.user and the password in TANKBELL_MAIL_PASSWORD');
    const everything = `${error.message} ${error.stack} ${String(error.cause)} ${JSON.stringify(error)} ${JSON.stringify(error.cause, Object.getOwnPropertyNames(error.cause))}`;
    expect(everything).toContain('[password]');
    expect(everything).not.toContain(wrong);
    expect(everything).not.toContain(Buffer.from(`\0bell\0${wrong}`).toString('base64'));
  });

  it('454: the server cannot check at the moment, no reason to slow down', async () => {
    const box = await mailbox({ options: { disabledCommands: ['STARTTLS'], onAuth: (_auth, _session, done) => done(answer(454, '4.7.0 temporary failure')) } });
    expect(await failure(channel(box.port, settings, password).send(message))).toMatchObject({ permanent: false, scope: 'channel', slow: false });
  });

  it('a named user is never silently left out', async () => {
    const box = await mailbox();
    expect(await failure(channel(box.port, settings, password).send(message))).toMatchObject({ permanent: false, scope: 'channel' });
    expect(box.mails).toHaveLength(0);
  });
});

describe('settings that contradict themselves', () => {
  it('name the key', () => {
    expect(() => channel(25, { from: 'nobody' })).toThrow(/mail\.from is "nobody": write one address/);
    expect(() => channel(25, { from: 'a@example.com, b@example.com' })).toThrow(/mail\.from/);
    expect(() => channel(25, { user: 'bell', passwordEnv: 'TANKBELL_MAIL_PASSWORD' })).toThrow(/TANKBELL_MAIL_PASSWORD/);
  });
});

it('the time of the mail is the time it was given', () => {
  expect(message.dateMs).toBe(nowMs);
});
