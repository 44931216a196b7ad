/** @jsxRuntime automatic @jsxImportSource preact */
/** How to get to a tank and whom to call. */
import type { Site } from '../../domain/fleet.ts';
import { words } from '../words.ts';

export function SiteFacts({ site, clientName }: { site: Site; clientName: string | null }) {
  const { tank } = words;
  return (
    <section class="panel" aria-labelledby="site">
      <h2 id="site">{clientName === null ? site.name : `${clientName}, ${site.name}`}</h2>
      <ul class="phones">
        {site.contacts.map((contact) => (
          <li key={contact.name + contact.phone}>{contact.name}: <a class="tel" href={`tel:${contact.phone.replaceAll(/[^\d+]/g, '')}`}>{contact.phone}</a></li>
        ))}
      </ul>
      <dl class="facts">
        <dt>{tank.address}</dt><dd>{site.address ?? tank.notWritten}</dd>
        <dt>{tank.access}</dt><dd>{site.access ?? tank.notWritten}</dd>
        <dt>{tank.breaker}</dt><dd>{site.breaker ?? tank.notWritten}</dd>
        <dt>{tank.waterShutOff}</dt><dd>{site.waterShutOff ?? tank.notWritten}</dd>
        {site.contacts.length === 0 && <><dt>{tank.contacts}</dt><dd>{tank.notWritten}</dd></>}
      </dl>
    </section>
  );
}
