/** Messages no point reads, bounded: a device gone mad on an unknown topic must not fill the disk. */
import type { Database } from 'better-sqlite3';
import type { Reading } from '../domain/reading.ts';
import { UNCLAIMED_MESSAGE_BYTES, UNCLAIMED_MESSAGES, UNCLAIMED_SOURCE_BYTES, UNCLAIMED_SOURCES, type UnclaimedMessage } from '../domain/unclaimed.ts';
import type { Connection } from './connection.ts';
import type { UnclaimedSource, UnclaimedStore } from './contract.ts';
import type { ReadingWriter } from './reading.ts';

/** Messages by which a source may exceed its bounds before the oldest are dropped. */
const SLACK = 50;
/** MQTT allows 65,535 bytes of topic; nobody's sensor needs more than this to be told from another. */
const TOPIC_CHARACTERS = 1000;

const SOURCE_COLUMNS = 'topic, site_id AS siteId, partial, first_ms AS firstMs, last_ms AS lastMs, messages';

/** Must run inside a transaction. */
export function unclaimedKeeperOn(db: Database): (messages: readonly UnclaimedMessage[]) => void {
  const note = db.prepare<[string, string | null, number, number, number], { id: number; unpruned: number }>(
    `INSERT INTO unclaimed_source (topic, site_id, partial, first_ms, last_ms, messages, unpruned) VALUES (?, ?, ?, ?, ?, 1, 1)
     ON CONFLICT (topic) DO UPDATE SET site_id = excluded.site_id, partial = excluded.partial, last_ms = max(last_ms, excluded.last_ms), messages = messages + 1, unpruned = unpruned + 1
     RETURNING id, unpruned`,
  );
  const keep = db.prepare<[number, number, Uint8Array]>('INSERT INTO unclaimed_message (source, arrived_ms, bytes) VALUES (?, ?, ?)');
  const prune = db.prepare<[number]>(
    `DELETE FROM unclaimed_message WHERE id IN (
       SELECT id FROM (
         SELECT id, row_number() OVER newest AS nth, sum(length(bytes)) OVER newest AS bytes
         FROM unclaimed_message WHERE source = ? WINDOW newest AS (ORDER BY id DESC)
       ) WHERE nth > ${UNCLAIMED_MESSAGES} OR bytes > ${UNCLAIMED_SOURCE_BYTES})`,
  );
  const pruned = db.prepare<[number]>('UPDATE unclaimed_source SET unpruned = 0 WHERE id = ?');
  // Of the site with the most of them first: a device gone mad must not push out what another site has just been given.
  const dropSilent = db.prepare<[number]>(
    `DELETE FROM unclaimed_source WHERE id IN (
       SELECT id FROM (SELECT id, last_ms, row_number() OVER (PARTITION BY site_id ORDER BY last_ms DESC, id DESC) AS nth FROM unclaimed_source WHERE partial = ?)
       ORDER BY nth, last_ms DESC, id DESC LIMIT -1 OFFSET ${UNCLAIMED_SOURCES})`,
  );
  return (messages) => {
    if (messages.length === 0) return;
    for (const { topic, siteId, arrivedMs, bytes, partial = false } of messages) {
      const source = note.get(topic.slice(0, TOPIC_CHARACTERS), siteId, Number(partial), arrivedMs, arrivedMs);
      if (source === undefined) continue;
      if (bytes.length <= UNCLAIMED_MESSAGE_BYTES) keep.run(source.id, arrivedMs, bytes);
      if (source.unpruned < SLACK) continue;
      prune.run(source.id);
      pruned.run(source.id);
    }
    for (const partial of [0, 1]) dropSilent.run(partial);
  };
}

interface SourceRow extends Omit<UnclaimedSource, 'partial'> {
  readonly partial: number;
}

const sourceOf = (row: SourceRow): UnclaimedSource => ({ ...row, partial: row.partial === 1 });

export function unclaimedOn({ db, attempt }: Connection, readings: ReadingWriter): UnclaimedStore {
  const list = db.prepare<[], SourceRow>(`SELECT ${SOURCE_COLUMNS} FROM unclaimed_source ORDER BY last_ms DESC, topic`);
  const one = db.prepare<[string], SourceRow>(`SELECT ${SOURCE_COLUMNS} FROM unclaimed_source WHERE topic = ?`);
  const messages = db.prepare<[string, number], UnclaimedMessage>(
    `SELECT s.topic, s.site_id AS siteId, m.arrived_ms AS arrivedMs, m.bytes
     FROM unclaimed_message m JOIN unclaimed_source s ON s.id = m.source WHERE s.topic = ? ORDER BY m.id DESC LIMIT ?`,
  );
  const drop = db.prepare<[string]>('DELETE FROM unclaimed_source WHERE topic = ?');
  const keepRest = db.prepare<[string]>('UPDATE unclaimed_source SET partial = 1 WHERE topic = ?');
  const claim = db.transaction((topic: string, made: readonly Reading[], hasMore: boolean) => {
    const added = readings.insert(made);
    (hasMore ? keepRest : drop).run(topic);
    return added;
  });
  return {
    unclaimedSources: () => attempt(() => list.all().map(sourceOf)),
    unclaimedSource: (topic) =>
      attempt(() => {
        const row = one.get(topic);
        return row === undefined ? null : sourceOf(row);
      }),
    unclaimedMessages: (topic, limit) => attempt(() => messages.all(topic, Math.min(limit, UNCLAIMED_MESSAGES))),
    claimUnclaimed: (topic, made, hasMore) => attempt(() => claim.immediate(topic, made, hasMore)),
  };
}
