/** Passwords: files hold only the names of environment variables, and the service says which of them are not set. */
import type { Mistake } from './mistake.ts';
import { type Path, showPath, type YamlDocument } from './yaml-document.ts';

/** A named environment variable; `mistake` is what to say when it is not set. */
export interface NamedSecret {
  readonly variable: string;
  readonly mistake: Mistake;
}

export type Environment = Readonly<Record<string, string | undefined>>;

/** What to say about variables that are not set, or empty. `check` warns; `serve` refuses to start. */
export function missingSecrets(secrets: readonly NamedSecret[], env: Environment): readonly Mistake[] {
  return secrets.filter(({ variable }) => (env[variable] ?? '') === '').map(({ mistake }) => mistake);
}

/** @param whose `the broker account "harbor-lobby"` */
export function namedSecret(document: YamlDocument, path: Path, variable: string, whose: string, what: 'password' | 'token' = 'password'): NamedSecret {
  return {
    variable,
    mistake: {
      file: document.file,
      ...document.placeOf(path),
      path: showPath(path),
      message: `the environment variable ${variable} is not set, so ${whose} has no ${what}`,
      fix: `set ${variable} where the service is started (in its unit file, or an environment file that only it can read)`,
    },
  };
}
