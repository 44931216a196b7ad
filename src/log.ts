/** The service's own log: one JSON line per event on standard error (pino). */
import { type Logger as PinoLogger, destination, pino } from 'pino';

export type Logger = Pick<PinoLogger, 'debug' | 'info' | 'warn' | 'error'>;

export function makeLogger(level: 'debug' | 'info' | 'warn' | 'error' | 'silent', now: () => number): Logger {
  return pino({ level, base: null, timestamp: () => `,"at":"${new Date(now()).toISOString()}"` }, destination({ fd: 2, sync: true }));
}
