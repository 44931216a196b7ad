/**
 * The fleet in force, and how it changes while the service runs. One change at a time. A text is checked completely before anything is
 * touched; then it is journaled and kept, and engine and router take it at the same place of the queue, so that no message falls between.
 */
import { readFileSync } from 'node:fs';
import type { AnyFormat, Decode, Field } from '../../adapters/contract.ts';
import { messageFields } from '../../adapters/message-fields.ts';
import { unreadFields } from '../../adapters/rest-of-document.ts';
import type { Clock } from '../clock.ts';
import type { Calibration } from '../domain/calibration.ts';
import { kinds } from '../domain/kinds.ts';
import { showDuration } from '../domain/duration.ts';
import type { Fleet } from '../domain/fleet.ts';
import type { Reading } from '../domain/reading.ts';
import type { ClaimOutcome, ClaimRequest, FleetDesk, FleetOutcome } from '../engine/claim-contract.ts';
import type { Engine } from '../engine/engine.ts';
import { Intake, isRefusal } from '../ingest/intake.ts';
import { compileRules } from '../rules/compile.ts';
import type { Rule } from '../rules/contract.ts';
import type { CalibrationStore, FleetStore, HistoryWriter, LiveStore, UnclaimedStore } from '../store/contract.ts';
import { type MessageTime, UNCLAIMED_MESSAGES, type ValuePlace } from '../domain/unclaimed.ts';
import { addPoint, pointLine, type WrittenPoint } from './add-point.ts';
import { applyFleet } from './apply-fleet.ts';
import { fleetChanges } from './changes.ts';
import { type FleetReaders, readFleet } from './fleet-file.ts';
import { type Mistake, showMistake } from './mistake.ts';
import type { NamedSecret } from './secrets.ts';
import { writeFleetFile } from './write-fleet-file.ts';

export interface FleetInForce {
  readonly fleet: Fleet;
  readonly rules: readonly Rule[];
}

export interface FleetDeskParts {
  readonly fleetFile: string;
  readonly readers: FleetReaders;
  readonly store: FleetStore & UnclaimedStore & CalibrationStore & HistoryWriter & Pick<LiveStore, 'seriesFor'>;
  readonly engine: Pick<Engine, 'applyFleet'>;
  readonly clock: Clock;
  readonly first: FleetInForce;
  /** Secrets of a fleet that the environment lacks. */
  missing(secrets: readonly NamedSecret[]): readonly Mistake[];
}

/** Called at the moment from which on what arrives must go by the new fleet. */
export type OnFleet = (inForce: FleetInForce) => void;

export class Desk implements FleetDesk {
  readonly #parts: FleetDeskParts;
  readonly #listeners: OnFleet[] = [];
  #inForce: FleetInForce;
  #last: Promise<unknown> = Promise.resolve();

  constructor(parts: FleetDeskParts) {
    this.#parts = parts;
    this.#inForce = parts.first;
  }

  get inForce(): FleetInForce {
    return this.#inForce;
  }

  onFleet(listener: OnFleet): void {
    this.#listeners.push(listener);
  }

  apply(text: string, by: string): Promise<FleetOutcome> {
    return this.#inTurn(() => this.#apply(text, by));
  }

  reload(by: string): Promise<FleetOutcome> {
    return this.#inTurn(async () => {
      const text = this.#readFile();
      const outcome: FleetOutcome = text.ok ? await this.#apply(text.text, by) : { outcome: 'refused', mistakes: [text.why] };
      if (outcome.outcome === 'refused') await this.#parts.store.appendJournal([this.#refusedEntry(outcome.mistakes, by)]);
      return outcome;
    });
  }

  claim(request: ClaimRequest): Promise<ClaimOutcome> {
    return this.#inTurn(() => this.#claim(request));
  }

  /** For after a start: the file may have been edited meanwhile, or a claim been cut short by a crash. */
  bringPast(): Promise<void> {
    return this.#inTurn(() => this.#bringPast('tankbell', null));
  }

  calibrate(calibration: Calibration): Promise<void> {
    return this.#inTurn(async () => {
      const { store, engine } = this.#parts;
      const { fleet, rules } = this.#inForce;
      const point = fleet.points.find(({ id }) => id === calibration.pointId);
      const unit = point === undefined ? '' : ` ${kinds[point.kind].unit}`;
      await store.putCalibration(calibration, {
        atMs: calibration.enteredMs, kind: 'fleet', siteId: point?.siteId ?? null, tankId: point?.tankId ?? null, alarmId: null, by: calibration.by,
        text: `${point?.name ?? calibration.pointId} calibrated: raw × ${calibration.slope} ${calibration.offset < 0 ? '−' : '+'} ${Math.abs(calibration.offset)}${unit} from ${new Date(calibration.fromMs).toISOString()} on: ${calibration.why}`,
        detail: { ...calibration },
      });
      await engine.applyFleet(fleet, rules);
    });
  }

  #inTurn<Result>(work: () => Promise<Result>): Promise<Result> {
    const done = this.#last.then(work);
    this.#last = done.catch(() => undefined);
    return done;
  }

  #readFile(): { readonly ok: true; readonly text: string } | { readonly ok: false; readonly why: string } {
    try {
      return { ok: true, text: readFileSync(this.#parts.fleetFile, 'utf8') };
    } catch (error) {
      if (!(error instanceof Error && 'code' in error)) throw error;
      return { ok: false, why: `the fleet file ${this.#parts.fleetFile} cannot be read (${String(error.code)})` };
    }
  }

  #check(text: string): { readonly fleet: Fleet } | { readonly mistakes: readonly string[] } {
    const { fleetFile, readers, missing } = this.#parts;
    const read = readFleet(text, fleetFile, readers);
    if ('mistakes' in read) return { mistakes: read.mistakes.map((mistake) => showMistake(mistake)) };
    const lacking = missing(read.secrets);
    return lacking.length > 0 ? { mistakes: lacking.map((mistake) => showMistake(mistake)) } : { fleet: read.fleet };
  }

  /** @param claimed topic of the claim that is under way, which brings its past itself. */
  async #apply(text: string, by: string, claimed: string | null = null): Promise<FleetOutcome> {
    const { store, readers, clock } = this.#parts;
    const checked = this.#check(text);
    if ('mistakes' in checked) return { outcome: 'refused', mistakes: checked.mistakes };
    const rules = compileRules(checked.fleet, readers.kinds);
    const changes = await applyFleet(store, text, checked.fleet, this.#inForce.fleet, by, clock.now());
    if (changes.length > 0) {
      await this.#take({ fleet: checked.fleet, rules });
      await this.#bringPast(by, claimed);
    }
    return { outcome: 'taken', changes: changes.length };
  }

  /** Messages that were kept while nobody read them become the history of the points that do by now. A topic read in part has had its turn. */
  async #bringPast(by: string, except: string | null): Promise<void> {
    const { store, engine } = this.#parts;
    const { fleet, rules } = this.#inForce;
    let brought = 0;
    for (const { topic, partial } of await store.unclaimedSources()) {
      const points = partial || topic === except ? [] : fleet.points.filter(({ source }) => source?.topic === topic);
      for (const [index, { id }] of points.entries()) {
        const past = await this.#pastOf(id, topic);
        const stored = await store.claimUnclaimed(topic, past.readings, past.hasMore || index + 1 < points.length);
        if (past.readings.length > 0) await store.appendJournal([this.#pastEntry(`${topic} is read by ${id} now`, topic, by, id, stored, past)]);
        brought += stored;
      }
    }
    // So that the latest of them is what the point is known by, as it would be after a restart. It is not judged.
    if (brought > 0) await engine.applyFleet(fleet, rules);
  }

  async #take(next: FleetInForce): Promise<void> {
    const before = this.#inForce;
    const taken = this.#parts.engine.applyFleet(next.fleet, next.rules);
    this.#put(next);
    try {
      await taken;
    } catch (error) {
      this.#put(before);
      throw error;
    }
  }

  #put(next: FleetInForce): void {
    this.#inForce = next;
    for (const listener of this.#listeners) listener(next);
  }

  async #claim(request: ClaimRequest): Promise<ClaimOutcome> {
    const { fleetFile, store, engine } = this.#parts;
    const point = writtenPoint(request);
    const refuse = (...why: readonly string[]): ClaimOutcome => ({ outcome: 'refused', why, line: `- ${pointLine(point)}` });
    const file = this.#readFile();
    if (!file.ok) return refuse(file.why);
    const current = this.#check(file.text);
    if ('mistakes' in current) return refuse('the fleet file has mistakes, and nothing is added to it before they are mended', ...current.mistakes);
    const waiting = fleetChanges(this.#inForce.fleet, current.fleet);
    if (waiting.length > 0) return refuse(`the fleet file holds ${waiting.length === 1 ? 'a change that is' : `${waiting.length} changes that are`} not in force yet; take the file anew first, so that nobody's half-done work goes live by this`, ...waiting.slice(0, 5).map((change) => change.text));
    const added = addPoint(file.text, request.ownerId, point);
    if ('why' in added) return refuse(added.why);
    const checked = this.#check(added.text);
    if ('mistakes' in checked) return refuse(...checked.mistakes);
    const problem = writeFleetFile(fleetFile, added.text);
    if (problem !== null) return refuse(`${problem}; add the line below to the points of ${request.ownerId} yourself, then take the file anew`);
    const taken = await this.#apply(added.text, request.by, request.topic);
    if (taken.outcome === 'refused') return refuse(...taken.mistakes);

    const pointId = `${request.ownerId}/${request.pointId}`;
    const past = await this.#pastOf(pointId, request.topic);
    const stored = await store.claimUnclaimed(request.topic, past.readings, past.hasMore);
    if (past.readings.length > 0) {
      await store.appendJournal([this.#pastEntry(`${request.topic} was claimed to ${pointId}`, request.topic, request.by, pointId, stored, past)]);
      // So that the latest of them is what the point is known by, as it would be after a restart. It is not judged.
      await engine.applyFleet(this.#inForce.fleet, this.#inForce.rules);
    }
    return { outcome: 'claimed', pointId, stored, unreadable: past.unreadable };
  }

  /** What the kept messages say, read by the new point's own format and intake. */
  async #pastOf(pointId: string, topic: string): Promise<{ readonly readings: readonly Reading[]; readonly unreadable: number; readonly hasMore: boolean }> {
    const { store, readers } = this.#parts;
    const { fleet } = this.#inForce;
    const point = fleet.points.find(({ id }) => id === pointId);
    const format = readers.formats.get(point?.source?.format ?? '');
    if (point === undefined || point.source === null || format === undefined) throw new Error(`${pointId} was claimed and is not in the fleet`);
    const decode = keptReader(format, { pointId, options: point.source.options });
    const intake = new Intake({ ...fleet, points: [point] }, await store.seriesFor([pointId]), new Map());
    const readings: Reading[] = [];
    let unreadable = 0;
    const messages = await store.unclaimedMessages(topic, UNCLAIMED_MESSAGES);
    for (const { bytes, arrivedMs } of [...messages].reverse()) {
      const { samples, refusals } = decode(bytes, { topic, arrivedMs });
      const taken = samples.filter((sample) => sample.pointId === pointId).map((sample) => intake.take(sample, arrivedMs));
      for (const one of taken) if (!isRefusal(one)) readings.push(one);
      // A message of other values only is none that could not be read.
      if (taken.length === 0 ? refusals.length > 0 : taken.some(isRefusal)) unreadable += 1;
    }
    const claimed = fleet.points.filter(({ source }) => source?.topic === topic).map(({ source }) => source?.options);
    // The latest message may hold one value of many.
    const hasMore = messages.some(({ bytes, arrivedMs }) => unreadFields(messageFields(topic, bytes, arrivedMs).fields, claimed).length > 0);
    return { readings, unreadable, hasMore };
  }

  #refusedEntry(mistakes: readonly string[], by: string) {
    return {
      atMs: this.#parts.clock.now(), kind: 'fleet' as const, siteId: null, tankId: null, alarmId: null, by,
      text: `The fleet file was not taken (${mistakes.length === 1 ? '1 mistake' : `${mistakes.length} mistakes`}); the fleet before stays in force: ${mistakes[0] ?? ''}`, detail: { mistakes: mistakes.slice(0, 20) },
    };
  }

  #pastEntry(what: string, topic: string, by: string, pointId: string, stored: number, past: { readonly readings: readonly Reading[]; readonly unreadable: number }) {
    const point = this.#inForce.fleet.points.find(({ id }) => id === pointId);
    const times = past.readings.map(({ atMs }) => atMs);
    const fromMs = Math.min(...times);
    const toMs = Math.max(...times);
    return {
      atMs: this.#parts.clock.now(), kind: 'import' as const, siteId: point?.siteId ?? null, tankId: point?.tankId ?? null, alarmId: null, by,
      text: `${what}: ${stored} readings of the last ${showDuration(toMs - fromMs)} that were kept came along`,
      detail: { topic, pointId, stored, unreadable: past.unreadable, span: { fromMs, toMs } },
    };
  }
}

function writtenPoint({ pointId, name, kind, unit, equipment, everyMs, topic, place, unitPointer, time }: ClaimRequest): WrittenPoint {
  return {
    id: pointId, ...(name === null ? {} : { name }), kind, ...(equipment === null ? {} : { equipment }), ...(unit === null ? {} : { unit }),
    every: writtenDuration(everyMs), source: writtenSource(topic, place, unitPointer, time),
  };
}

function writtenSource(topic: string, place: ValuePlace, unitPointer: string | null, time: MessageTime | null): WrittenPoint['source'] {
  switch (place.format) {
    case 'number':
      return { topic, format: 'number' };
    case 'json':
      return { topic, format: 'json', value: place.pointer, ...(time === null ? {} : { time: time.pointer, timeFormat: time.format }), ...(unitPointer === null ? {} : { unit: unitPointer }) };
    case 'senml':
      return { topic, format: 'senml', name: place.name, ...(place.unit === null ? {} : { unit: place.unit }), ...(place.read === 'value' ? {} : { read: place.read }) };
    case 'sparkplug':
      return { topic, format: 'sparkplug', metric: place.metric };
  }
}

const keptReader = (format: AnyFormat, field: Field): Decode => ('prepare' in format ? format.prepare([field]) : format.prepareKept([field]));

/** `30s`, `1m30s`: as the fleet file writes durations. */
function writtenDuration(ms: number): string {
  const seconds = Math.max(1, Math.round(ms / 1000));
  if (seconds % 60 !== 0) return seconds < 120 ? `${seconds}s` : `${Math.floor(seconds / 60)}m${seconds % 60}s`;
  const minutes = seconds / 60;
  return minutes % 60 === 0 ? `${minutes / 60}h` : `${minutes}m`;
}
