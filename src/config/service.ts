import type { MailSettings } from '../notify/mail-settings.ts';

/** Settings of the service itself: the second, small file. Secrets never stand in it, only the names of environment variables. */
export interface ServiceConfig {
  /** Folder of the database; made when missing. Absolute. */
  readonly dataDir: string;
  /** The fleet file. Absolute. */
  readonly fleetFile: string;
  readonly web: {
    readonly host: string;
    readonly port: number;
    /** Address under which people reach the web page; links in messages begin with it. No trailing slash. */
    readonly publicUrl: string;
  };
  readonly mqtt:
    | { readonly broker: 'embedded'; readonly host: string; readonly port: number; readonly tls: { readonly certFile: string; readonly keyFile: string } | null }
    | { readonly broker: 'external'; readonly url: string; readonly clientId: string; readonly user: string | null; readonly passwordEnv: string | null; readonly caFile: string | null; readonly protocolVersion: 4 | 5 };
  /** `null`: no mail is sent, pages wait in the outbox, and every page of the web says so. */
  readonly mail: MailSettings | null;
  /** A line shown on top of every page and in every message. */
  readonly notice: string | null;
}
