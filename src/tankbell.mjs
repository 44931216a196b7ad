#!/usr/bin/env node
// The command `tankbell`: registers the TypeScript loader, then runs main.ts.
import { register } from 'tsx/esm/api';

register();
await import('./main.ts');
