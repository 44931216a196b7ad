/** Passwords: files hold only the names of environment variables, and the service says which of them are not set. */
import type { Mistake } from './mistake.ts';
import { type Path, showPath, type YamlDocument } from './yaml-document.ts';

/** A token that could be guessed is none. */
const MIN_TOKEN_CHARS = 16;

/** A named environment variable; `mistake` is what to say when it is not set. */
export interface NamedSecret {
  readonly variable: string;
  /** What is set but shorter is no secret either. */
  readonly minChars: number;
  readonly tooShort: Mistake;
  readonly mistake: Mistake;
}

export type Environment = Readonly<Record<string, string | undefined>>;

/** What to say about variables that are not set, empty, or too short. `check` warns; `serve` refuses to start, and to take such a fleet while it runs. */
export function missingSecrets(secrets: readonly NamedSecret[], env: Environment): readonly Mistake[] {
  return secrets.flatMap(({ variable, minChars, mistake, tooShort }) => {
    const value = env[variable] ?? '';
    return value === '' ? [mistake] : value.length < minChars ? [tooShort] : [];
  });
}

/** @param whose `the broker account "harbor-lobby"` */
export function namedSecret(document: YamlDocument, path: Path, variable: string, whose: string, what: 'password' | 'token' = 'password'): NamedSecret {
  const place = { file: document.file, ...document.placeOf(path), path: showPath(path) };
  // How long a password is, the other side decides.
  const minChars = what === 'token' ? MIN_TOKEN_CHARS : 1;
  return {
    variable,
    minChars,
    tooShort: {
      ...place,
      message: `the environment variable ${variable}, the ${what} of ${whose}, is shorter than ${minChars} characters`,
      fix: `set it to at least ${minChars} random characters where the service is started, and in the devices that use it`,
    },
    mistake: {
      ...place,
      message: `the environment variable ${variable} is not set, so ${whose} has no ${what}`,
      fix: `set ${variable} where the service is started (in its unit file, or an environment file that only it can read)`,
    },
  };
}
