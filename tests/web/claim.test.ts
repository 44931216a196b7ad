/** Values nobody reads: shown with a guess, and claimed to a point in one step. */
import { expect, test } from 'vitest';
import { makeSite } from './site.ts';

const topic = 'sites/tower/lobby/sump_temp';
const claimUrl = (of: string, part?: string) => `/sources/claim?topic=${encodeURIComponent(of)}${part === undefined ? '' : `&part=${encodeURIComponent(part)}`}`;
const fields = { topic, owner: 'lobby', pointId: 'sump-temperature', name: '', kind: 'temperature', unit: '°F', equipment: '', every: '30s' };

test('the page lists them with latest values, rate and a guess called one', async () => {
  const { logIn } = await makeSite();
  const { body } = await (await logIn()).get('/sources');
  expect(body).toContain('Values nobody reads');
  expect(body).toMatch(/sites\/tower\/lobby\/sump_temp<\/code> · Main lobby/);
  expect(body).toContain('5 messages, about one every 31 s');
  expect(body).toMatch(/<b>78\.2, 78, 78\.1, 77\.9<\/b>.*?perhaps temperature in °F: the topic says &quot;temp&quot;, and 77\.9 to 78\.2 is usual in °F/);
  expect(body).toMatch(/<code>\/outlets\/0\/watts<\/code>.*?<b>292, 291, 290<\/b>.*?perhaps power/);
  expect(body).toContain('Nothing in it can be read as a number or as on/off');
  expect(body).not.toContain('<b>warm');
});

test('the form comes filled in with the guess and the measured cadence, and says that it is one', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const { body } = await visitor.get(claimUrl(topic));
  expect(body).toMatch(/<dt>A guess<\/dt><dd>perhaps temperature in °F/);
  expect(body).toMatch(/<option (?:value="lobby" selected|selected value="lobby")/);
  expect(body).toMatch(/name="pointId" value="lobby-sump-temp"/);
  expect(body).toMatch(/<option (?:value="temperature" selected|selected value="temperature")/);
  expect(body).toMatch(/<option (?:value="°F" selected|selected value="°F")/);
  expect(body).toMatch(/name="every" value="30s"/);
  expect(body).not.toContain('Waiting room');
  const strip = await visitor.get(claimUrl('sites/tower/strip', '/outlets/0/watts'));
  expect(strip.body).toMatch(/name="useTime" value="yes" checked.*?Take the time from \/ts in the message/);
  expect((await visitor.get(claimUrl('sites/tower/strip', '/no/such'))).statusCode).toBe(404);
  expect((await visitor.get(claimUrl('gone'))).statusCode).toBe(404);
});

test('claiming hands the desk what was chosen', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const answer = await visitor.post('/sources/claim', fields);
  expect([answer.statusCode, answer.headers.location]).toEqual([303, '/sources?claimed=lobby%2Fdisplay-temperature&stored=17']);
  expect(world.claims).toEqual([{
    topic, ownerId: 'lobby', pointId: 'sump-temperature', name: null, kind: 'temperature', unit: '°F', equipment: null, everyMs: 30_000, place: { format: 'number' }, unitPointer: null, time: null, by: 'Ada Example',
  }]);
  expect((await visitor.get(String(answer.headers.location))).body).toContain('Display temperature is claimed. 17 kept readings came along as history.');
  await visitor.post('/sources/claim', { ...fields, topic: 'sites/tower/strip', part: '/outlets/0/watts', kind: 'power', unit: 'W', equipment: 'lobby/heater-1', useTime: 'yes' });
  expect(world.claims[1]).toMatchObject({ kind: 'power', unit: null, equipment: 'heater-1', place: { format: 'json', pointer: '/outlets/0/watts' }, time: { pointer: '/ts', format: 's' } });
});

test('names of a SenML pack and metrics of a gateway are shown each with their own guess, and claimed as what they are', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const { body } = await visitor.get('/sources');
  const name = 'urn:dev:ow:10e2073a01080063:sump_temp';
  const metric = 'Plant room/Return manifold/Water temperature after the heat exchanger';
  expect(body).toMatch(/<code>urn:dev:ow:10e2073a01080063:sump_temp<\/code>.*?<b>25\.6, 25\.35, 25\.1 Cel<\/b>.*?perhaps temperature in Cel: the message says Cel and the word &quot;temp&quot;/);
  expect(body).toMatch(/<code>urn:dev:ow:10e2073a01080063:cond<\/code>.*?<b>5\.3, 5\.3, 5\.3 S\/m<\/b>.*?perhaps conductivity in S\/m/);
  expect(body).toMatch(/spBv1\.0\/tower\/plant room\/skid<\/code> · Main lobby/);
  expect(body).toMatch(/Water temperature after the heat exchanger<\/code>.*?<b>25\.75, 25\.625, 25\.5<\/b>.*?perhaps temperature in °C: the name says &quot;temperature&quot;/);
  expect(body).toMatch(/<code>Top-off\/Float<\/code>.*?<b>true<\/b>.*?perhaps on or off: the name says &quot;float&quot;/);

  const senml = await visitor.get(claimUrl('sites/tower/gateway', name));
  expect(senml.body).toMatch(/<dt>Name in the pack<\/dt><dd><code>urn:dev:ow:10e2073a01080063:sump_temp/);
  expect(senml.body).toMatch(/name="pointId" value="gateway-sump-temp"/);
  expect(senml.body).not.toContain('Take the time from');
  const gateway = await visitor.get(claimUrl('spBv1.0/tower/plant room/skid', metric));
  expect(gateway.body).toMatch(/<dt>Gateway<\/dt><dd><code>spBv1\.0\/tower\/plant room\/skid<\/code><\/dd><dt>Metric<\/dt>/);
  expect(gateway.body).toMatch(/name="pointId" value="return-manifold-water-temperature-after-the-heat-exchanger"/);
  expect(gateway.body).toMatch(/name="every" value="30s"/);
  expect(gateway.body).toContain('only when it changes');
  expect(senml.body).not.toContain('only when it changes');

  await visitor.post('/sources/claim', { ...fields, topic: 'sites/tower/gateway', part: name, unit: 'Cel' });
  await visitor.post('/sources/claim', { ...fields, topic: 'spBv1.0/tower/plant room/skid', part: metric, unit: '°F' });
  expect(world.claims).toMatchObject([
    // The message says the unit of each value.
    { topic: 'sites/tower/gateway', unit: null, place: { format: 'senml', name, unit: null, read: 'value' }, unitPointer: null, time: null },
    { topic: 'spBv1.0/tower/plant room/skid', unit: '°F', place: { format: 'sparkplug', metric }, unitPointer: null, time: null },
  ]);
});

test('a refusal shows every reason and the line to write by hand, and keeps what was typed', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  world.reloads.claim = () => ({ outcome: 'refused', why: ['fleet.yaml:3:4: the id is taken\n    write another id'], line: '- { id: sump-temperature }' });
  const answer = await visitor.post('/sources/claim', { ...fields, name: '<i>Sump</i>' });
  expect(answer.statusCode).toBe(409);
  expect(answer.body).toContain('fleet.yaml:3:4: the id is taken');
  expect(answer.body).toContain('<pre><code>- { id: sump-temperature }</code></pre>');
  expect(answer.body).toContain('value="&lt;i>Sump&lt;/i>"');
  const incomplete = await visitor.post('/sources/claim', { ...fields, kind: '', every: 'often' });
  expect(incomplete.statusCode).toBe(400);
  expect(incomplete.body).toContain('choose what it measures; write how often a reading comes');
  expect(world.claims).toHaveLength(1);
});

test('the fleet file can be taken anew; one with mistakes is shown them', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const answer = await visitor.post('/sources/reload');
  expect(answer.headers.location).toBe('/sources?changes=2');
  expect((await visitor.get('/sources?changes=2')).body).toContain('2 changes, listed in the journal');
  world.reloads.next = { outcome: 'refused', mistakes: ['fleet.yaml:3:4: wrong'] };
  const refused = await visitor.post('/sources/reload');
  expect([refused.statusCode, refused.body.includes('fleet.yaml:3:4: wrong')]).toEqual([409, true]);
});
