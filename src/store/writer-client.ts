/**
 * The writer in a thread of its own, as seen from the others. A commit waits for the disk, on a memory card for tenths of a second at times; here
 * only those wait who asked for it, and what arrives meanwhile is read and decoded.
 */
import { Worker } from 'node:worker_threads';
import { type Batch, StoreError } from './contract.ts';
import { packReadings } from './reading.ts';
import type { StoreWriter } from './writer.ts';
import { type Answer, type Ask, type Askable, type Method, OPENED, type Space, type ThreadData, type ToldError } from './writer-protocol.ts';

/** Room for objects that die young, in MB: the thread makes few of them. */
const YOUNG_MB = 8;

interface Waiting {
  readonly resolve: (value: unknown) => void;
  readonly reject: (error: StoreError) => void;
}

/** @throws StoreError when the database cannot be opened. */
export async function startWriterThread(file: string, reserveBytes: number | null): Promise<StoreWriter> {
  const data: ThreadData = { file, reserveBytes };
  const thread = new WriterThread(file, new Worker(new URL('./writer-thread.mjs', import.meta.url), { workerData: data, resourceLimits: { maxYoungGenerationSizeMb: YOUNG_MB } }));
  await thread.opened;
  const ask = thread.ask.bind(thread);
  return {
    space: () => thread.space,
    commit: (batch) => thread.commit(batch),
    seriesFor: (...args) => ask('seriesFor', args),
    load: (...args) => ask('load', args),
    claim: (...args) => ask('claim', args),
    settle: (...args) => ask('settle', args),
    enqueue: (...args) => ask('enqueue', args),
    oldestUnsentMs: (...args) => ask('oldestUnsentMs', args),
    addHistory: (...args) => ask('addHistory', args),
    appendJournal: (...args) => ask('appendJournal', args),
    accounts: (...args) => ask('accounts', args),
    accountByName: (...args) => ask('accountByName', args),
    putAccount: (...args) => ask('putAccount', args),
    removeAccount: (...args) => ask('removeAccount', args),
    putSession: (...args) => ask('putSession', args),
    accountBySession: (...args) => ask('accountBySession', args),
    removeSession: (...args) => ask('removeSession', args),
    fleetText: (...args) => ask('fleetText', args),
    putFleet: (...args) => ask('putFleet', args),
    seal: (...args) => ask('seal', args),
    dropBefore: (...args) => ask('dropBefore', args),
    dropEndedSessions: (...args) => ask('dropEndedSessions', args),
    putSealedCheck: (...args) => ask('putSealedCheck', args),
    checkpoint: (...args) => ask('checkpoint', args),
    importMemory: (...args) => ask('importMemory', args),
    rememberImport: (...args) => ask('rememberImport', args),
    calibrations: (...args) => ask('calibrations', args),
    putCalibration: (...args) => ask('putCalibration', args),
    unclaimedSources: (...args) => ask('unclaimedSources', args),
    unclaimedSource: (...args) => ask('unclaimedSource', args),
    unclaimedMessages: (...args) => ask('unclaimedMessages', args),
    claimUnclaimed: (...args) => ask('claimUnclaimed', args),
    close: () => thread.close(),
  };
}

class WriterThread {
  /** As of the last answer. */
  space: Space = { takesReadings: true, trouble: null };
  readonly opened: Promise<unknown>;
  readonly #file: string;
  readonly #worker: Worker;
  readonly #ended: Promise<void>;
  readonly #waiting = new Map<number, Waiting>();
  #asked = OPENED;
  #gone: StoreError | null = null;
  #closing: Promise<void> | null = null;

  constructor(file: string, worker: Worker) {
    this.#file = file;
    this.#worker = worker;
    this.opened = this.#answerTo(OPENED);
    worker.on('message', (answer: Answer) => this.#take(answer));
    worker.on('error', (error) => this.#end(error));
    worker.on('messageerror', (error) => this.#end(error));
    this.#ended = new Promise((resolve) => worker.once('exit', () => {
      this.#end(null);
      resolve();
    }));
  }

  ask<M extends Method>(method: M, args: Parameters<Askable[M]>, move: readonly ArrayBuffer[] = []): Promise<Awaited<ReturnType<Askable[M]>>> {
    if (this.#gone !== null) return Promise.reject(this.#gone);
    this.#asked += 1;
    const ask: Ask = { id: this.#asked, method, args };
    try {
      this.#worker.postMessage(ask, move);
    } catch (error) {
      // Something in it cannot cross: a fault of the program, and nobody would ever answer.
      return Promise.reject(error);
    }
    return this.#answerTo(ask.id).then((value) => value as Awaited<ReturnType<Askable[M]>>);
  }

  commit(batch: Batch): Promise<void> {
    const packed = packReadings(batch.readings);
    // A view of a few bytes would take the whole buffer along that the network has read into.
    const unclaimed = batch.unclaimed?.map((message) => ({ ...message, bytes: Uint8Array.from(message.bytes) }));
    return this.ask('commitPacked', [{ ...batch, readings: [], packed, ...(unclaimed === undefined ? {} : { unclaimed }) }], [packed.buffer]);
  }

  close(): Promise<void> {
    this.#closing ??= this.#gone === null ? this.ask('close', []).then(() => this.#ended) : Promise.resolve();
    return this.#closing;
  }

  #answerTo(id: number): Promise<unknown> {
    return new Promise((resolve, reject) => this.#waiting.set(id, { resolve, reject }));
  }

  #take(answer: Answer): void {
    this.space = answer.space;
    const waiting = this.#waiting.get(answer.id);
    this.#waiting.delete(answer.id);
    if ('error' in answer) waiting?.reject(storeError(answer.error));
    else waiting?.resolve(answer.value);
  }

  /** Whether what was asked last has been done is not known: as after any crash, the store itself has to say. */
  #end(error: Error | null): void {
    this.#gone ??= new StoreError(error === null ? `${this.#file} is closed` : `the thread that writes ${this.#file} ended: ${error.message}`, { permanent: true, cause: error });
    for (const { reject } of this.#waiting.values()) reject(this.#gone);
    this.#waiting.clear();
  }
}

function storeError({ message, permanent, cause }: ToldError): StoreError {
  return new StoreError(message, { permanent, ...(cause === null ? {} : { cause: new Error(cause) }) });
}
