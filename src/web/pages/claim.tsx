/** @jsxRuntime automatic @jsxImportSource preact */
import type { Equipment, Site, Tank } from '../../domain/fleet.ts';
import { type Kind, kindNames, kinds } from '../../domain/kinds.ts';
import { unitsOf } from '../../domain/units.ts';
import { type Viewer, page } from '../layout.tsx';
import { showAge } from '../times.ts';
import type { UnclaimedFacts, UnclaimedValue } from '../unclaimed.ts';
import { words } from '../words.ts';
import { guessText, latestText } from './unclaimed.tsx';

export interface ClaimFields {
  readonly owner: string;
  readonly pointId: string;
  readonly name: string;
  readonly kind: Kind | '';
  readonly unit: string;
  readonly equipment: string;
  readonly every: string;
  readonly useTime: boolean;
}

export interface ClaimPageFacts {
  readonly viewer: Viewer;
  readonly facts: UnclaimedFacts;
  readonly value: UnclaimedValue;
  readonly fields: ClaimFields;
  /** Where it may belong: the tanks of the site, and the site. */
  readonly tanks: readonly Tank[];
  readonly sites: readonly Site[];
  readonly equipment: readonly Equipment[];
  /** Why it was not done, and the line to write by hand. */
  readonly problem: { readonly why: readonly string[]; readonly line: string | null } | null;
}

export function claimPage({ viewer, facts, value, fields, tanks, sites, equipment, problem }: ClaimPageFacts): string {
  const w = words.unclaimed;
  const { source, time } = facts;
  return page({
    viewer,
    title: w.claimTitle,
    here: 'sources',
    children: (
      <section class="narrow">
        <h1>{w.claimTitle}</h1>
        <dl class="facts panel">
          <dt>{value.place.format === 'sparkplug' ? w.gateway : w.topic}</dt><dd><code>{source.topic}</code></dd>
          {value.part !== null && <><dt>{w.part[value.place.format]}</dt><dd><code>{value.part}</code></dd></>}
          <dt>{w.latest}</dt><dd>{`${latestText(value)} (${showAge(source.lastMs, viewer.nowMs)})`}</dd>
          <dt>{w.guessed}</dt><dd>{guessText(value)}</dd>
        </dl>
        {problem !== null && (
          <div class="problem" role="alert">
            {problem.why.map((why) => <p key={why} class="as-written">{why}</p>)}
            {problem.line !== null && <pre><code>{problem.line}</code></pre>}
          </div>
        )}
        <form method="post" action="/sources/claim" class="stack">
          <input type="hidden" name="topic" value={source.topic} />
          {value.part !== null && <input type="hidden" name="part" value={value.part} />}
          <label>{w.owner}
            <select name="owner">
              {tanks.map((tank) => <option key={tank.id} value={tank.id} selected={tank.id === fields.owner}>{tank.name}</option>)}
              {sites.map((site) => <option key={site.id} value={site.id} selected={site.id === fields.owner}>{w.siteItself(site.name)}</option>)}
            </select>
          </label>
          <label>{w.name}<input name="name" value={fields.name} maxLength={100} autocomplete="off" placeholder={w.nameFromId} /></label>
          <label>{w.id}<input name="pointId" value={fields.pointId} maxLength={60} required autocomplete="off" autocapitalize="none" spellcheck={false} /></label>
          <p class="muted">{w.idHelp}</p>
          <label>{w.kind}
            <select name="kind" required>
              <option value="">{w.chooseKind}</option>
              {kindNames.map((kind) => <option key={kind} value={kind} selected={kind === fields.kind}>{kinds[kind].name}</option>)}
            </select>
          </label>
          <label>{w.unit}
            <select name="unit">
              <option value="">{w.unitOfKind}</option>
              {kindNames.filter((kind) => kind !== 'switch').map((kind) => (
                <optgroup key={kind} label={kinds[kind].name}>
                  {unitsOf(kind).map((unit) => <option key={unit} value={unit} selected={unit === fields.unit && (fields.kind === kind || fields.kind === '')}>{unit}</option>)}
                </optgroup>
              ))}
            </select>
          </label>
          <label>{w.equipment}
            <select name="equipment">
              <option value="">{w.noEquipment}</option>
              {equipment.map((one) => <option key={one.id} value={one.id} selected={one.id === fields.equipment}>{`${tanks.find(({ id }) => id === one.tankId)?.name ?? one.tankId}: ${one.name}`}</option>)}
            </select>
          </label>
          <label>{w.cadence}<input name="every" value={fields.every} maxLength={20} required autocomplete="off" /></label>
          {value.place.format === 'sparkplug' && <p class="muted">{w.onChange}</p>}
          {time !== null && <label class="check"><input type="checkbox" name="useTime" value="yes" checked={fields.useTime} />{w.useTime(time.pointer)}</label>}
          <p class="muted">{w.claimHelp}</p>
          <button class="main">{w.claimNow}</button>
        </form>
      </section>
    ),
  });
}
