//! Messages owed to others, in a table beside the events.

use std::collections::BTreeSet;

use rusqlite::{Connection, Transaction, params};

use super::read::{query, signed, unsigned};
use crate::contract::{Due, Owed};
use crate::error::LedgerError;

/// Since schema 2. A number is never given twice, so that one that was delivered cannot be taken
/// for one that has replaced it.
pub(super) const TABLE: &str = "
    CREATE TABLE owed (
        number   INTEGER PRIMARY KEY AUTOINCREMENT,
        creditor TEXT    NOT NULL,
        about    TEXT    NOT NULL,
        replaces INTEGER NOT NULL CHECK (replaces IN (0, 1)),
        body     BLOB    NOT NULL
    ) STRICT;
    CREATE INDEX owed_to ON owed (creditor, number);
    CREATE UNIQUE INDEX owed_state ON owed (creditor, about) WHERE replaces = 1;";

/// Keeps the messages, and gives the number of the last one.
pub(super) fn keep(transaction: &Transaction<'_>, owed: &[Owed]) -> rusqlite::Result<Option<u64>> {
    let insert = "INSERT OR REPLACE INTO owed (creditor, about, replaces, body)
        VALUES (?1, ?2, ?3, ?4)";
    let mut last = None;
    for Owed { to, about, replaces, body } in owed {
        let mut statement = transaction.prepare_cached(insert)?;
        last = Some(unsigned(statement.insert(params![to, about, replaces, body])?));
    }
    Ok(last)
}

pub(super) fn due(
    connection: &Connection,
    to: &str,
    after: u64,
    limit: usize,
) -> Result<Vec<Due>, LedgerError> {
    let all = "SELECT number, about, replaces, body FROM owed
        WHERE creditor = ?1 AND number > ?2 ORDER BY number LIMIT ?3";
    let lines = i64::try_from(limit).unwrap_or(i64::MAX);
    query(connection, all, &[&to, &signed(after), &lines], limit, |row| {
        let due = |row: &rusqlite::Row<'_>| -> rusqlite::Result<Due> {
            let (about, replaces, body) = (row.get(1)?, row.get(2)?, row.get(3)?);
            let owed = Owed { to: to.to_owned(), about, replaces, body };
            Ok(Due { number: unsigned(row.get(0)?), owed })
        };
        due(row).map_err(LedgerError::storage)
    })
}

/// Forgets the messages of these numbers.
pub(super) fn delivered(connection: &mut Connection, numbers: &[u64]) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    for number in numbers {
        let delete = "DELETE FROM owed WHERE number = ?1";
        transaction.prepare_cached(delete)?.execute([signed(*number)])?;
    }
    transaction.commit()
}

/// Forgets what is owed to anybody but these, and gives to whom it was.
pub(super) fn only(
    connection: &mut Connection,
    to: &BTreeSet<String>,
) -> rusqlite::Result<BTreeSet<String>> {
    let transaction = connection.transaction()?;
    let mut gone = BTreeSet::new();
    let mut creditors = transaction.prepare("SELECT DISTINCT creditor FROM owed")?;
    for creditor in creditors.query_map([], |row| row.get::<_, String>(0))? {
        let creditor = creditor?;
        if !to.contains(&creditor) {
            gone.insert(creditor);
        }
    }
    drop(creditors);
    for creditor in &gone {
        transaction.execute("DELETE FROM owed WHERE creditor = ?1", [creditor])?;
    }
    transaction.commit()?;
    Ok(gone)
}
