/** A real SMTP server on 127.0.0.1 that keeps what it is given, and misbehaves on order. */
import { SMTPServer, type SMTPServerOptions } from 'smtp-server';
import { type MailParts, takeApart } from './mail-parts.ts';

export interface Mailbox {
  readonly port: number;
  readonly mails: readonly ReceivedMail[];
  /** Connections made so far. */
  readonly connections: () => number;
  close(): Promise<void>;
}

export interface ReceivedMail extends MailParts {
  readonly from: string;
  readonly to: readonly string[];
  readonly overTls: boolean;
  readonly user: string | null;
}

export interface MailboxOrders {
  readonly options?: SMTPServerOptions;
  readonly port?: number;
  /** Called per mail once its end has arrived; what it throws or returns with a `responseCode` is the answer. */
  readonly onMail?: (count: number) => Error | null;
  readonly onRecipient?: (count: number, address: string) => Error | null;
  /** Cuts the connection in the middle of the DATA of these mails (1, 2, …). */
  readonly cutData?: (count: number) => boolean;
}

export function answer(responseCode: number, text: string): Error {
  return Object.assign(new Error(text), { responseCode });
}

export async function openMailbox(orders: MailboxOrders = {}): Promise<Mailbox> {
  const mails: ReceivedMail[] = [];
  let connections = 0;
  let recipients = 0;
  let datas = 0;
  const server = new SMTPServer({
    disabledCommands: ['AUTH', 'STARTTLS'],
    disableReverseLookup: true,
    closeTimeout: 200,
    logger: false,
    onConnect(_session, done) {
      connections += 1;
      done();
    },
    onRcptTo(address, _session, done) {
      recipients += 1;
      const refusal = orders.onRecipient?.(recipients, address.address) ?? null;
      done(refusal);
    },
    onData(stream, session, done) {
      datas += 1;
      const count = datas;
      const chunks: Buffer[] = [];
      stream.on('data', (chunk: Buffer) => {
        chunks.push(chunk);
        if (orders.cutData?.(count) !== true) return;
        // Between two chunks of the message: no reply, no goodbye.
        for (const connection of server.connections) if (connection.id === session.id) Reflect.get(connection, '_socket').destroy();
      });
      stream.on('end', () => {
        const refusal = orders.onMail?.(count) ?? null;
        if (refusal !== null) return done(refusal);
        const { envelope, secure, user } = session;
        mails.push({
          ...takeApart(Buffer.concat(chunks).toString('latin1')),
          from: envelope.mailFrom === false ? '' : envelope.mailFrom.address,
          to: envelope.rcptTo.map(({ address }) => address),
          overTls: secure,
          user: user === undefined ? null : String(user),
        });
        done();
      });
    },
    ...orders.options,
  });
  // Connections cut on purpose end in errors here, too.
  server.on('error', () => {});
  const port = await new Promise<number>((resolve, reject) => {
    const listener = server.listen(orders.port ?? 0, '127.0.0.1', () => {
      const address = listener.address();
      if (address === null || typeof address === 'string') reject(new Error('no port'));
      else resolve(address.port);
    });
    listener.on('error', reject);
  });
  return { port, mails, connections: () => connections, close: () => new Promise((resolve) => server.close(() => resolve())) };
}
