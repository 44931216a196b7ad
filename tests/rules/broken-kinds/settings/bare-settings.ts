import { z } from 'zod';
import limit from '../../../../src/rules/kinds/limit.ts';

export default { ...limit, kind: 'bare-settings', settings: z.object({ needed: z.number().describe('A number.'), unsaid: z.number().default(1), priority: z.number().default(1).describe('Taken.') }) };
