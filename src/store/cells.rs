//! Sealing and opening single cells.

use std::sync::Arc;

use super::Stored;
use super::error::{StoreError, Unread};
use super::keyring::{Held, no_key};
use crate::person_keys::{PersonKey, Refused};

/// What opens somebody's sealed values.
#[derive(Debug, Clone)]
pub(super) struct Opener(pub(super) Held);

impl Opener {
    /// Opens the text of a cell.
    pub(super) fn text(&self, table: &'static str, column: &'static str, row: &str, sealed: &str) -> Stored<String> {
        self.open(table, column, row, |key, place| key.open_text(place, sealed))
    }

    /// Opens the bytes of a cell.
    pub(super) fn bytes(&self, table: &'static str, column: &'static str, row: &str, sealed: &[u8]) -> Stored<Vec<u8>> {
        self.open(table, column, row, |key, place| key.open(place, sealed))
    }

    fn open<T>(
        &self,
        table: &'static str,
        column: &'static str,
        row: &str,
        open: impl FnOnce(&PersonKey, &str) -> Result<T, Refused>,
    ) -> Stored<T> {
        let unreadable = |why| StoreError::Unreadable { table, column, id: row.to_owned(), why };
        match &self.0 {
            Held::Key(key) => open(key, &place(table, column, row)).map_err(|_| unreadable(Unread::Changed)),
            Held::Destroyed => Err(unreadable(Unread::Erased)),
            Held::Missing => Err(unreadable(Unread::NoKey)),
        }
    }
}

/// What seals somebody's values.
#[derive(Debug, Clone)]
pub(super) struct Sealer {
    who: String,
    key: Arc<PersonKey>,
}

impl Sealer {
    pub(super) fn new(who: &str, key: Arc<PersonKey>) -> Self {
        Self { who: who.to_owned(), key }
    }

    /// Seals the text of a cell.
    pub(super) fn text(&self, table: &str, column: &str, row: &str, plain: &str) -> Stored<String> {
        self.key.seal_text(&place(table, column, row), plain).map_err(|_| no_key(&self.who))
    }

    /// Seals the bytes of a cell.
    pub(super) fn bytes(&self, table: &str, column: &str, row: &str, plain: &[u8]) -> Stored<Vec<u8>> {
        self.key.seal(&place(table, column, row), plain).map_err(|_| no_key(&self.who))
    }
}

/// What a sealed value is bound to.
fn place(table: &str, column: &str, row: &str) -> String {
    format!("{table}.{column} of {row}")
}
