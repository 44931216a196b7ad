/** What a person may do with an alarm, whether from a page or through the API: one command to the engine each. */
import type { CommandResult } from '../domain/command.ts';
import type { EngineFace } from '../engine/contract.ts';

export const alarmActions = ['acknowledge', 'shelve', 'unshelve', 'out-of-service', 'return-to-service'] as const;
export type AlarmAction = (typeof alarmActions)[number];

export type HoldAction = Exclude<AlarmAction, 'acknowledge'>;

export interface HoldDetails {
  readonly why: string;
  /** For shelving. */
  readonly forMs: number;
}

export async function holdRule(engine: EngineFace, ruleId: string, action: HoldAction, by: string, details: HoldDetails, nowMs: number): Promise<CommandResult> {
  switch (action) {
    case 'shelve': return engine.command({ type: 'shelve', ruleId, by, why: details.why, untilMs: nowMs + details.forMs });
    case 'unshelve': return engine.command({ type: 'unshelve', ruleId, by });
    case 'out-of-service': return engine.command({ type: 'take-out-of-service', ruleId, by, why: details.why });
    case 'return-to-service': return engine.command({ type: 'return-to-service', ruleId, by });
  }
}
