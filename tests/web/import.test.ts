/** Upload, look, choose, import: nothing is stored before somebody says so, what is refused is named, and what was chosen is remembered. */
import { type ReadStream, existsSync } from 'node:fs';
import { Readable } from 'node:stream';
import { buffer } from 'node:stream/consumers';
import { expect, test } from 'vitest';
import { noChoices } from '../../adapters/csv-choices.ts';
import { importShape } from '../../src/web/api/shapes.ts';
import { importFiles } from '../../src/web/import-files.ts';
import { rejectedRows, safeCell } from '../../src/web/rejected-csv.ts';
import { type Visitor, makeSite, upload } from './site.ts';

const csv = 'time,series,value\n2026-01-01T00:00:00Z,display-temperature,24.1\n2026-01-01T00:10:00Z,display-temperature,oops\n2026-01-01T00:20:00Z,display-temperature,24.3\n';
const fields = { tank: 'lobby' };

/** Uploads a file and follows to its page. */
async function hand(visitor: Visitor, content: string, sent: Record<string, string> = fields, name = 'logger.csv'): Promise<{ path: string; body: string }> {
  const answer = await visitor.inject({ method: 'POST', url: '/import', ...upload(sent, { name, text: content }) });
  expect([answer.statusCode, answer.body]).toEqual([303, '']);
  const path = String(answer.headers.location);
  return { path, body: (await visitor.get(path)).body };
}

/** What the form of a page would send as it stands. */
function formOf(body: string): Record<string, string> {
  const sent: Record<string, string> = {};
  const plain = (value: string | undefined): string => (value ?? '').replaceAll('&quot;', '"').replaceAll('&lt;', '<').replaceAll('&amp;', '&');
  for (const [, name = '', options = ''] of body.matchAll(/<select name="([^"]+)"[^>]*>(.*?)<\/select>/gs)) {
    const chosen = /<option value(?:="([^"]*)")? selected/.exec(options) ?? /<option value(?:="([^"]*)")?>/.exec(options);
    sent[name] = plain(chosen?.[1]);
  }
  for (const [, name = '', value] of body.matchAll(/<input(?: type="hidden")? name="([^"]+)" value(?:="([^"]*)")?/g)) sent[name] = plain(value);
  return sent;
}

async function ended(visitor: Visitor, path: string): Promise<string> {
  await expect.poll(async () => (await visitor.get(path)).body).not.toContain('Cancel the import');
  return (await visitor.get(path)).body;
}

test('first a look, then the import, of the same file as chosen', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const count = async () => (await world.store.readings(world.store.seriesFor('lobby/display-temperature'), 0, 2e12)).length;
  const before = await count();
  const { path, body } = await hand(visitor, csv);
  expect(body).toContain('What logger.csv holds');
  expect(body).toMatch(/Lines read<\/dt><dd>3<.*Readings that can be stored<\/dt><dd>2<.*Refused<\/dt><dd[^>]*><b>1</);
  expect(body).toMatch(/<td class="num">3<\/td><td>display-temperature: the value &quot;oops&quot; is no number/);
  expect(body).toContain('31 Dec 2025, 17:00:00 MST');
  expect(body).toContain('2026-01-01T00:00:00.000Z');
  expect(await count()).toBe(before);

  const begun = await visitor.post(path, { ...formOf(body), do: 'run' });
  expect([begun.statusCode, begun.headers.location]).toEqual([303, path]);
  const done = await ended(visitor, path);
  expect(done).toContain('logger.csv is imported');
  expect(done).toMatch(/Readings stored<\/dt><dd>2</);
  expect(await count()).toBe(before + 2);
  expect(world.imports).toMatchObject([{ tankId: 'lobby', by: 'Ada Example', useMemory: false, choices: { decimalComma: false } }]);
  expect(world.store.journalRows.at(-1)).toMatchObject({ kind: 'import', tankId: 'lobby', by: 'Ada Example', text: 'logger.csv: 2 readings stored, 0 known already, 1 refused' });
  // Pressing twice imports once.
  expect((await visitor.post(path, { ...formOf(body), do: 'run' })).headers.location).toBe(path);
  expect(world.imports).toHaveLength(1);
  // The same file again changes nothing.
  const again = await hand(visitor, csv);
  await visitor.post(again.path, { ...formOf(again.body), do: 'run' });
  expect(await ended(visitor, again.path)).toMatch(/Readings stored<\/dt><dd>0<.*Known already<\/dt><dd>2</);
  expect(await count()).toBe(before + 2);
});

test('what has to be said is asked with the cell that raises it and what the file proves; nothing is imported before', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  const { path, body } = await hand(visitor, 'Datum;Wasser (°F);Heizung (W);x\n03/04/2025 12:00;78,8;0;1\n04/04/2025 12:00;77;300;2\n25/04/2025 12:00;77;300;3\n');
  expect(body).toContain('Which column is the time?');
  expect(body).toContain('its cells look like times');
  expect(body).not.toContain('Import now');
  // Pressing the button all the same leads back to the question.
  const asked = await visitor.post(path, { ...formOf(body), do: 'run' });
  expect(asked.headers.location).toBe(path);
  expect(world.imports).toEqual([]);

  const second = (await visitor.get(path)).body;
  expect(second).toMatch(/In which order are day and month\?<\/strong> Line 2: “03\/04\/2025 12:00” and 2 more lines like it\./);
  expect(second).toContain('“25/04/2025 12:00” in line 4 can only be day/month/year: a month has no number above 12.');
  expect(second).not.toContain('Import now');
  const form = { ...formOf(second), dateOrder: 'dmy', decimalComma: 'yes', 'target.1': 'lobby/display-temperature', 'target.2': 'lobby/heater-power', 'target.3': '@skip' };
  await visitor.post(path, { ...form, do: 'check' });
  const third = (await visitor.get(path)).body;
  // 78.8 °F is 26 °C; 03/04 read as 3 April, noon in Denver (MDT, UTC−6).
  expect(third).toContain('2025-04-03T18:00:00.000Z');
  expect(third).toMatch(/Display temperature: <b>26\.00 °C<\/b> <span class="muted">from 78,8/);
  expect(third).toMatch(/Readings that can be stored<\/dt><dd>6</);
  // What was chosen to be left out is counted all the same.
  expect(third).toMatch(/<h2 id="left-out">Left out<\/h2>.*3 values in the file that no point gets.*<dt>x<\/dt><dd>3<\/dd>/);
  await visitor.post(path, { ...formOf(third), decimalComma: 'yes', do: 'run' });
  expect(await ended(visitor, path)).toContain('Wasser (°F) → Display temperature');
  const [hot] = await world.store.readings(world.store.seriesFor('lobby/display-temperature'), Date.UTC(2025, 3, 3), Date.UTC(2025, 3, 4));
  expect(hot).toMatchObject({ atMs: Date.UTC(2025, 3, 3, 18), value: 26 });

  // The next file with this header is filled in as chosen; another tank knows nothing of it.
  const next = await hand(visitor, 'Datum;Wasser (°F);Heizung (W);x\n05/05/2025 12:00;78,8;0;1\n');
  expect(next.body).toContain('Filled in as Ada Example chose for a file with the same header');
  expect(next.body).toMatch(/Readings that can be stored<\/dt><dd>2</);
  expect((await hand(visitor, 'Datum;Wasser (°F);Heizung (W);x\n05/05/2025 12:00;78,8;0;1\n', { tank: 'cafe' })).body).not.toContain('Filled in as');
});

test('columns are proposed with a reason, and two columns for one point are told', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const { path, body } = await hand(visitor, 'time,Temp (°F),Reservoir,Cond (mS/cm),Noise\n2026-01-01T00:00:00Z,78,50,53,1\n');
  expect(body).toContain('proposed: its name is alike');
  expect(body).toMatch(/<dt>Noise<\/dt><dd>1 · no point takes it<\/dd>/);
  expect(formOf(body)).toMatchObject({ 'target.1': 'lobby/display-temperature', 'target.2': 'lobby/reservoir-fill', 'target.3': 'lobby/conductivity', 'target.4': '@skip' });
  await visitor.post(path, { ...formOf(body), 'target.4': 'lobby/display-temperature', 'unit.3': '°C', do: 'check' });
  const checked = (await visitor.get(path)).body;
  expect(checked).toContain('&quot;Temp (°F)&quot; goes to the same point');
  expect(checked).toContain('unit &quot;°C&quot; does not fit Conductivity');
});

test('of a large file the page says what was looked at, and asks for no more than that', async () => {
  const asked: (number | null)[] = [];
  const { logIn } = await makeSite({
    options: ({ imports }) => ({
      imports: {
        ...imports,
        async look(request) {
          asked.push(request.lookBytes);
          // As if the few bytes of this file were many.
          const found = await imports.look(request);
          return 'wrong' in found ? found : { ...found, lookedAt: { bytes: 32 * 1024 * 1024, ofBytes: 480 * 1024 * 1024 } };
        },
      },
    }),
  });
  const { body } = await hand(await logIn(), 'time,display-temperature\n2026-01-01T00:00:00Z,25\n');
  expect(body).toContain('Looked at: the first 32 MB of 480 MB. The import reads the whole file');
  expect(body).toContain('What an import of the first 32 MB would do');
  expect(asked).toEqual([32 * 1024 * 1024]);
});

test('all refused lines can be downloaded, and none of them is a formula', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const rows = Array.from({ length: 1200 }, (_, n) => `2026-01-01T00:00:00Z,display-temperature,bad${n}`);
  const { path, body } = await hand(visitor, `time,series,value\n2026-01-01T00:00:00Z,display-temperature,1\n${rows.join('\n')}\n`);
  await visitor.post(path, { ...formOf(body), do: 'run' });
  const done = await ended(visitor, path);
  expect(done).toContain('The first 100 of 1200.');
  const list = await visitor.get(`${path}/rejected.csv`);
  expect([list.headers['content-type'], list.headers['content-disposition']]).toEqual(['text/csv; charset=utf-8', 'attachment; filename="rejected.csv"']);
  const lines = list.body.split('\r\n');
  expect(lines).toHaveLength(1202);
  expect(lines[1200]).toMatch(/^1202,"display-temperature: the value ""bad1199"" is no number/);
  expect((await visitor.get('/import/unheard-of/rejected.csv')).statusCode).toBe(410);
  for (const bad of ['=1+1', '+1', '-1', '@SUM(A1)', '\tx', '\rx']) expect(safeCell(bad)).toBe(`"'${bad}"`);
  expect(rejectedRows([{ line: 3, reason: 'a "b", c' }])).toBe('3,"a ""b"", c"\r\n');
});

test('an import that runs is shown, can be cancelled, and the next one waits', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  let release: () => void = () => undefined;
  const held = new Promise<void>((resolve) => {
    release = resolve;
  });
  const addHistory = world.store.addHistory.bind(world.store);
  world.store.addHistory = async (history) => {
    await held;
    return addHistory(history);
  };
  const big = `time,series,value\n${Array.from({ length: 30_000 }, (_, n) => `${new Date(Date.UTC(2025, 0, 1) + n * 1000).toISOString()},conductivity,53`).join('\n')}\n`;
  const first = await hand(visitor, big, fields, 'first.csv');
  await visitor.post(first.path, { ...formOf(first.body), do: 'run' });
  const second = await hand(visitor, csv, fields, 'second.csv');
  await visitor.post(second.path, { ...formOf(second.body), do: 'run' });
  await expect.poll(async () => (await visitor.get(first.path)).body).toContain('first.csv is being imported');
  const running = (await visitor.get(first.path)).body;
  expect(running).toMatch(/<progress value="\d+" max="100"/);
  expect(running).toContain('<noscript><meta http-equiv="refresh" content="2"/></noscript>');
  expect((await visitor.get(second.path)).body).toContain('Another import is under way');
  expect((await visitor.get('/import')).body).toMatch(/second\.csv<\/a>: waits.*first\.csv<\/a>: under way/s);
  await visitor.post(`${first.path}/cancel`);
  release();
  const over = await ended(visitor, first.path);
  expect(over).toContain('first.csv: cancelled');
  expect(over).toContain('What was stored until then stays');
  expect(await ended(visitor, second.path)).toContain('second.csv is imported');
  expect(world.store.journalRows.filter(({ kind }) => kind === 'import').map((row) => row.text)).toEqual([
    expect.stringMatching(/^first\.csv: 1\d{4} readings stored, 0 known already, 0 refused; cancelled by Ada Example$/),
    'second.csv: 2 readings stored, 0 known already, 1 refused',
  ]);
});

test('when the store fails for good, the person is told what and where', async () => {
  const { world, logIn } = await makeSite();
  const visitor = await logIn();
  world.store.addHistory = async () => {
    throw new Error('a fault of ours');
  };
  const { path, body } = await hand(visitor, csv);
  await visitor.post(path, { ...formOf(body), do: 'run' });
  const over = await ended(visitor, path);
  expect(over).toContain('logger.csv: failed');
  expect(over).toContain('stopped: a fault of ours');
});

test('a file that nobody comes back for is not imported later', async () => {
  const { clock, world, logIn } = await makeSite();
  const visitor = await logIn();
  const { path, body } = await hand(visitor, csv);
  clock.advance(16 * 60_000);
  await expect.poll(async () => (await visitor.get(path)).statusCode).toBe(410);
  const late = await visitor.post(path, { ...formOf(body), do: 'run' });
  expect(late.statusCode).toBe(410);
  expect(late.body).toContain('Upload it again');
  expect(world.imports).toEqual([]);
});

test('somebody else cannot press the button', async () => {
  const { app, world, logIn } = await makeSite();
  const { path, body } = await hand(await logIn(), csv);
  expect((await app.inject({ method: 'POST', url: path })).statusCode).toBe(302);
  const [account] = world.store.accountRows;
  if (account === undefined) throw new Error('no account');
  await world.store.putAccount({ ...account, name: 'other' });
  const other = await app.inject({ method: 'POST', url: '/login', payload: 'name=other&password=correct+horse+tank', headers: { 'content-type': 'application/x-www-form-urlencoded' } });
  const [cookie] = other.cookies;
  const cookies = { [cookie?.name ?? '']: cookie?.value ?? '' };
  const pressed = await app.inject({ method: 'POST', url: path, cookies, payload: new URLSearchParams({ ...formOf(body), do: 'run' }).toString(), headers: { 'content-type': 'application/x-www-form-urlencoded' } });
  expect(pressed.statusCode).toBe(410);
  expect(world.imports).toEqual([]);
});

test.each([
  [{ tank: 'nowhere' }, { name: 'a.csv', text: csv }, 'There is no such tank.'],
  [{ ...fields, timeZone: 'Mars/Olympus' }, { name: 'a.csv', text: csv }, 'is no time zone. Write it like America/Denver'],
  [fields, { name: '', text: '' }, 'Choose a file first.'],
])('%j with %j is refused: %s', async (sent, file, words) => {
  const { world, logIn } = await makeSite();
  const answer = await (await logIn()).inject({ method: 'POST', url: '/import', ...upload(sent, file) });
  expect(answer.statusCode).toBe(400);
  expect(answer.body).toContain(words);
  expect(world.imports).toEqual([]);
});

test('a wrong answer in the form is told beside it; a file that cannot be opened offers what could help', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const { path, body } = await hand(visitor, csv);
  const wrong = await visitor.post(path, { ...formOf(body), timeZone: 'Mars/Olympus', do: 'check' });
  expect([wrong.statusCode, wrong.body]).toEqual([400, expect.stringContaining('is no time zone. Write it like America/Denver')]);
  const broken = await hand(visitor, 'time,Temp (\uFFFDF)\n2026-01-01T00:00:00Z,78\n');
  expect(broken.body).toContain('set encoding: windows-1252');
  expect(broken.body).toContain('<option value="windows-1252">');
});

test('what a file calls itself and its columns is text, never markup', async () => {
  const { logIn } = await makeSite();
  const visitor = await logIn();
  const evil = '<script>alert(1)</script>';
  const { path, body } = await hand(visitor, `time,${evil}\n2026-01-01T00:00:00Z,${evil}\n`, fields, 'a<img src=x>.csv');
  for (const page of [body, (await visitor.get('/import')).body, (await visitor.post(path, { 'label.0': evil, 'target.0': evil, do: 'check' })).body]) expect(page.match(/<script(?! type="module" src="\/assets\/)|<img/g)).toBeNull();
});

test('a file far larger than any form is taken', async () => {
  const { logIn } = await makeSite();
  const line = '2026-01-01T00:00:00Z,display-temperature,x\n';
  const content = `time,series,value\n${line.repeat(60_000)}`;
  expect(content.length).toBeGreaterThan(2_000_000);
  const { body } = await hand(await logIn(), content, fields, 'big.csv');
  expect(body).toMatch(/Lines read<\/dt><dd>60000</);
  expect(body).toContain('There is nothing to import in it.');
  expect(body).not.toContain('Import now');
});

const token = 'a-token-of-this-start';
const viaToken = (given: string, query: string, payload = csv) => ({ method: 'POST' as const, url: `/api/import?${query}`, payload, headers: { 'content-type': 'text/csv', authorization: `Bearer ${given}` } });

test('the command line on this machine imports with its own token, which opens nothing else', async () => {
  const { app, world } = await makeSite({ options: () => ({ localToken: token }) });
  const query = 'tank=lobby&fileName=x.csv&dryRun=false';
  for (const wrong of ['', 'a-token', `${token}s`]) expect((await app.inject(viaToken(wrong, query))).statusCode).toBe(401);
  const answer = await app.inject(viaToken(token, query));
  expect(importShape.parse(answer.json())).toMatchObject({ state: 'done', rowsRead: 3, stored: 2, refusedTotal: 1, perPoint: [{ label: 'display-temperature', pointId: 'lobby/display-temperature', readings: 2 }] });
  expect(world.imports).toMatchObject([{ by: 'command line', tankId: 'lobby', file: { name: 'x.csv' }, useMemory: true, propose: false }]);
  const bad = await app.inject(viaToken(token, 'dateOrder=sideways'));
  expect([bad.statusCode, bad.json().message]).toEqual([400, expect.stringContaining('dateOrder')]);
  for (const url of ['/api/board', '/']) expect([302, 401]).toContain((await app.inject({ url, headers: { authorization: `Bearer ${token}` } })).statusCode);
});

test('the command line maps, asks how far it is, fetches what was refused; a likely point is only told', async () => {
  const { app } = await makeSite({ options: () => ({ localToken: token }) });
  const authorization = `Bearer ${token}`;
  const wide = 'Zeit;Wasser (°F)\n2026-01-01T00:00:00Z;78.8\n2026-01-01T00:01:00Z;warm\n';
  const dry = importShape.parse((await app.inject(viaToken(token, 'tank=lobby&dryRun=true', wide))).json());
  expect(dry).toMatchObject({ id: null, state: 'looked', stored: 0, questions: [{ option: 'timeColumn', text: 'Zeit', needed: true }] });
  const likely = importShape.parse((await app.inject(viaToken(token, 'tank=lobby&dryRun=true', 'time;Temp (°F)\n2026-01-01T00:00:00Z;78.8\n'))).json());
  expect(likely).toMatchObject({ stored: 0, columns: [{ label: 'time', target: '@time' }, { label: 'Temp (°F)', target: 'lobby/display-temperature', isProposal: true }] });
  expect(likely.refused).toEqual([{ line: 2, reason: expect.stringContaining('"Temp (°F)" is no point of lobby; map it to one of display-temperature') }]);

  const map = '&map=Zeit%3D%40time&map=Wasser%3Ddisplay-temperature';
  const begun = await app.inject(viaToken(token, `tank=lobby&wait=false${map}`, wide));
  expect(begun.statusCode).toBe(202);
  const { id } = importShape.parse(begun.json());
  const now = async () => importShape.parse((await app.inject({ url: `/api/import/${id}`, headers: { authorization } })).json());
  await expect.poll(async () => (await now()).state).toBe('done');
  expect(await now()).toMatchObject({ stored: 1, refusedTotal: 1 });
  expect((await app.inject({ url: `/api/import/${id}/rejected.csv`, headers: { authorization } })).body).toContain('3,"Wasser: the value');
  // Said once, it is known.
  expect(importShape.parse((await app.inject(viaToken(token, 'tank=lobby', wide))).json())).toMatchObject({ state: 'done', stored: 0, alreadyKnown: 1 });
  expect(importShape.parse((await app.inject(viaToken(token, 'tank=lobby&remembered=false', wide))).json())).toMatchObject({ state: 'failed', problem: expect.stringContaining('"Zeit" looks like it') });
  const wrongMap = await app.inject(viaToken(token, 'tank=lobby&map=nonsense', wide));
  expect([wrongMap.statusCode, wrongMap.json().message]).toEqual([400, expect.stringContaining('is no mapping')]);
  expect((await app.inject({ url: '/api/import/nothing', headers: { authorization } })).statusCode).toBe(404);
});

test('without a token configured, none opens anything', async () => {
  const { app } = await makeSite();
  for (const authorization of ['Bearer ', 'Bearer undefined', 'Bearer']) {
    expect((await app.inject({ method: 'POST', url: '/api/import', payload: csv, headers: { 'content-type': 'text/csv', authorization } })).statusCode).toBe(401);
  }
});

test('what waits is deleted when its time is over, lists of refused lines after a day, and everything at the end', async () => {
  const files = importFiles((error) => {
    throw error;
  });
  const put = async (nowMs: number) => {
    const held = await files.put({ accountId: 1, fileName: 'a.csv', tankId: null, choices: noChoices, content: Readable.from(['x']) }, nowMs);
    if (held === null) throw new Error('refused');
    const stream = held.file.open() as ReadStream;
    const path = String(stream.path);
    for await (const _chunk of stream);
    return { id: held.id, path };
  };
  const [first, second, third] = [await put(0), await put(10 * 60_000), await put(0)];
  let finish: () => void = () => undefined;
  const sink = files.take(third.id, new Promise<void>((resolve) => {
    finish = resolve;
  }), 0);
  await sink([{ line: 2, reason: 'no' }]);
  await sink([{ line: 3, reason: '=no' }]);
  // The mark that tells spreadsheets that it is UTF-8.
  expect((await buffer(files.rejected(third.id) ?? Readable.from([]))).toString('utf8')).toBe('\uFEFFline,reason\r\n2,"no"\r\n3,"\'=no"\r\n');
  await files.dropExpired(15 * 60_000);
  expect([existsSync(first.path), existsSync(second.path), existsSync(third.path)]).toEqual([false, true, true]);
  finish();
  await expect.poll(() => existsSync(third.path)).toBe(false);
  expect([files.get(first.id, 1), files.get(second.id, 2)]).toEqual([null, null]);
  await files.dropExpired(9 * 60_000 + 10 * 60_000);
  expect(files.rejected(third.id)).not.toBeNull();
  for (let n = 0; n < 7; n += 1) await put(20 * 60_000);
  await expect(put(20 * 60_000)).rejects.toThrow('refused');
  await files.dropExpired(86_400_000);
  expect(files.rejected(third.id)).toBeNull();
  await files.stop();
  expect(existsSync(second.path)).toBe(false);
});
