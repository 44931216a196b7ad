import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { parseStory } from './parse.ts';
import { storyFleet } from './fleet.ts';
import { causeKinds } from './one-cause/kinds.ts';
import { tellStory } from './tell.ts';

const { fleet, rules } = await storyFleet();
/** By folder: what the stories there are about, and how many there are at least. */
const told = { '.': [{ fleet, rules }, 5], 'one-cause': [await storyFleet('one-cause', causeKinds), 5], 'every-kind': [await storyFleet('one-cause'), 2] } as const;

for (const [folder, [world, least]] of Object.entries(told)) {
  const files = readdirSync(join(import.meta.dirname, folder)).filter((name) => name.endsWith('.story'));
  test(`there are stories in ${folder}`, () => expect(files.length).toBeGreaterThanOrEqual(least));
  for (const file of files) {
    const story = parseStory(readFileSync(join(import.meta.dirname, folder, file), 'utf8'));
    test(`${file}: ${story.title}`, async () => {
      expect(await tellStory(story, world.fleet, world.rules)).toEqual([]);
    });
  }
}

test('a story whose expectation is wrong fails', async () => {
  const story = parseStory('# wrong\nevery 30s display-temperature 25.4 x10\nat 4m expect alarm limit/display-temperature unacknowledged');
  expect(await tellStory(story, fleet, rules)).toEqual([expect.stringContaining('line 3')]);
});

test('a page that no line expects fails the story', async () => {
  const story = parseStory('# wrong\nevery 30s display-temperature 25.4 x10, 32.0 x120');
  expect(await tellStory(story, fleet, rules)).toEqual([expect.stringContaining('no line expected')]);
});
