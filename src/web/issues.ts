/** What zod found wrong, in one sentence for a person. */
import type { z } from 'zod';

export function sentenceOf(error: z.ZodError, named: 'with fields' | 'words only'): string {
  return error.issues
    .map((issue) => (named === 'with fields' && issue.path.length > 0 ? `${issue.path.join('.')}: ${issue.message}` : issue.message))
    .join('; ');
}
