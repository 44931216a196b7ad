/**
 * The shape of the database, as numbered steps. A step that has shipped is never edited: a change is a new step at the end.
 * `user_version` holds how many a file has had, so a fresh file and one that has grown with Tankbell end up equal.
 */
import type { Database } from 'better-sqlite3';
import { StoreError } from './contract.ts';

export interface Migration {
  readonly name: string;
  readonly sql: string;
}

/** Marks a file as Tankbell's (`TNKB`), so that another program's database is never written to. */
const APPLICATION_ID = 0x544e4b42;

export const migrations: readonly Migration[] = [
  {
    name: 'first tables',
    sql: `
      CREATE TABLE series (
        id       INTEGER PRIMARY KEY,
        point_id TEXT NOT NULL UNIQUE
      ) STRICT;

      -- value is ANY, not REAL: a REAL column keeps whole numbers as integers and so turns -0 into 0.
      -- No foreign key to series: it costs an eighth of the hot path, and src/store/reading.ts refuses unknown series by itself.
      CREATE TABLE reading (
        series  INTEGER NOT NULL,
        at_ms   INTEGER NOT NULL,
        value   ANY NOT NULL CHECK (typeof(value) = 'real'),
        quality INTEGER NOT NULL,
        PRIMARY KEY (series, at_ms)
      ) STRICT, WITHOUT ROWID;

      CREATE TABLE rule_state (
        rule_id    TEXT PRIMARY KEY,
        state      TEXT NOT NULL,
        wake_at_ms INTEGER
      ) STRICT;

      CREATE TABLE alarm (
        id              INTEGER PRIMARY KEY,
        rule_id         TEXT NOT NULL,
        rule_kind       TEXT NOT NULL,
        tank_id         TEXT NOT NULL,
        site_id         TEXT NOT NULL,
        title           TEXT NOT NULL,
        priority        TEXT NOT NULL,
        on_delay_ms     INTEGER NOT NULL,
        off_delay_ms    INTEGER NOT NULL,
        state           TEXT NOT NULL,
        began_ms        INTEGER NOT NULL,
        opened_ms       INTEGER NOT NULL,
        acknowledged_ms INTEGER,
        acknowledged_by TEXT,
        returned_ms     INTEGER,
        closed_ms       INTEGER,
        summary         TEXT NOT NULL,
        evidence        TEXT NOT NULL,
        escalation      TEXT NOT NULL
      ) STRICT;
      CREATE INDEX alarm_by_opening ON alarm (opened_ms);
      CREATE INDEX alarm_by_tank ON alarm (tank_id, opened_ms);
      CREATE INDEX alarm_by_site ON alarm (site_id, opened_ms);
      CREATE INDEX alarm_open ON alarm (opened_ms) WHERE closed_ms IS NULL;

      CREATE TABLE alarm_status (
        rule_id          TEXT PRIMARY KEY,
        condition        TEXT NOT NULL CHECK (condition IN ('clear', 'breached')),
        verdict          TEXT NOT NULL CHECK (verdict IN ('clear', 'breached', 'unknown')),
        unknown_why      TEXT,
        last_known       TEXT NOT NULL CHECK (last_known IN ('clear', 'breached')),
        verdict_since_ms INTEGER,
        breach           TEXT,
        due_ms           INTEGER,
        base             TEXT NOT NULL CHECK (base IN ('normal', 'unacknowledged', 'acknowledged', 'returned')),
        hold_kind        TEXT CHECK (hold_kind IN ('shelved', 'suppressed', 'out-of-service')),
        hold_by          TEXT CHECK ((hold_by IS NULL) = (hold_kind IS NULL)),
        hold_why         TEXT CHECK ((hold_why IS NULL) = (hold_kind IS NULL)),
        hold_since_ms    INTEGER CHECK ((hold_since_ms IS NULL) = (hold_kind IS NULL)),
        hold_until_ms    INTEGER CHECK (hold_until_ms IS NULL OR hold_kind IS NOT NULL),
        alarm_id         INTEGER REFERENCES alarm (id) DEFERRABLE INITIALLY DEFERRED
      ) STRICT;

      -- No foreign key to alarm: what happened must be writable whatever else is wrong.
      CREATE TABLE journal (
        id       INTEGER PRIMARY KEY,
        at_ms    INTEGER NOT NULL,
        kind     TEXT NOT NULL,
        site_id  TEXT,
        tank_id  TEXT,
        alarm_id INTEGER,
        who      TEXT NOT NULL,
        text     TEXT NOT NULL,
        detail   TEXT NOT NULL
      ) STRICT;
      CREATE INDEX journal_by_time ON journal (at_ms);
      CREATE INDEX journal_by_tank ON journal (tank_id) WHERE tank_id IS NOT NULL;
      CREATE INDEX journal_by_site ON journal (site_id) WHERE site_id IS NOT NULL;
      CREATE INDEX journal_by_alarm ON journal (alarm_id) WHERE alarm_id IS NOT NULL;
      CREATE TRIGGER journal_keeps_its_text BEFORE UPDATE ON journal
        BEGIN SELECT RAISE(ABORT, 'the journal is append-only: entries are never changed'); END;
      CREATE TRIGGER journal_keeps_its_rows BEFORE DELETE ON journal
        BEGIN SELECT RAISE(ABORT, 'the journal is append-only: entries are never deleted'); END;
      -- INSERT OR REPLACE deletes without firing the trigger above.
      CREATE TRIGGER journal_keeps_its_ids BEFORE INSERT ON journal
        WHEN EXISTS (SELECT 1 FROM journal WHERE id = NEW.id)
        BEGIN SELECT RAISE(ABORT, 'the journal is append-only: entries are never replaced'); END;

      CREATE TABLE page (
        seq            INTEGER PRIMARY KEY,
        id             TEXT NOT NULL UNIQUE,
        alarm_id       INTEGER REFERENCES alarm (id) DEFERRABLE INITIALLY DEFERRED,
        person_id      TEXT NOT NULL,
        reason         TEXT NOT NULL,
        created_ms     INTEGER NOT NULL,
        state          TEXT NOT NULL CHECK (state IN ('queued', 'claimed', 'handed-over', 'refused')),
        attempts       INTEGER NOT NULL,
        next_try_ms    INTEGER NOT NULL,
        claimed_ms     INTEGER,
        handed_over_ms INTEGER,
        refused_ms     INTEGER,
        last_error     TEXT
      ) STRICT;
      CREATE INDEX page_by_alarm ON page (alarm_id);
      CREATE INDEX page_unsent ON page (created_ms) WHERE state IN ('queued', 'claimed');

      CREATE TABLE refusal (
        id       INTEGER PRIMARY KEY,
        source   TEXT NOT NULL,
        reason   TEXT NOT NULL,
        point_id TEXT,
        excerpt  TEXT NOT NULL,
        count    INTEGER NOT NULL,
        last_ms  INTEGER NOT NULL,
        UNIQUE (source, reason)
      ) STRICT;
      CREATE INDEX refusal_by_time ON refusal (last_ms);

      CREATE TABLE alive (
        only  INTEGER PRIMARY KEY CHECK (only = 1),
        at_ms INTEGER NOT NULL
      ) STRICT;

      CREATE TABLE fleet (
        only INTEGER PRIMARY KEY CHECK (only = 1),
        text TEXT NOT NULL
      ) STRICT;

      CREATE TABLE account (
        id            INTEGER PRIMARY KEY,
        name          TEXT NOT NULL UNIQUE,
        password_hash TEXT NOT NULL,
        created_ms    INTEGER NOT NULL,
        person_id     TEXT
      ) STRICT;

      CREATE TABLE session (
        token_hash TEXT PRIMARY KEY,
        account_id INTEGER NOT NULL REFERENCES account (id) ON DELETE CASCADE,
        expires_ms INTEGER NOT NULL
      ) STRICT;
      CREATE INDEX session_by_account ON session (account_id, expires_ms);
    `,
  },
  {
    name: 'sealed days',
    sql: `
      -- One row per series and settled UTC day (src/store/codec.ts). An ordinary table: blobs of this size cost three times the bytes WITHOUT ROWID.
      CREATE TABLE chunk (
        id       INTEGER PRIMARY KEY,
        series   INTEGER NOT NULL,
        day      INTEGER NOT NULL,
        n        INTEGER NOT NULL,
        usable   INTEGER NOT NULL,
        first_ms INTEGER NOT NULL,
        last_ms  INTEGER NOT NULL,
        data     BLOB NOT NULL,
        UNIQUE (series, day)
      ) STRICT;

      -- The hours of a sealed day (src/store/rollup.ts), small and side by side, so that a year of one series is a few pages to read.
      CREATE TABLE rollup (
        series INTEGER NOT NULL,
        day    INTEGER NOT NULL,
        hours  BLOB NOT NULL,
        PRIMARY KEY (series, day)
      ) STRICT, WITHOUT ROWID;
    `,
  },
  {
    name: 'what is known of a point beside its readings',
    sql: `
      CREATE TABLE point_state (
        point_id         TEXT PRIMARY KEY,
        offline_since_ms INTEGER,
        offline_why      TEXT CHECK ((offline_why IS NULL) = (offline_since_ms IS NULL)),
        cadence_ms       INTEGER
      ) STRICT;
    `,
  },
  {
    name: 'how files were imported',
    sql: `
      -- tank_id is '' for files that name points in full: a primary key takes every NULL for a different one.
      CREATE TABLE import_memory (
        header_key TEXT NOT NULL,
        tank_id    TEXT NOT NULL,
        choices    TEXT NOT NULL,
        saved_ms   INTEGER NOT NULL,
        who        TEXT NOT NULL,
        PRIMARY KEY (header_key, tank_id)
      ) STRICT, WITHOUT ROWID;
    `,
  },
  {
    name: 'between the wire and the store',
    sql: `
      CREATE TABLE unclaimed_source (
        id        INTEGER PRIMARY KEY,
        topic     TEXT NOT NULL UNIQUE,
        site_id   TEXT,
        -- 1: points read some of its values, and messages are sampled for the rest.
        partial   INTEGER NOT NULL,
        first_ms  INTEGER NOT NULL,
        last_ms   INTEGER NOT NULL,
        messages  INTEGER NOT NULL,
        -- Messages written since the oldest were last dropped: dropping for each one would cost more than keeping it.
        unpruned  INTEGER NOT NULL
      ) STRICT;
      CREATE INDEX unclaimed_by_time ON unclaimed_source (last_ms);

      CREATE TABLE unclaimed_message (
        id         INTEGER PRIMARY KEY,
        source     INTEGER NOT NULL REFERENCES unclaimed_source (id) ON DELETE CASCADE,
        arrived_ms INTEGER NOT NULL,
        bytes      BLOB NOT NULL
      ) STRICT;
      CREATE INDEX unclaimed_message_by_source ON unclaimed_message (source, id);

      -- From an instant on, what a sensor sends is value * slope + offset, in the canonical unit of its kind. Raw readings stay as they are.
      CREATE TABLE calibration (
        point_id   TEXT NOT NULL,
        from_ms    INTEGER NOT NULL,
        slope      ANY NOT NULL CHECK (typeof(slope) = 'real'),
        offset     ANY NOT NULL CHECK (typeof(offset) = 'real'),
        who        TEXT NOT NULL,
        why        TEXT NOT NULL,
        entered_ms INTEGER NOT NULL,
        PRIMARY KEY (point_id, from_ms)
      ) STRICT, WITHOUT ROWID;

      -- Clocks of sources that are under suspicion or found wrong; the others need no row.
      CREATE TABLE source_clock (
        source TEXT PRIMARY KEY,
        state  TEXT NOT NULL
      ) STRICT;

      -- Times in which readings may have been lost, until it has been looked up and told what is missing.
      CREATE TABLE outage (
        id      TEXT PRIMARY KEY,
        outage  TEXT NOT NULL
      ) STRICT;
    `,
  },
  {
    name: 'sealed days looked at again',
    sql: `
      -- Where the nightly look at sealed days goes on, and when it last did (src/store/sealed-check.ts).
      CREATE TABLE sealed_check (
        only    INTEGER PRIMARY KEY CHECK (only = 1),
        series  INTEGER NOT NULL,
        day     INTEGER NOT NULL,
        at_ms   INTEGER NOT NULL
      ) STRICT;

      -- Sealed days found damaged, until they are found whole or gone.
      CREATE TABLE day_fault (
        series   INTEGER NOT NULL,
        day      INTEGER NOT NULL,
        what     TEXT NOT NULL,
        found_ms INTEGER NOT NULL,
        PRIMARY KEY (series, day)
      ) STRICT, WITHOUT ROWID;
    `,
  },
  {
    name: 'one cause, one page',
    sql: `
      -- JSON of AlarmCause (src/domain/alarm.ts): what explains the alarm at present.
      ALTER TABLE alarm ADD COLUMN cause TEXT;
      ALTER TABLE alarm_status ADD COLUMN held_back_ms INTEGER;
    `,
  },
];

/**
 * Brings a database up to the last of `steps`, one transaction per step.
 * @throws StoreError, permanent, when the file is another program's or comes from a newer Tankbell; such a file is left as it was.
 */
export function migrate(db: Database, steps: readonly Migration[] = migrations): void {
  // Foreign keys must be off to rebuild a table, and can only be switched outside of a transaction.
  db.pragma('foreign_keys = OFF');
  while (db.transaction(() => applyNext(db, steps)).immediate()) {
    // Read anew each time: a second process may have applied the same step in between.
  }
  db.pragma('foreign_keys = ON');
}

function applyNext(db: Database, steps: readonly Migration[]): boolean {
  const applied = appliedSteps(db, steps.length);
  const step = steps[applied];
  if (step === undefined) return false;
  db.exec(step.sql);
  db.pragma(`application_id = ${APPLICATION_ID}`);
  db.pragma(`user_version = ${applied + 1}`);
  return true;
}

/**
 * How many of the `known` steps a database has had; changes nothing.
 * @throws StoreError, permanent, when the file is another program's or comes from a newer Tankbell.
 */
export function appliedSteps(db: Database, known: number = migrations.length): number {
  const empty = db.prepare<[], { n: number }>('SELECT count(*) AS n FROM sqlite_schema').get()?.n === 0;
  const version = Number(db.pragma('user_version', { simple: true }));
  if (!empty && db.pragma('application_id', { simple: true }) !== APPLICATION_ID) {
    throw new StoreError(`${db.name} is a database of another program: name another data folder`, { permanent: true });
  }
  if (version > known) {
    throw new StoreError(
      `${db.name} was written by a newer Tankbell (its shape is number ${version}, this Tankbell knows up to ${known}): ` +
        'start the newer Tankbell, or restore a backup made by this one',
      { permanent: true },
    );
  }
  return version;
}
