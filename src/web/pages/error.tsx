/** @jsxRuntime automatic @jsxImportSource preact */
import { type Viewer, page } from '../layout.tsx';
import { words } from '../words.ts';

export function errorPage({ viewer, status, message }: { viewer: Viewer; status: number; message: string }): string {
  const title = words.error.title(status);
  return page({
    viewer,
    title,
    children: (
      <section class="narrow">
        <h1>{title}</h1>
        <p>{message}</p>
        <p><a href="/">{words.nav.board}</a></p>
      </section>
    ),
  });
}
