import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { readFleet } from '../../src/config/fleet-file.ts';
import type { Fleet } from '../../src/domain/fleet.ts';
import { missingSecrets } from '../../src/config/secrets.ts';
import { readersFor } from './readers.ts';

const fine = readFileSync(new URL('./fine.yaml', import.meta.url), 'utf8');
const readers = await readersFor('embedded');

function fleetOf(text: string, broker: 'embedded' | 'external' | null = 'embedded'): Fleet {
  const reading = readFleet(text, 'fleet.yaml', { ...readers, broker });
  if ('mistakes' in reading) throw new Error(JSON.stringify(reading.mistakes, null, 1));
  return reading.fleet;
}
const withTank = (from: string, to: string): Fleet => fleetOf(replaced(from, to));
function replaced(from: string, to: string): string {
  expect(fine).toContain(from);
  return fine.replace(from, to);
}

describe('quantities become the units of the fleet', () => {
  test('volume: 1 US gal is 3.785411784 L (NIST SP 811, appendix B.8, from memory)', () => {
    expect(fleetOf(fine).tanks[0]?.displayLitres).toBeCloseTo(240 * 3.785411784, 9);
    expect(withTank('display: 240 gal', 'display: 900 L').tanks[0]?.displayLitres).toBe(900);
  });

  test('temperature: 77 °F is 25 °C ((77 − 32) / 1.8; NIST SP 811, appendix B.8, from memory)', () => {
    expect(withTank('setpoint: 25.5 °C', 'setpoint: 77 °F').equipment[0]?.setpointC).toBe(25);
  });

  test('temperature difference: 0.9 °F is 0.5 K, without the 32 (NIST SP 811, appendix B.8, from memory)', () => {
    expect(withTank('band: 0.3 K', 'band: 0.9 °F').equipment[0]?.bandK).toBe(0.5);
  });

  test('length: 16 in is 406.4 mm (1 in = 25.4 mm exactly; NIST SP 811, appendix B.8, from memory)', () => {
    const fleet = withTank('              - id: return-pump\n                kind: return-pump', '              - id: reservoir\n                kind: top-off-reservoir\n                capacity: 60 L\n                full: 16 in');
    expect(fleet.equipment[1]).toMatchObject({ capacityLitres: 60, fullMm: 406.4 });
  });

  test('durations', () => {
    expect(withTank('silentAfter: 10m', 'silentAfter: 1h30m').points.find(({ id }) => id === 'lobby-reef/display-temperature')).toMatchObject({ everyMs: 30_000, silentAfterMs: 5_400_000 });
  });

  test('a limit may be written in another unit of its point', () => {
    expect(withTank('high: 27.5', 'high: 81.5 °F').ruleSettings[0]?.settings).toEqual({ high: 27.5 });
    expect(withTank('high: 27.5', 'high: 27.5\n                deadband: 0.9 °F').ruleSettings[0]?.settings).toEqual({ high: 27.5, deadband: 0.5 });
  });
});

describe('what is left out', () => {
  test('ids carry their tank or site', () => {
    const { points, equipment, ruleSettings } = fleetOf(fine);
    expect(points.map(({ id }) => id)).toEqual(['harbor-lobby/room-temperature', 'lobby-reef/display-temperature', 'lobby-reef/heater-1-power']);
    expect(equipment.map(({ id }) => id)).toEqual(['lobby-reef/heater-1', 'lobby-reef/return-pump']);
    expect(ruleSettings[0]?.subject).toBe('lobby-reef/display-temperature');
  });

  test('silent after five readings, at least five minutes', () => {
    const { points } = fleetOf(fine.replace('every: 60s', 'every: 2m'));
    expect(points.map(({ silentAfterMs }) => silentAfterMs)).toEqual([600_000, 600_000, 300_000]);
  });

  test('place: the room for a site, the equipment for a point at one, else the display', () => {
    expect(fleetOf(fine).points.map(({ place }) => place)).toEqual(['room', 'display', 'equipment']);
  });

  test('a level at the reservoir is measured in the reservoir', () => {
    const fleet = fleetOf(fine.replace('id: return-pump\n                kind: return-pump', 'id: reservoir\n                kind: top-off-reservoir').replace('kind: power\n                equipment: heater-1', 'kind: level\n                equipment: reservoir'));
    expect(fleet.points.at(-1)).toMatchObject({ place: 'reservoir', equipmentId: 'lobby-reef/reservoir' });
  });

  test('names, sump, band, topics, day; what nobody wrote is null', () => {
    const fleet = fleetOf(fine.replace('                band: 0.3 K\n', ''));
    expect(fleet.equipment).toMatchObject([{ name: 'Heater', bandK: 0.5, circuit: null }, { name: 'Return pump', bandK: null, setpointC: null, nameplateWatts: null }]);
    expect(fleet.points.at(-1)).toMatchObject({ name: 'Heater 1 power', unit: null });
    expect(fleet.tanks[0]?.sumpLitres).toBe(0);
    expect(fleet.sites[0]).toMatchObject({ topics: 'harbor-lobby/', address: null, breaker: null });
    expect(fleet.people[1]).toMatchObject({ phone: null, dayStartMinute: 420, dayEndMinute: 1260 });
    expect(fleet.onCall).toEqual({ steps: [{ personId: 'ana', afterMs: 0 }, { personId: 'ben', afterMs: 300_000 }], repeatAfterMs: null });
  });

  test('of two heaters without a name each is called by its id', () => {
    const fleet = withTank('              - id: return-pump', '              - id: heater-2\n                kind: heater\n              - id: return-pump');
    expect(fleet.equipment.map(({ name }) => name)).toEqual(['Heater 1', 'Heater 2', 'Return pump']);
  });

  test('hours of a night', () => {
    expect(withTank('day: "07:00-21:00"', 'day: "21:00-07:00"').people[0]).toMatchObject({ dayStartMinute: 1260, dayEndMinute: 420 });
  });
});

describe('the broker decides what a site needs', () => {
  const withoutAccount = fine.replace(/ {8}account:\n.*\n.*\n/, '');
  const anyTopic = withoutAccount.replace('        contacts:', '        topics: ""\n        contacts:').replace('harbor-lobby/reef/temperature', 'somewhere/else');

  test('with an external one no account, and any topic where the site says so', () => {
    expect(fleetOf(anyTopic, 'external').sites[0]).toMatchObject({ topics: '', account: null });
    expect('mistakes' in readFleet(anyTopic, 'fleet.yaml', readers)).toBe(true);
  });

  test('a fleet file by itself is not asked for what only one of them needs', () => {
    expect(fleetOf(withoutAccount, null).sites[0]?.account).toBeNull();
  });

  test('passwords of accounts are looked for in the environment, with the built-in broker only', () => {
    const secretsWith = (broker: 'embedded' | 'external'): number => {
      const reading = readFleet(fine, 'fleet.yaml', { ...readers, broker });
      return 'mistakes' in reading ? Number.NaN : missingSecrets(reading.secrets, {}).length;
    };
    expect(secretsWith('embedded')).toBe(1);
    expect(secretsWith('external')).toBe(0);
    const reading = readFleet(fine, 'fleet.yaml', readers);
    if ('mistakes' in reading) throw new Error('fine.yaml is not fine');
    expect(missingSecrets(reading.secrets, { TANKBELL_HARBOR_LOBBY: '' })).toMatchObject([{ line: 13, column: 24 }]);
    expect(missingSecrets(reading.secrets, { TANKBELL_HARBOR_LOBBY: 'x' })).toEqual([]);
  });
});

test('the same file twice is the same fleet; anchors and aliases are followed', () => {
  expect(fleetOf(fine)).toEqual(fleetOf(fine));
  const aliased = fine.replace('timeZone: America/Denver\n        contacts', 'timeZone: &zone America/Denver\n        contacts').replaceAll('    timeZone: America/Denver\n    day', '    timeZone: *zone\n    day');
  expect(aliased).toContain('*zone');
  expect(fleetOf(aliased)).toEqual(fleetOf(fine));
});

test('windows line ends and a byte order mark change nothing', () => {
  expect(fleetOf(`\uFEFF${fine.replaceAll('\n', '\r\n')}`)).toEqual(fleetOf(fine));
});
