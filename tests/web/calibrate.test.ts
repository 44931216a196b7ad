/** Calibrating a point in the browser: the effect first, then saved. */
import { expect, test } from 'vitest';
import { makeSite } from './site.ts';

const path = '/points/lobby/conductivity/calibration';
const pair = { measured1: '53', true1: '52,5', measured2: '', true2: '', from: '', why: 'reference solution', action: 'show' };

test('the effect on the present value is shown, and nothing saved', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  expect((await visitor.get('/tanks/lobby')).body).toContain(`href="${path}"`);
  const empty = await visitor.get(path);
  expect(empty.body).toContain('None: values are shown as they come.');
  const shown = await visitor.post(path, pair);
  expect(shown.statusCode).toBe(200);
  const raw = Number(/Latest as it came<\/dt><dd><b>([\d.]+) mS\/cm/.exec(shown.body)?.[1]);
  const after = Number(/Shown then<\/dt><dd><b>([\d.]+) mS\/cm/.exec(shown.body)?.[1]);
  expect(raw).toBeGreaterThan(50);
  expect(after).toBeCloseTo(raw - 0.5, 3);
  expect(shown.body).toContain('raw − 0.5 mS/cm');
  expect(world.engine.calibrationRows).toEqual([]);
});

test('saving takes exactly what was shown, and lists who entered it and why', async () => {
  const { world, clock, logIn } = await makeSite();
  const visitor = await logIn();
  const shown = await visitor.post(path, { ...pair, measured1: '10', true1: '12', measured2: '50', true2: '54' });
  const hidden = Object.fromEntries([...shown.body.matchAll(/<input type="hidden" name="(\w+)" value="([^"]*)"/g)].map(([, name = '', value = '']) => [name, value]));
  expect(hidden).toMatchObject({ slope: '1.05', offset: '1.5', why: 'reference solution' });
  const saved = await visitor.post(path, { ...hidden, action: 'save' });
  expect([saved.statusCode, saved.headers.location]).toEqual([303, `${path}?saved=yes`]);
  expect(world.engine.calibrationRows).toEqual([{ pointId: 'lobby/conductivity', fromMs: clock.now(), slope: 1.05, offset: 1.5, by: 'Ada Example', why: 'reference solution', enteredMs: clock.now() }]);
  const { body } = await visitor.get(`${path}?saved=yes`);
  expect(body).toContain('Saved and in force.');
  expect(body).toMatch(/raw × 1\.05 \+ 1\.5 mS\/cm.*by Ada Example/);
});

test.each([
  [{ measured1: 'x' }, '&quot;x&quot; is no number'],
  [{ why: '' }, 'write how it was found'],
  [{ measured2: '50' }, 'needs both numbers'],
  [{ measured2: '53', true2: '60' }, 'both were measured as the same'],
  [{ from: '2999-01-01T00:00' }, 'cannot begin in the future'],
  [{ from: 'yesterday' }, 'none that exists'],
])('%j is refused in words, and what was typed stays', async (change, why) => {
  const { world, logIn } = await makeSite();
  const answer = await (await logIn()).post(path, { ...pair, ...change });
  expect([answer.statusCode, answer.body.includes(why)]).toEqual([400, true]);
  expect(answer.body).toContain('value="52,5"');
  expect(world.engine.calibrationRows).toEqual([]);
});

test('a switch and a point that is not there have none', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  expect((await visitor.get('/points/lobby/return-pump/calibration')).statusCode).toBe(404);
  expect((await visitor.get('/points/lobby/nothing/calibration')).statusCode).toBe(404);
});
