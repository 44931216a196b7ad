/** The same fleet with the sources of a site rewritten, so that its gateway speaks another of the supported formats. */
import type { Fleet, Point, PointSource } from '../src/domain/fleet.ts';
import type { Kind } from '../src/domain/kinds.ts';

export const sentFormats = ['number', 'json', 'senml', 'sparkplug'] as const;
export type SentFormat = (typeof sentFormats)[number];

/** Units SenML has a name for, in our spelling. */
const senmlUnits: Record<Kind, string | null> = {
  temperature: '°C', level: 'mm', fill: '/', volume: 'L', conductivity: 'S/m', power: 'W', current: 'A', energy: 'kWh', voltage: 'V', flow: 'L/h', humidity: '%RH', acidity: 'pH', switch: null,
};

/** @param formats by site id; sites left out stay as they are. @throws Error for a site the fleet does not have. */
export function sentAs(fleet: Fleet, formats: Readonly<Record<string, SentFormat>>): Fleet {
  for (const siteId of Object.keys(formats)) {
    if (!fleet.sites.some(({ id }) => id === siteId)) throw new Error(`no site "${siteId}" in the fleet; there are: ${fleet.sites.map(({ id }) => id).join(', ')}`);
  }
  return {
    ...fleet,
    sites: fleet.sites.map((site) => (formats[site.id] === 'sparkplug' ? { ...site, sparkplugGroup: site.sparkplugGroup ?? site.id } : site)),
    points: fleet.points.map((point) => {
      const format = formats[point.siteId];
      const site = fleet.sites.find(({ id }) => id === point.siteId);
      if (format === undefined || site === undefined || point.source === null) return point;
      return { ...point, ...(format === 'senml' ? { unit: senmlUnits[point.kind] } : {}), source: sourceAs(format, point, site.topics, site.sparkplugGroup ?? site.id) };
    }),
  };
}

function sourceAs(format: SentFormat, { id }: Point, topics: string, group: string): PointSource {
  switch (format) {
    case 'number': return { topic: `${topics}${id}`, format, options: {} };
    case 'json': return { topic: `${topics}gateway`, format, options: { value: `/${id.replaceAll('~', '~0').replaceAll('/', '~1')}`, time: '/time' } };
    case 'senml': return { topic: `${topics}gateway`, format, options: { name: `urn:dev:ops:${id}`, read: 'value' } };
    case 'sparkplug': return { topic: `spBv1.0/${group}/gateway`, format, options: { metric: id } };
  }
}
