/** Files that wait for an import: how long, and that a slow upload is none that waits. */
import { PassThrough } from 'node:stream';
import { expect, test } from 'vitest';
import { noChoices } from '../../adapters/csv-choices.ts';
import { DAY, MINUTE } from '../../src/domain/duration.ts';
import { importFiles } from '../../src/web/import-files.ts';

test('an upload that takes longer than a file waits is not thrown away half written, and waits its full time then', async () => {
  const files = importFiles((error) => { throw error; });
  try {
    const content = new PassThrough();
    const put = files.put({ accountId: 1, fileName: 'a.csv', tankId: null, choices: noChoices, content }, 0);
    content.write('time,');
    for (let atMs = 0; atMs <= 40 * MINUTE; atMs += MINUTE) await files.dropExpired(atMs);
    content.end('temperature\n');
    const held = await put;
    expect(held?.file.bytes).toBe('time,temperature\n'.length);
    await files.dropExpired(54 * MINUTE);
    expect(files.get(held?.id ?? '', 1)).not.toBeNull();
    await files.dropExpired(DAY);
    expect(files.get(held?.id ?? '', 1)).toBeNull();
  } finally {
    await files.stop();
  }
});
