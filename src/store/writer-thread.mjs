// Entry of the writer's thread: registers the TypeScript loader, then runs writer-thread.ts.
import { register } from 'tsx/esm/api';

register();
await import('./writer-thread.ts');
