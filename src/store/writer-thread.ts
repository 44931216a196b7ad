/** The writer's thread: opens the database, does what it is asked in the order in which it is asked, and answers. */
import { parentPort, workerData } from 'node:worker_threads';
import { storeErrorOf } from './errors.ts';
import { openStoreWriter } from './writer.ts';
import { type Answer, type Ask, OPENED, type Space, type ThreadData, type ToldError } from './writer-protocol.ts';

const { file, reserveBytes }: ThreadData = workerData;
const port = parentPort;
if (port === null) throw new Error('this file runs in a thread of its own; src/store/writer-client.ts starts it');

const answer = (message: Answer): void => port.postMessage(message);
const unopened: Space = { takesReadings: false, trouble: null };

function open(): ReturnType<typeof openStoreWriter>['writer'] | null {
  try {
    return openStoreWriter(file, reserveBytes).writer;
  } catch (error) {
    answer({ id: OPENED, error: told(error), space: unopened });
    return null;
  }
}

const writer = open();
if (writer !== null) {
  port.on('message', ({ id, method, args }: Ask) => {
    const work: Promise<unknown> = Reflect.apply(writer[method], writer, args);
    work.then(
      (value) => answer({ id, value, space: writer.space() }),
      (error: unknown) => answer({ id, error: told(error), space: writer.space() }),
    ).finally(() => {
      if (method === 'close') port.close();
    });
  });
  answer({ id: OPENED, value: null, space: writer.space() });
}

function told(error: unknown): ToldError {
  const known = storeErrorOf(error, file);
  return { message: known.message, permanent: known.permanent, cause: known.cause instanceof Error ? `${known.cause.name}: ${known.cause.message}` : null };
}
