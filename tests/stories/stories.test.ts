import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { parseStory } from './parse.ts';
import { storyFleet } from './fleet.ts';
import { tellStory } from './tell.ts';

const folder = import.meta.dirname;
const files = readdirSync(folder).filter((name) => name.endsWith('.story'));
const { fleet, rules } = await storyFleet();

test('there are stories', () => expect(files.length).toBeGreaterThan(8));

for (const file of files) {
  const story = parseStory(readFileSync(join(folder, file), 'utf8'));
  test(`${file}: ${story.title}`, async () => {
    expect(await tellStory(story, fleet, rules)).toEqual([]);
  });
}

test('a story whose expectation is wrong fails', async () => {
  const story = parseStory('# wrong\nevery 30s display-temperature 25.4 x10\nat 4m expect alarm limit/display-temperature unacknowledged');
  expect(await tellStory(story, fleet, rules)).toEqual([expect.stringContaining('line 3')]);
});

test('a page that no line expects fails the story', async () => {
  const story = parseStory('# wrong\nevery 30s display-temperature 25.4 x10, 32.0 x120');
  expect(await tellStory(story, fleet, rules)).toEqual([expect.stringContaining('no line expected')]);
});
