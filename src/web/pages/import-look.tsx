/** @jsxRuntime automatic @jsxImportSource preact */
import type { ComponentChildren } from 'preact';
import { type CsvChoices, roleTargets } from '../../../adapters/csv-choices.ts';
import type { CsvQuestion } from '../../../adapters/csv-look.ts';
import { csvDateOrders, csvOverlaps, csvTimeFormats } from '../../../adapters/csv-time.ts';
import type { Point } from '../../domain/fleet.ts';
import { type Kind, kinds } from '../../domain/kinds.ts';
import { show, unitsOf } from '../../domain/units.ts';
import type { ImportLook, LookColumn, LookRow, NotReadable } from '../../engine/import-contract.ts';
import type { HeldFile } from '../import-files.ts';
import { type Viewer, page } from '../layout.tsx';
import { showFullTime } from '../times.ts';
import { words } from '../words.ts';
import { LeftOut, PerPoint, Refused, ReportFacts } from './import-facts.tsx';

export interface ImportLookFacts {
  readonly viewer: Viewer;
  readonly held: HeldFile;
  readonly found: ImportLook | NotReadable;
  readonly problem: string | null;
  readonly tankName: string | null;
}

/** What a file holds as it would be read, everything about it that can be chosen, and what has to be said before it can be imported. */
export function importLookPage(facts: ImportLookFacts): string {
  const { viewer, held, found, problem, tankName } = facts;
  const w = words.import;
  const title = w.report(held.file.name);
  const look = 'wrong' in found ? null : found;
  const choices = look?.choices ?? held.choices;
  return page({
    viewer,
    title,
    here: 'import',
    children: (
      <>
        <h1>{title}</h1>
        {problem !== null && <p class="problem" role="alert">{problem}</p>}
        {'wrong' in found && <p class="problem" role="alert">{w.line(found.line)}: {found.wrong}</p>}
        {look !== null && <Shape look={look} tankName={tankName} />}
        {look?.lookedAt != null && <p class="problem">{w.lookedAtPart(megabytes(look.lookedAt.bytes), megabytes(look.lookedAt.ofBytes))}</p>}
        {look?.remembered != null && <p class="done">{w.remembered(look.remembered.by, showFullTime(look.remembered.savedMs, viewer.zone))}</p>}
        <form method="post" action={`/import/${held.id}`} class="import-form">
          {look !== null && look.questions.length > 0 && (
            <section aria-labelledby="questions">
              <h2 id="questions">{w.questions}</h2>
              {look.questions.map((question) => <Question key={question.option} question={question} choices={choices} />)}
            </section>
          )}
          {look !== null && <Columns look={look} />}
          <details class="panel" open={'wrong' in found}>
            <summary>{w.settings}</summary>
            <Settings choices={choices} asked={new Set(look?.questions.map(({ option }) => option) ?? [])} zone={look?.timeZone ?? null} />
          </details>
          <p class="buttons">
            <button name="do" value="check">{w.recheck}</button>
            {look !== null && look.report !== null && look.report.stored > 0 && <button class="main" name="do" value="run">{w.run}</button>}
            <button class="plain" formaction={`/import/${held.id}/cancel`}>{w.discard}</button>
          </p>
        </form>
        {look !== null && look.report === null && <p class="problem">{w.answerFirst}</p>}
        {look !== null && look.report !== null && look.report.stored === 0 && <p>{w.nothing}</p>}
        {look !== null && <Preview look={look} />}
        {look !== null && look.report !== null && (
          <>
            <h2>{look.lookedAt === null ? w.would : w.wouldPart(megabytes(look.lookedAt.bytes))}</h2>
            <ReportFacts report={look.report} zone={look.timeZone ?? viewer.zone} isLook />
            <PerPoint report={look.report} points={look.points} />
            <LeftOut report={look.report} />
            <Refused report={look.report} download={null} />
          </>
        )}
      </>
    ),
  });
}

const megabytes = (bytes: number): string => `${Math.floor(bytes / (1024 * 1024))} MB`;

function Shape({ look, tankName }: { readonly look: ImportLook; readonly tankName: string | null }) {
  const w = words.import;
  return (
    <>
      <dl class="facts panel">
        <dt>{w.tank}</dt><dd>{tankName ?? w.noTank}</dd>
        <dt>{w.layout}</dt><dd>{look.layout === null ? words.unknown : w.layouts[look.layout]}</dd>
        <dt>{w.separator}</dt><dd>{w.separators[look.delimiter] ?? look.delimiter}</dd>
        <dt>{w.header}</dt><dd>{w.line(look.headerLine)}{look.unitsLine === null ? '' : `, ${w.unitsLine(look.unitsLine)}`}</dd>
        <dt>{w.timeZone}</dt><dd>{look.timeZone ?? words.unknown}</dd>
      </dl>
      {look.above.length > 0 && (
        <details>
          <summary>{w.above(look.above.length)}</summary>
          <ul class="lines panel">{look.above.map(({ line, text }) => <li key={line} class="excerpt">{`${line}: ${text}`}</li>)}</ul>
        </details>
      )}
    </>
  );
}

/** The question, the cell that raises it, and the answer to choose, in one place. */
function Question({ question, choices }: { readonly question: CsvQuestion; readonly choices: CsvChoices }) {
  const w = words.import;
  const { option, line, text, lines, proof, remark, needed } = question;
  return (
    <div class="problem question">
      <p><strong>{w.question[option]}</strong> {w.evidence(line, text, lines)}</p>
      {remark !== null && <p>{remark}</p>}
      {proof !== null && <p>{w.proof(proof.line, proof.text, w.dateOrders[proof.value as keyof typeof w.dateOrders] ?? proof.value)}</p>}
      {!needed && <p class="muted">{w.otherwiseRefused}</p>}
      {option !== 'timeColumn' && <Setting option={option} choices={choices} />}
    </div>
  );
}

type Option = Exclude<CsvQuestion['option'], 'timeColumn'>;

function Settings({ choices, asked, zone }: { readonly choices: CsvChoices; readonly asked: ReadonlySet<string>; readonly zone: string | null }) {
  const w = words.import;
  const options = ['timeZone', 'dateOrder', 'timeFormat', 'overlap', 'decimalComma'] as const;
  return (
    <div class="fields">
      {options.filter((option) => !asked.has(option)).map((option) => <Setting key={option} option={option} choices={choices} zone={zone} />)}
      <Select name="encoding" label={w.encoding} chosen={choices.encoding} none={w.noEncoding} options={[['windows-1252', 'Windows-1252'], ['utf-16le', 'UTF-16 (little endian)'], ['utf-16be', 'UTF-16 (big endian)']]} />
      <Select name="delimiter" label={w.separator} chosen={choices.delimiter} none={w.noDelimiter} options={[[',', w.separators[','] ?? ','], [';', w.separators[';'] ?? ';'], ['\t', w.separators['\t'] ?? 'tab'], ['|', w.separators['|'] ?? '|']]} />
    </div>
  );
}

function Setting({ option, choices, zone = null }: { readonly option: Option; readonly choices: CsvChoices; readonly zone?: string | null }) {
  const w = words.import;
  switch (option) {
    case 'timeZone':
      return <label>{w.timeZone}<input name="timeZone" value={choices.timeZone ?? ''} maxLength={60} autocomplete="off" placeholder={zone ?? 'America/Denver'} /></label>;
    case 'dateOrder':
      return <Select name="dateOrder" label={w.dateOrder} chosen={choices.dateOrder} none={w.noDateOrder} options={csvDateOrders.map((order) => [order, w.dateOrders[order]])} />;
    case 'timeFormat':
      return <Select name="timeFormat" label={w.timeFormat} chosen={choices.timeFormat} none={w.noTimeFormat} options={csvTimeFormats.map((format) => [format, w.timeFormats[format]])} />;
    case 'overlap':
      return <Select name="overlap" label={w.overlap} chosen={choices.overlap} none={w.overlaps.refuse} options={csvOverlaps.filter((one) => one !== 'refuse').map((one) => [one, w.overlaps[one]])} />;
    case 'decimalComma':
      return <label class="check"><input type="checkbox" name="decimalComma" value="yes" checked={choices.decimalComma} />{w.decimalComma}</label>;
  }
}

function Select({ name, label, chosen, none, options }: { readonly name: string; readonly label: string; readonly chosen: string | null; readonly none: string; readonly options: readonly (readonly [string, string])[] }) {
  return (
    <label>{label}
      <select name={name}>
        <option value="">{none}</option>
        {options.map(([value, text]) => <option key={value} value={value} selected={value === chosen}>{text}</option>)}
      </select>
    </label>
  );
}

function Columns({ look }: { readonly look: ImportLook }) {
  const w = words.import;
  const units = unitGroups(look.points);
  return (
    <section aria-labelledby="columns">
      <h2 id="columns">{look.layout === 'long' ? w.columnsAndSeries : w.columns}</h2>
      <table class="panel cards columns">
        <thead><tr><th scope="col">{w.column.name}</th><th scope="col">{w.column.samples}</th><th scope="col">{w.column.target}</th><th scope="col">{w.column.unit}</th></tr></thead>
        <tbody>
          {look.columns.map((column, index) => (
            <tr key={column.label}>
              <th scope="row">{column.label}<input type="hidden" name={`label.${index}`} value={column.label} /></th>
              <td data-label={w.column.samples}><span class="excerpt">{column.samples.length === 0 ? w.empty : column.samples.join(' · ')}</span></td>
              <td>
                <Target column={column} index={index} points={look.points} />
                {column.why !== null && <p class={column.isProposal ? 'proposed' : 'muted'}>{column.isProposal ? w.proposed(column.why) : column.why}</p>}
                {column.problem !== null && <p class="problem">{column.problem}</p>}
              </td>
              <td>
                {column.target?.startsWith('@') !== true && (
                  <select name={`unit.${index}`} aria-label={w.unitOf(column.label)}>
                    <option value="">{column.unit === null ? w.unitOfPoint : w.unitOfFile(column.unit)}</option>
                    {units.map(([kind, list]) => (
                      <optgroup key={kind} label={kinds[kind].name}>
                        {list.map((unit) => <option key={unit} value={unit} selected={unit === column.chosenUnit && kindOf(column, look.points) === kind}>{unit}</option>)}
                      </optgroup>
                    ))}
                  </select>
                )}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function Target({ column, index, points }: { readonly column: LookColumn; readonly index: number; readonly points: readonly Point[] }) {
  const w = words.import;
  const roles = column.isColumn ? roleTargets.filter((role) => role !== '@skip') : [];
  return (
    <select name={`target.${index}`} aria-label={w.targetOf(column.label)}>
      <option value="@skip" selected={column.target === null || column.target === '@skip'}>{w.leaveOut}</option>
      <optgroup label={w.points}>
        {points.map((point) => <option key={point.id} value={point.id} selected={point.id === column.target}>{`${point.name} (${kinds[point.kind].name})`}</option>)}
      </optgroup>
      {roles.length > 0 && (
        <optgroup label={w.roles}>
          {roles.map((role) => <option key={role} value={role} selected={role === column.target}>{w.role[role]}</option>)}
        </optgroup>
      )}
    </select>
  );
}

const kindOf = (column: LookColumn, points: readonly Point[]): Kind | null => points.find(({ id }) => id === column.target)?.kind ?? null;

/** Units by kind, of the kinds there are points of. */
function unitGroups(points: readonly Point[]): readonly (readonly [Kind, readonly string[]])[] {
  const present = new Set(points.map(({ kind }) => kind));
  present.delete('switch');
  return [...present].map((kind) => [kind, unitsOf(kind)] as const);
}

function Preview({ look }: { readonly look: ImportLook }) {
  const w = words.import;
  if (look.preview.length === 0) return null;
  return (
    <section aria-labelledby="preview">
      <h2 id="preview">{w.preview}</h2>
      <table class="panel cards">
        <thead><tr><th scope="col" class="num">{w.column.line}</th><th scope="col">{w.column.written}</th><th scope="col">{w.column.readAs}</th><th scope="col">{w.column.values}</th></tr></thead>
        <tbody>{look.preview.map((row) => <PreviewLine key={row.line} row={row} look={look} />)}</tbody>
      </table>
    </section>
  );
}

function PreviewLine({ row, look }: { readonly row: LookRow; readonly look: ImportLook }) {
  const w = words.import;
  const zone = look.timeZone ?? 'UTC';
  const pointOf = (id: string): Point | undefined => look.points.find((point) => point.id === id);
  const readAs: ComponentChildren = row.atMs === null ? <span class="unknown-why">{row.why}</span>
    : <>{showFullTime(row.atMs, zone)}<br /><span class="muted">{new Date(row.atMs).toISOString()}</span></>;
  return (
    <tr>
      <td class="num" data-label={w.column.line}>{row.line}</td>
      <td data-label={w.column.written}><span class="excerpt">{row.time}</span></td>
      <td data-label={w.column.readAs}>{readAs}</td>
      <td>
        {row.values.map(({ label, text, pointId, value, wrong }) => {
          const point = pointOf(pointId);
          return (
            <p key={label}>
              {point?.name ?? pointId}: {wrong !== null || point === undefined ? <span class="unknown-why">{wrong}</span> : <b>{show(point.kind, value)}</b>} <span class="muted">{w.fromText(text)}</span>
            </p>
          );
        })}
      </td>
    </tr>
  );
}
