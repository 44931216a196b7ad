/** Names of time zones: only those of the IANA list, which know when summer time begins. */
import { nearest } from './nearest.ts';

/** @returns `null` when the name is good, else what to write instead. */
export function timeZoneFix(name: string): string | null {
  if (name === 'UTC') return null;
  // Abbreviations ("MST") and offsets ("+07:00") are refused although the platform takes some: they know no summer time.
  if (name.includes('/') && !name.startsWith('Etc/') && isKnown(name)) return null;
  const guess = nearest(name, zoneNames) ?? zoneNames.find((zone) => cityOf(zone) === plain(name)) ?? null;
  const city = guess ?? nearestCity(name);
  return city === null ? 'write an IANA name "Area/City" such as America/Denver or Europe/Berlin' : `did you mean "${city}"? Write an IANA name "Area/City"`;
}

const zoneNames = Intl.supportedValuesOf('timeZone');

function isKnown(name: string): boolean {
  try {
    // The platform takes any case; the case of the list is what people and other programs know.
    return zoneNames.includes(name) || !zoneNames.some((zone) => zone.toLowerCase() === name.toLowerCase()) && new Intl.DateTimeFormat('en', { timeZone: name }).resolvedOptions().timeZone !== '';
  } catch (error) {
    if (error instanceof RangeError) return false;
    throw error;
  }
}

const plain = (text: string): string => text.toLowerCase().replaceAll(' ', '_');
const cityOf = (zone: string): string => plain(zone.slice(zone.lastIndexOf('/') + 1));

function nearestCity(name: string): string | null {
  const city = nearest(name.slice(name.lastIndexOf('/') + 1), zoneNames.map(cityOf));
  return city === null ? null : (zoneNames.find((zone) => cityOf(zone) === city) ?? null);
}
