/** The pages in a real Chromium: what a technician does at night, on a phone, and without JavaScript. */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type { Browser, BrowserContext, Page, Request } from 'playwright-core';
import { afterAll, beforeAll, expect, onTestFinished, test } from 'vitest';
import { systemClock } from '../../src/clock.ts';
import { startWeb } from '../../src/web/start.ts';
import { GOOD_TOKEN, LOGIN, type World, makeWorld } from '../web/world.ts';
import { startChromium } from './chromium.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await startChromium();
});
afterAll(async () => {
  await browser?.close();
});

const phone = { width: 375, height: 812 };
const desk = { width: 1440, height: 900 };
const paths = ['/', '/tanks/lobby', '/tanks/ward?range=7d', '/alarms', '/alarms/1', '/alarms/5', '/journal', '/sources', '/sources/claim?topic=sites/tower/strip&part=/outlets/0/watts', '/points/lobby/conductivity/calibration', '/import', '/no-such-page'];
const openPaths = ['/login', `/acknowledge/${GOOD_TOKEN}`, '/acknowledge/old'];

interface Visit {
  readonly world: World;
  readonly page: Page;
  readonly context: BrowserContext;
  readonly url: string;
  /** What the console complained about. */
  readonly complaints: string[];
  stop(): Promise<void>;
}

async function visit(options: Parameters<Browser['newContext']>[0] = {}): Promise<Visit> {
  const world = await makeWorld(systemClock);
  const web = await startWeb(world.options);
  const context = await browser.newContext({ viewport: phone, ...options });
  const page = await context.newPage();
  const complaints: string[] = [];
  page.on('pageerror', (error) => complaints.push(error.message));
  // A page that answers 404 or 410 says so in the console as well; everything else is ours.
  page.on('console', (message) => {
    if (message.type() === 'error' && !/status of 4(04|10)/.test(message.text())) complaints.push(message.text());
  });
  page.on('request', (request) => {
    if (!request.url().startsWith(web.url)) complaints.push(`asked another host: ${request.url()}`);
  });
  let stopped = false;
  const stop = async (): Promise<void> => {
    if (!stopped) await web.stop();
    stopped = true;
  };
  onTestFinished(async () => {
    await context.close();
    await stop();
  });
  return { world, page, context, url: web.url, complaints, stop };
}

async function logIn({ page, url }: Visit): Promise<void> {
  await page.goto(`${url}/login`);
  await page.getByLabel('Name').fill(LOGIN.name);
  await page.getByLabel('Password').fill(LOGIN.password);
  await page.getByRole('button', { name: 'Log in' }).click();
  await page.waitForURL(`${url}/`);
}

/** How many different colours a canvas holds: one for a blank one. */
const coloursOn = async (page: Page, selector: string): Promise<number> => Number(await page.evaluate(`(() => {
  const canvas = document.querySelector(${JSON.stringify(selector)});
  const { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
  const seen = new Set();
  for (let at = 0; at < data.length; at += 4) seen.add(data.slice(at, at + 4).join(','));
  return seen.size;
})()`));

/** Dark pixels in the middle of a plot, between axes and edges: the line of the data. */
const inkOn = async (page: Page, selector: string): Promise<number> => Number(await page.evaluate(`(() => {
  const canvas = document.querySelector(${JSON.stringify(selector)});
  const { data } = canvas.getContext('2d').getImageData(canvas.width * 0.25, canvas.height * 0.05, canvas.width * 0.4, canvas.height * 0.7);
  let dark = 0;
  for (let at = 0; at < data.length; at += 4) if (data[at + 3] > 150 && data[at] < 120) dark += 1;
  return dark;
})()`));

test('from the board over the tank and its charts to the alarm, and acknowledged', async () => {
  const seen = await visit();
  const { page, world, complaints } = seen;
  await logIn(seen);
  await expect.poll(() => page.locator('.board > li h2').first().textContent()).toContain('Lobby reef');
  await page.getByRole('link', { name: 'Lobby reef' }).click();
  const chart = 'figure[data-point="lobby/display-temperature"] canvas';
  await page.locator(chart).waitFor();
  await expect.poll(() => coloursOn(page, chart)).toBeGreaterThan(5);
  await page.locator('#open ~ ul').getByRole('link', { name: 'Display temperature out of limits' }).click();
  await page.getByRole('button', { name: 'Acknowledge' }).click();
  await page.getByText('Acknowledged.', { exact: true }).waitFor();
  expect(world.engine.commands).toEqual([{ type: 'acknowledge', alarmId: 1, by: 'Ada Example', via: 'web' }]);
  expect(await page.getByRole('button', { name: 'Acknowledge' }).count()).toBe(0);
  expect(complaints).toEqual([]);
});

test('a chart is drawn from what is stored: a chart of nothing stays empty', async () => {
  const seen = await visit();
  const { page, world, url } = seen;
  world.store.rows.delete(world.store.seriesFor('lobby/conductivity'));
  await logIn(seen);
  await page.goto(`${url}/tanks/lobby`);
  const drawn = 'figure[data-point="lobby/heater-power"] canvas';
  const blank = 'figure[data-point="lobby/conductivity"] canvas';
  await page.locator(blank).waitFor();
  await expect.poll(() => inkOn(page, drawn)).toBeGreaterThan(100);
  expect(await inkOn(page, blank)).toBe(0);
});

test('without JavaScript: the link of a message acknowledges, and one finds everything', async () => {
  const { page, world, url } = await visit({ javaScriptEnabled: false });
  await page.goto(`${url}/acknowledge/${GOOD_TOKEN}`);
  expect(world.engine.commands).toEqual([]);
  await page.getByRole('button', { name: 'I am looking after it (Ada Example)' }).click();
  await page.getByText('Thank you, Ada Example').waitFor();
  expect(world.engine.commands).toEqual([{ type: 'acknowledge', alarmId: 1, by: 'Ada Example', via: 'link' }]);
});

test('without JavaScript: log in, look, shelve', async () => {
  const seen = await visit({ javaScriptEnabled: false });
  const { page, world, url } = seen;
  await logIn(seen);
  await page.getByRole('link', { name: 'Lobby reef' }).click();
  expect(await page.locator('figure[data-point="lobby/display-temperature"] svg path.mean').count()).toBe(1);
  await page.goto(`${url}/alarms/2`);
  await page.locator('summary', { hasText: 'Shelve' }).click();
  await page.locator('form[action$="/shelve"]').getByLabel('Reason').fill('new heater on order');
  await page.locator('form[action$="/shelve"]').getByLabel('24 hours').check();
  await page.locator('form[action$="/shelve"]').getByRole('button', { name: 'Shelve' }).click();
  await page.getByText('Shelved.', { exact: true }).waitFor();
  expect(world.engine.commands).toMatchObject([{ type: 'shelve', ruleId: 'lobby/heater-stuck-on/heater-1', why: 'new heater on order' }]);
});

test('the board changes by itself when something happens, and says when it cannot', async () => {
  const seen = await visit();
  const { page, world, stop } = seen;
  await logIn(seen);
  await expect.poll(() => page.locator('.live-word').textContent()).toBe('Live');
  await page.getByRole('link', { name: 'Waiting room' }).focus();
  await world.engine.command({ type: 'acknowledge', alarmId: 1, by: 'Bo Sample', via: 'cli' });
  await world.engine.command({ type: 'acknowledge', alarmId: 2, by: 'Bo Sample', via: 'cli' });
  await expect.poll(() => page.locator('.board > li').filter({ hasText: 'Lobby reef' }).locator('.standing').textContent(), { timeout: 10_000 }).toContain('being looked after');
  // Whoever stands on a link with the keyboard still stands there, in the new board.
  expect(await page.evaluate('document.activeElement.textContent')).toContain('Waiting room');
  await stop();
  await expect.poll(() => page.locator('.live-word').textContent(), { timeout: 10_000 }).toMatch(/^Not live since \d\d:\d\d$/);
});

test('what somebody is filling in stays, whatever changes around it', async () => {
  const seen = await visit();
  const { page, world, url } = seen;
  await logIn(seen);
  await page.goto(`${url}/alarms/1`);
  await expect.poll(() => page.locator('.live-word').textContent()).toBe('Live');
  await page.locator('summary', { hasText: 'Shelve' }).click();
  await page.locator('#shelve-why').fill('half a reas');
  await world.engine.command({ type: 'acknowledge', alarmId: 1, by: 'Bo Sample', via: 'cli' });
  await expect.poll(() => page.locator('[data-live="course"]').textContent(), { timeout: 10_000 }).toContain('by Bo Sample');
  expect(await page.locator('#shelve-why').inputValue()).toBe('half a reas');
});

const loggerCsv = [
  'Example logger (invented);no. 7;;', 'Datum;Wassertemperatur (°F);Heizung;Notiz', '03/04/2025 12:00;78,8;0;a', '04/04/2025 12:00;79,0;warm;b', '25/04/2025 12:00;77,0;300;c',
].join('\r\n');

async function handIn({ page, url }: Visit, text: string): Promise<void> {
  await page.goto(`${url}/import`);
  await page.getByLabel('CSV file').setInputFiles({ name: 'logger.csv', mimeType: 'text/csv', buffer: Buffer.from(text) });
  await page.locator('select[name=tank]').selectOption('lobby');
  await page.getByRole('button', { name: 'Read and show' }).click();
  await page.getByRole('heading', { name: 'What logger.csv holds' }).waitFor();
}

test.each([true, false])('a CSV file is uploaded, its columns mapped, looked at, imported, and what was refused downloaded (JavaScript: %s)', async (javaScriptEnabled) => {
  const seen = await visit({ javaScriptEnabled });
  const { page, world, complaints } = seen;
  await logIn(seen);
  await handIn(seen, loggerCsv);
  // The time is asked for first, then what the dates mean; each with the cell that raises it.
  await page.getByText('Which column is the time?').waitFor();
  await page.getByRole('button', { name: 'Read again with this' }).click();
  await page.getByText('“25/04/2025 12:00” in line 5 can only be day/month/year').waitFor();
  expect(await page.getByRole('button', { name: 'Import now' }).count()).toBe(0);
  await page.getByLabel('Dates like 03/04/2026').selectOption('dmy');
  await page.getByLabel('Decimal comma').check();
  await page.getByLabel('Where Wassertemperatur (°F) goes').selectOption('lobby/display-temperature');
  await page.getByLabel('Where Heizung goes').selectOption('lobby/heater-power');
  await page.getByRole('button', { name: 'Read again with this' }).click();
  await page.getByText('26.00 °C').waitFor();
  await page.getByText('2025-04-03T18:00:00.000Z').waitFor();
  await page.getByRole('button', { name: 'Import now' }).click();
  await page.getByRole('heading', { name: 'logger.csv is imported' }).waitFor();
  const download = page.waitForEvent('download');
  await page.getByRole('link', { name: 'Download the refused lines' }).click();
  expect(readFileSync(await (await download).path(), 'utf8')).toMatch(/line,reason\r\n4,"Heizung: the value ""warm"" is no number/);
  const stored = await world.store.readings(world.store.seriesFor('lobby/display-temperature'), Date.UTC(2025, 3, 1), Date.UTC(2025, 4, 1));
  expect(stored.map(({ value }) => value)).toEqual([26, 26.1111111111, 25]);
  // The next file of this logger is filled in.
  await handIn(seen, loggerCsv);
  await page.getByText('Filled in as Ada Example chose for a file with the same header').waitFor();
  expect(await page.getByRole('button', { name: 'Import now' }).count()).toBe(1);
  expect(complaints).toEqual([]);
});

test.each([true, false])('a running import moves on by itself and can be cancelled (JavaScript: %s)', async (javaScriptEnabled) => {
  const seen = await visit({ javaScriptEnabled });
  const { page, world } = seen;
  await logIn(seen);
  let release: () => void = () => undefined;
  const held = new Promise<void>((resolve) => {
    release = resolve;
  });
  world.store.addHistory = async (history) => {
    await held;
    return history.reduce((count, { atMs }) => count + atMs.length, 0);
  };
  const rows = Array.from({ length: 25_000 }, (_, n) => `${new Date(Date.UTC(2025, 0, 1) + n * 1000).toISOString()},conductivity,53`);
  await handIn(seen, `time,series,value\n${rows.join('\n')}\n`);
  await page.getByRole('button', { name: 'Import now' }).click();
  await page.getByRole('heading', { name: 'logger.csv is being imported' }).waitFor();
  expect(await page.locator('progress').count()).toBe(1);
  await page.getByRole('button', { name: 'Cancel the import' }).click();
  release();
  await page.getByRole('heading', { name: 'logger.csv: cancelled' }).waitFor();
  await page.getByText('cancelled by Ada Example').waitFor();
});

test('the pages of an import fit a phone and have no serious fault, with everything open', async () => {
  const seen = await visit();
  const { page } = seen;
  const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
  await logIn(seen);
  const look = async (name: string): Promise<void> => {
    await page.evaluate('document.querySelectorAll("details").forEach((one) => { one.open = true; })');
    expect([name, Number(await page.evaluate('document.documentElement.scrollWidth')) <= phone.width]).toEqual([name, true]);
    await page.evaluate(axe);
    const found = await page.evaluate('axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then(({ violations }) => violations.filter(({ impact }) => impact !== "minor").map(({ id, nodes }) => [id, nodes.slice(0, 2).map(({ html, failureSummary }) => html.slice(0, 160) + failureSummary)]))');
    expect([name, found]).toEqual([name, []]);
  };
  await handIn(seen, loggerCsv);
  await look('questions');
  await handIn(seen, 'time,Temp (°F),a_rather_long_name_of_a_column_that_has_nowhere_to_break_on_a_narrow_phone,Cond\n2026-01-01T00:00:00Z,78,oops,53\n');
  await look('columns');
  await page.getByRole('button', { name: 'Import now' }).click();
  await page.getByRole('heading', { name: 'logger.csv is imported' }).waitFor();
  await look('result');
});

test('no page scrolls sideways on a phone, and none complains in the console', async () => {
  const seen = await visit();
  const { page, url, complaints } = seen;
  const widths: [string, number][] = [];
  const measure = async (path: string): Promise<void> => {
    await page.goto(`${url}${path}`);
    if (path.startsWith('/tanks') || path.startsWith('/alarms/')) await page.locator('canvas').first().waitFor();
    // Open what folds: forms inside must fit as well.
    await page.evaluate('document.querySelectorAll("details").forEach((one) => { one.open = true; })');
    widths.push([path, Number(await page.evaluate('document.documentElement.scrollWidth'))]);
  };
  for (const path of openPaths) await measure(path);
  await logIn(seen);
  for (const path of paths) await measure(path);
  expect(widths.filter(([, width]) => width > phone.width)).toEqual([]);
  expect(complaints).toEqual([]);
});

test.each([['light', phone], ['dark', phone], ['light', desk], ['dark', desk]] as const)('axe finds nothing serious on any page, %s, %o', async (colorScheme, viewport) => {
  const seen = await visit({ colorScheme, viewport });
  const { page, url } = seen;
  // The page's own rules forbid foreign scripts: the checker runs beside them, in the debugger's world.
  const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
  const found: string[] = [];
  const check = async (path: string): Promise<void> => {
    await page.goto(`${url}${path}`);
    await page.evaluate('document.querySelectorAll("details").forEach((one) => { one.open = true; })');
    await page.evaluate(axe);
    const violations = (await page.evaluate('axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((result) => result.violations)')) as
      { id: string; impact: string; nodes: { html: string; failureSummary: string }[] }[];
    for (const { id, impact, nodes } of violations) if (impact !== 'minor') found.push(`${path}: ${impact} ${id}: ${nodes.slice(0, 2).map((node) => `${node.html.slice(0, 160)} ${node.failureSummary}`).join(' | ')}`);
  };
  for (const path of openPaths) await check(path);
  await logIn(seen);
  for (const path of paths) await check(path);
  expect(found).toEqual([]);
}, 90_000);

test('the first view is small enough for one bar', async () => {
  const seen = await visit();
  const { page, url } = seen;
  await logIn(seen);
  for (const path of ['/', '/tanks/lobby', '/alarms/1']) {
    const cold = await seen.context.browser()?.newContext({ viewport: phone, storageState: await seen.context.storageState() });
    if (cold === undefined) throw new Error('no browser');
    const fresh = await cold.newPage();
    const finished: Request[] = [];
    fresh.on('requestfinished', (request) => finished.push(request));
    await fresh.goto(`${url}${path}`, { waitUntil: 'load' });
    if (path !== '/') await fresh.locator('canvas').first().waitFor();
    // No request may be added from here on: one measured after the context is closed would reject where nobody waits for it.
    fresh.removeAllListeners('requestfinished');
    const sizes = await Promise.all(finished.map((request) => request.sizes()));
    const bytes = sizes.reduce((sum, size) => sum + size.responseBodySize + size.responseHeadersSize, 0);
    await cold.close();
    expect([path, bytes > 2000, bytes <= 100_000]).toEqual([path, true, true]);
  }
  await page.close();
});

test('everything on the way to an acknowledgement can be reached by keyboard, with a visible focus', async () => {
  const seen = await visit();
  const { page, url, world } = seen;
  await logIn(seen);
  await page.goto(`${url}/alarms/1`);
  await page.keyboard.press('Tab');
  expect(await page.evaluate('document.activeElement.textContent')).toBe('Skip to the content');
  await page.keyboard.press('Enter');
  await page.keyboard.press('Tab');
  expect(await page.evaluate('document.activeElement.textContent')).toBe('Acknowledge');
  expect(await page.evaluate('getComputedStyle(document.activeElement).outlineWidth')).toBe('3px');
  await page.keyboard.press('Enter');
  await page.getByText('Acknowledged.', { exact: true }).waitFor();
  expect(world.engine.commands).toHaveLength(1);
});
