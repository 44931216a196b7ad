import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { applyFleet } from '../../src/config/apply-fleet.ts';
import { fleetChanges } from '../../src/config/changes.ts';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import type { JournalEntry } from '../../src/domain/journal.ts';
import type { FleetStore } from '../../src/store/contract.ts';
import { readersFor } from './readers.ts';

const fine = readFileSync(new URL('./fine.yaml', import.meta.url), 'utf8');
const readers = await readersFor('embedded');

function fleetOf(text: string): Fleet {
  const reading = readFleet(text, 'fleet.yaml', readers);
  if ('mistakes' in reading) throw new Error(JSON.stringify(reading.mistakes, null, 1));
  return reading.fleet;
}
const wordsOf = (before: string | null, after: string): readonly string[] => fleetChanges(before === null ? null : fleetOf(before), fleetOf(after)).map(({ text }) => text);
const pump = '              - id: return-pump\n                kind: return-pump\n';
const otherTank = '          - { id: office-fresh, name: Office (invented), water: fresh, display: 300 L, points: [{ id: temperature, kind: temperature, every: 1m }] }\npeople:\n';

describe('changes in words', () => {
  test('the same meaning is no change: comments, order of keys, units, defaults written out', () => {
    expect(wordsOf(fine, fine)).toEqual([]);
    expect(wordsOf(fine, `# looked at again\n${fine}`)).toEqual([]);
    expect(wordsOf(fine, fine.replace('nameplate: 500 W\n                setpoint: 25.5 °C', 'setpoint: 77.9 °F\n                nameplate: 0.5 kW'))).toEqual([]);
    expect(wordsOf(fine, fine.replace('        contacts:', '        topics: harbor-lobby/\n        contacts:'))).toEqual([]);
  });

  test('a value, with its unit, old and new', () => {
    expect(wordsOf(fine, fine.replace('setpoint: 25.5 °C', 'setpoint: 26 °C'))).toEqual(['Piece of equipment Heater (lobby-reef/heater-1): setpoint 26 °C, was 25.5 °C.']);
    expect(wordsOf(fine, fine.replace('display: 240 gal', 'display: 900 L'))).toEqual(['Tank Lobby reef (invented) (lobby-reef): display 900 L, was 908.499 L.']);
    expect(wordsOf(fine, fine.replace('silentAfter: 10m', 'silentAfter: 15m'))).toEqual(['Point Display temperature (lobby-reef/display-temperature): silent after 15 min, was 10 min.']);
    expect(wordsOf(fine, fine.replace('day: "07:00-21:00"', 'day: "08:30-21:00"'))).toEqual(['Person Ana Example (invented) (ana): day start 08:30, was 07:00.']);
  });

  test('limits and the order of calling', () => {
    expect(wordsOf(fine, fine.replace('high: 27.5', 'high: 28\n                onDelay: 5m'))).toEqual([
      'Rule setting lobby-reef/limit/display-temperature: on delay 5 min, was not given.',
      'Rule setting lobby-reef/limit/display-temperature: high 28, was 27.5.',
    ]);
    expect(wordsOf(fine, fine.replace('after: 5m', 'after: 10m'))).toEqual(['On-call order: steps ana, then ben after 10 min, was ana, then ben after 5 min.']);
  });

  test('what comes and goes; a tank brings and takes its parts in one sentence', () => {
    expect(wordsOf(fine, fine.replace(pump, ''))).toEqual(['Piece of equipment Return pump (lobby-reef/return-pump) removed.']);
    expect(wordsOf(fine.replace(pump, ''), fine)).toEqual(['Piece of equipment Return pump (lobby-reef/return-pump) added.']);
    const two = fine.replace('people:\n', otherTank);
    expect(wordsOf(fine, two)).toEqual(['Tank Office (invented) (office-fresh) added, with 1 point.']);
    expect(wordsOf(two, fine)).toEqual(['Tank Office (invented) (office-fresh) removed, with 1 point.']);
  });

  test('a first fleet is added as a whole: one sentence for each client and person', () => {
    expect(wordsOf(null, fine)).toEqual([
      'Client Harbor Dental (invented) (harbor-dental) added, with 1 site, 1 tank, 2 pieces of equipment, 3 points, 1 rule setting.',
      'Person Ana Example (invented) (ana) added.',
      'Person Ben Example (invented) (ben) added.',
      'On-call order added.',
    ]);
  });

  test('every change knows its tank and both values', () => {
    expect(fleetChanges(fleetOf(fine), fleetOf(fine.replace('setpoint: 25.5 °C', 'setpoint: 26 °C')))).toMatchObject([
      { what: 'changed', thing: 'piece of equipment', id: 'lobby-reef/heater-1', siteId: 'harbor-lobby', tankId: 'lobby-reef', key: 'setpointC', from: 25.5, to: 26 },
    ]);
  });
});

describe('applying', () => {
  function memory(): FleetStore & { readonly journal: JournalEntry[]; puts: number; text: string | null } {
    return {
      journal: [], puts: 0, text: null,
      async fleetText() { return this.text; },
      async putFleet(text, journal) { this.text = text; this.puts += 1; this.journal.push(...journal); },
    };
  }

  test('journals who, when, old and new, and a repetition writes nothing', async () => {
    const store = memory();
    const before = fleetOf(fine);
    await applyFleet(store, fine, before, null, 'tankbell', 1_000);
    expect([store.puts, store.journal.length]).toEqual([1, 4]);

    expect(await applyFleet(store, `# a remark\n${fine}`, fleetOf(fine), before, 'ana', 2_000)).toEqual([]);
    expect([store.puts, store.text]).toEqual([1, fine]);

    const warmer = fine.replace('setpoint: 25.5 °C', 'setpoint: 26 °C');
    await applyFleet(store, warmer, fleetOf(warmer), before, 'ana', 3_000);
    expect(store.text).toBe(warmer);
    expect(store.journal.at(-1)).toEqual({
      atMs: 3_000, kind: 'fleet', siteId: 'harbor-lobby', tankId: 'lobby-reef', alarmId: null, by: 'ana',
      text: 'Piece of equipment Heater (lobby-reef/heater-1): setpoint 26 °C, was 25.5 °C.',
      detail: { what: 'changed', thing: 'piece of equipment', id: 'lobby-reef/heater-1', key: 'setpointC', from: 25.5, to: 26 },
    });
  });
});
