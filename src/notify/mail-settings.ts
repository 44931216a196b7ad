/** The shape of `mail` in the service settings. */
export interface MailSettings {
  readonly host: string;
  readonly port: number;
  /** `tls`: from the first byte. `starttls`: required, never merely tried. `none`: in clear, for a relay on the same machine. */
  readonly security: 'tls' | 'starttls' | 'none';
  readonly user: string | null;
  /** Name of the environment variable of the password, for messages. */
  readonly passwordEnv: string | null;
  /** `alarms@example.com` or `Tankbell <alarms@example.com>`. Somebody should read what is answered to it. */
  readonly from: string;
}
