/** @jsxRuntime automatic @jsxImportSource preact */
import { type Viewer, page } from '../layout.tsx';
import { words } from '../words.ts';

export interface LoginFacts {
  readonly viewer: Viewer;
  readonly name: string;
  /** Where to go afterwards; a path of our own. */
  readonly next: string;
  readonly problem: string | null;
}

export function loginPage({ viewer, name, next, problem }: LoginFacts): string {
  return page({
    viewer,
    title: words.login.title,
    children: (
      <section class="narrow">
        <h1>{words.login.title}</h1>
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        <form method="post" action="/login" class="stack">
          <input type="hidden" name="next" value={next} />
          <label>{words.login.name}<input name="name" value={name} autocomplete="username" autocapitalize="none" spellcheck={false} required maxLength={100} autofocus={name === ''} /></label>
          <label>{words.login.password}<input name="password" type="password" autocomplete="current-password" required maxLength={200} /></label>
          <button class="main">{words.login.button}</button>
        </form>
      </section>
    ),
  });
}
