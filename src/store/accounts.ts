/** Who may sign in, and who is signed in. Only hashes are kept, of passwords and of session tokens alike. */
import type { Connection } from './connection.ts';
import type { Account, AccountStore } from './contract.ts';

/** Sessions kept per account: those that end last. Keeps the table bounded without a chore to sweep it. */
const SESSIONS_KEPT = 50;

const COLUMNS = 'account.id, name, password_hash AS passwordHash, created_ms AS createdMs, person_id AS personId';

export function accountsOn({ db, attempt }: Connection): AccountStore {
  const all = db.prepare<[], Account>(`SELECT ${COLUMNS} FROM account ORDER BY name`);
  const byName = db.prepare<[string], Account>(`SELECT ${COLUMNS} FROM account WHERE name = ?`);
  const bySession = db.prepare<[string, number], Account>(
    `SELECT ${COLUMNS} FROM account JOIN session ON session.account_id = account.id WHERE token_hash = ? AND expires_ms > ?`,
  );
  const put = db.prepare<[Omit<Account, 'id'>]>(
    `INSERT INTO account (name, password_hash, created_ms, person_id) VALUES (@name, @passwordHash, @createdMs, @personId)
     ON CONFLICT (name) DO UPDATE SET password_hash = excluded.password_hash, person_id = excluded.person_id`,
  );
  const remove = db.prepare<[string]>('DELETE FROM account WHERE name = ?');
  const endSessions = db.prepare<[number]>('DELETE FROM session WHERE account_id = ?');
  const endSession = db.prepare<[string]>('DELETE FROM session WHERE token_hash = ?');
  const insertSession = db.prepare<[string, number, number]>(
    `INSERT INTO session (token_hash, account_id, expires_ms) VALUES (?, ?, ?)
     ON CONFLICT (token_hash) DO UPDATE SET account_id = excluded.account_id, expires_ms = excluded.expires_ms`,
  );
  const endOldest = db.prepare<[number]>(
    `DELETE FROM session WHERE token_hash IN
       (SELECT token_hash FROM session WHERE account_id = ? ORDER BY expires_ms DESC LIMIT -1 OFFSET ${SESSIONS_KEPT})`,
  );

  const putAccount = db.transaction((account: Omit<Account, 'id'>) => {
    const before = byName.get(account.name);
    put.run(account);
    // A new password shuts out whoever signed in with the old one.
    if (before !== undefined && before.passwordHash !== account.passwordHash) endSessions.run(before.id);
  });
  const putSession = db.transaction((tokenHash: string, accountId: number, expiresMs: number) => {
    insertSession.run(tokenHash, accountId, expiresMs);
    endOldest.run(accountId);
  });

  return {
    accounts: () => attempt(() => all.all()),
    accountByName: (name) => attempt(() => byName.get(name) ?? null),
    putAccount: (account) => attempt(() => putAccount.immediate(account)),
    removeAccount: (name) => attempt(() => remove.run(name).changes > 0),
    putSession: ({ tokenHash, accountId, expiresMs }) => attempt(() => putSession.immediate(tokenHash, accountId, expiresMs)),
    accountBySession: (tokenHash, nowMs) => attempt(() => bySession.get(tokenHash, nowMs) ?? null),
    removeSession: (tokenHash) =>
      attempt(() => {
        endSession.run(tokenHash);
      }),
  };
}
