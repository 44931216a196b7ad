/** What people do to alarms. `by` is the person as journaled. */
export type Command =
  | { readonly type: 'acknowledge'; readonly alarmId: number; readonly by: string; readonly via: 'web' | 'link' | 'cli' }
  | { readonly type: 'shelve'; readonly ruleId: string; readonly by: string; readonly why: string; readonly untilMs: number }
  | { readonly type: 'unshelve'; readonly ruleId: string; readonly by: string }
  | { readonly type: 'take-out-of-service'; readonly ruleId: string; readonly by: string; readonly why: string }
  | { readonly type: 'return-to-service'; readonly ruleId: string; readonly by: string }
  | { readonly type: 'note'; readonly tankId: string; readonly by: string; readonly text: string };

/** `done`: committed. `refused`: nothing changed, and why, in words for the person. */
export type CommandResult = { readonly outcome: 'done' } | { readonly outcome: 'refused'; readonly why: string };
