/** Whatever a name, a payload or a reason holds, it is text. */
import { expect, test } from 'vitest';
import { makeSite } from './site.ts';

const evil = '<script>alert(1)</script>"\'><img src=x onerror=alert(2)>';

test('names with markup in them are shown, not run, on every page', async () => {
  const { world, logIn } = await makeSite({
    fleet: (fleet) => ({
      ...fleet,
      clients: fleet.clients.map((client) => ({ ...client, name: evil })),
      sites: fleet.sites.map((site) => ({ ...site, name: evil, access: evil, contacts: [{ name: evil, phone: evil }] })),
      tanks: fleet.tanks.map((tank) => ({ ...tank, name: evil })),
      points: fleet.points.map((point) => ({ ...point, name: evil })),
      equipment: fleet.equipment.map((one) => ({ ...one, name: evil })),
    }),
  });
  world.store.refusalRows.push({ source: evil, pointId: null, reason: evil, excerpt: evil, count: 1, lastMs: 0 });
  await world.store.appendJournal([{ atMs: 0, kind: 'note', siteId: null, tankId: 'lobby', alarmId: 1, by: evil, text: evil, detail: {} }]);
  for (const [id, alarm] of world.store.alarmRows) world.store.alarmRows.set(id, { ...alarm, title: evil, summary: evil, evidence: [{ label: evil, value: evil }] });
  const visitor = await logIn();
  for (const url of ['/', '/tanks/lobby', '/alarms', '/alarms/1', '/journal', `/journal?contains=${encodeURIComponent(evil)}&before=${encodeURIComponent(evil)}`, '/sources', '/import', '/acknowledge/good-token-of-ada', `/login?next=${encodeURIComponent(evil)}`, `/tanks/${encodeURIComponent(evil)}`]) {
    const { body } = await visitor.get(url);
    // Text may hold "onerror="; a tag may not. Every "<" of ours begins a tag that we know.
    expect(body.match(/<script(?! type="module" src="\/assets\/)|<img/g), url).toBeNull();
    // Nor does it break out of an attribute: no tag ends where the text put a quote and a bracket.
    expect(body, url).not.toMatch(/="[^"]*<\/script>"'>/);
  }
  expect((await visitor.get('/')).body).toContain('&lt;script>alert(1)&lt;/script>');
});
