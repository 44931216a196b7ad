/** @jsxRuntime automatic @jsxImportSource preact */
/** Reason, and for how long where the hold ends by itself. */
import { MAX_SHELVE_HOURS, MIN_SHELVE_HOURS } from '../hold-form.ts';
import { words } from '../words.ts';

export function HoldFields({ idPrefix, withSpan = true }: { idPrefix: string; withSpan?: boolean }) {
  const { alarm } = words;
  return (
    <>
      <label for={`${idPrefix}-why`}>{alarm.why}<input id={`${idPrefix}-why`} name="why" required maxLength={500} autocomplete="off" /></label>
      {withSpan && (
        <>
          <fieldset>
            <legend>{alarm.forHowLong}</legend>
            {(['1h', '8h', '24h', 'custom'] as const).map((span) => (
              <label key={span}><input type="radio" name="span" value={span} checked={span === '8h'} />{alarm.spans[span]}</label>
            ))}
          </fieldset>
          <label for={`${idPrefix}-hours`}>{alarm.customHours}<input id={`${idPrefix}-hours`} name="hours" inputMode="decimal" autocomplete="off" placeholder={`${MIN_SHELVE_HOURS} – ${MAX_SHELVE_HOURS}`} /></label>
        </>
      )}
    </>
  );
}
