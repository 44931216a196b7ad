import { readdirSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { loadRuleKinds, RuleKindError } from '../../src/rules/load.ts';

const folder = (name: string): URL => new URL(`./broken-kinds/${name}/`, import.meta.url);

async function faultsIn(name: string): Promise<readonly string[]> {
  const error: unknown = await loadRuleKinds(folder(name)).then(() => null, (reason: unknown) => reason);
  if (!(error instanceof RuleKindError)) throw new Error(`${name} was loaded`);
  return error.faults;
}

describe('loading rule kinds', () => {
  it('finds every file of the folder under its own name', async () => {
    const files = readdirSync(new URL('../../src/rules/kinds/', import.meta.url)).map((file) => file.replace(/\.ts$/, ''));
    expect([...(await loadRuleKinds()).keys()].sort()).toEqual(files.sort());
    expect(files).toContain('heater-stuck-on');
  });

  it('names the file and what its kind must be', async () => {
    expect(await faultsIn('misnamed')).toEqual(['rules/kinds/some-rule.ts: kind is "limit", but must be the file name, "some-rule"']);
  });

  it('tells everything that is wrong with settings at once', async () => {
    const faults = (await faultsIn('settings')).join('\n');
    expect(faults).toContain('bare-settings.ts: settings.unsaid has no .describe() sentence');
    expect(faults).toContain('settings.priority: this key of the fleet file belongs to every rule');
    expect(faults).toContain('settings must accept {}');
    expect(faults).toContain('settings must refuse keys it does not know');
  });

  it('checks state, step and policy', async () => {
    const faults = (await faultsIn('state')).join('\n');
    expect(faults).toContain('bad-state.ts: step must be a function');
    expect(faults).toContain('initial does not survive being stored as JSON');
    expect(faults).toContain('state refuses its own initial');
    expect(faults).toContain('policy: ');
  });

  it('names a file that cannot be loaded, or exports nothing', async () => {
    expect(await faultsIn('crash')).toEqual(['rules/kinds/crashing.ts: cannot be loaded: broken on purpose']);
    expect((await faultsIn('empty')).join()).toContain('nothing.ts: has no default export');
  });
});
