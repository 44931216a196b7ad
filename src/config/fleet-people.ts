/** Who looks after the tanks, and in which order they are rung. */
import type { OnCall, Person } from '../domain/fleet.ts';
import { entriesOf, type FleetReadingState, fieldOf, idOf } from './fleet-reading.ts';
import type { IdLedger } from './fleet-ids.ts';
import { fleetShapes } from './fleet-shapes.ts';
import { suggest } from './nearest.ts';

/** Common practice: nobody wants a call about a slow matter at night. */
const ordinaryDay = { startMinute: 7 * 60, endMinute: 21 * 60 } as const;

export function readPeople(state: FleetReadingState, ids: IdLedger): readonly Person[] {
  return entriesOf(state.document.value, 'people', []).flatMap(({ value, path }) => {
    ids.claim(idOf(value), 'person', path);
    const parsed = state.findings.shape(fleetShapes.person, path, value);
    if (parsed === null) return [];
    const { id, name, email, phone, timeZone, day = ordinaryDay } = parsed;
    return [{ id, name, email, phone: phone ?? null, timeZone, dayStartMinute: day.startMinute, dayEndMinute: day.endMinute }];
  });
}

export function readOnCall(state: FleetReadingState): OnCall {
  const { findings, document } = state;
  const nobody: OnCall = { steps: [], repeatAfterMs: null };
  const written = fieldOf(document.value, 'onCall');
  if (written === undefined) {
    findings.at(['onCall'], 'nobody is on call: "onCall" is missing', 'add "onCall: { steps: [{ person: ana }, { person: ben, after: 5m }] }" with ids of your people');
    return nobody;
  }
  const parsed = findings.shape(fleetShapes.onCall, ['onCall'], written);
  const known = entriesOf(document.value, 'people', []).map(({ value }) => idOf(value)).filter((id) => id !== null);
  const entries = entriesOf(written, 'steps', ['onCall']);
  if (parsed !== null && entries.length === 0) findings.at(['onCall', 'steps'], 'nobody is on call: "steps" is empty', 'add at least "- { person: … }" with the id of one of your people');
  const steps = entries.flatMap(({ value, path }, index) => {
    const step = findings.shape(fleetShapes.step, path, value);
    const person = fieldOf(value, 'person');
    if (typeof person === 'string' && !known.includes(person)) {
      findings.at([...path, 'person'], `there is no person "${person}"`, known.length === 0 ? 'add a "people" list with whom to ring' : suggest(person, known));
    }
    if (step === null) return [];
    if (index === 0 && step.after !== undefined && step.after > 0) findings.at([...path, 'after'], 'the first person is paged at once', 'remove "after" here; it says how long the next person is waited for');
    if (index > 0 && step.after === undefined) findings.at(path, `"after" is missing: how long after the page to "${String(fieldOf(entries[index - 1]?.value, 'person'))}" is "${step.person}" paged?`, 'add "after: 5m"');
    return [{ personId: step.person, afterMs: step.after ?? 0 }];
  });
  return { steps, repeatAfterMs: parsed?.repeatAfter ?? null };
}
