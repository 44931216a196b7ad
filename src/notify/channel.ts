/** A way to reach a person. One file per channel; the sender knows only this. */
export interface Channel {
  /** As people and the journal call it: `e-mail`. */
  readonly name: string;
  /**
   * Resolves when somebody else has taken responsibility for the message (for e-mail: the server's 250 after DATA).
   * @throws SendError
   */
  send(message: Message): Promise<void>;
  /** Lets go of connections; sends that hang are given up. */
  close(): Promise<void>;
}

/** A composed message. All strings are plain Unicode; encoding them for the wire is the channel's business. */
export interface Message {
  readonly to: { readonly name: string; readonly email: string };
  readonly subject: string;
  readonly text: string;
  readonly html: string;
  /** The same for every copy of one page, whoever sends it and however often: letters, digits and `-` only. */
  readonly messageId: string;
  /** `messageId` of the first page of the same alarm, which this one continues. */
  readonly inReplyTo: string | null;
  readonly dateMs: number;
  readonly headers: Readonly<Record<string, string>>;
}

/**
 * `message`: this message was refused or deferred; others may pass. `channel`: nothing can pass now (no connection, wrong password),
 * so that trying the next message would only repeat it.
 */
export type SendErrorScope = 'message' | 'channel';

/** A send that failed. Its text goes into the journal and onto screens: it carries no secrets. */
export class SendError extends Error {
  override readonly name = 'SendError';
  /** Trying again cannot help. */
  readonly permanent: boolean;
  readonly scope: SendErrorScope;
  /** Somebody must change a setting first: try again, but slowly (servers lock accounts that hammer a wrong password). */
  readonly slow: boolean;
  constructor(message: string, options: { permanent: boolean; scope: SendErrorScope; slow?: boolean; cause?: unknown }) {
    super(message, { cause: options.cause });
    this.permanent = options.permanent;
    this.scope = options.scope;
    this.slow = options.slow ?? false;
  }
}
