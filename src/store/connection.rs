//! What store functions are handed: a connection that knows the keys of people too.

use std::pin::Pin;
use std::sync::Arc;

use futures_core::Stream;
use sqlx::pool::PoolConnection;
use sqlx::sqlite::{SqliteQueryResult, SqliteRow, SqliteStatement, SqliteTypeInfo};
use sqlx::{Describe, Either, Execute, Executor, SqlStr, Sqlite, Transaction};

use super::Stored;
use super::audit_end::{End, EndFile};
use super::cells::{Opener, Sealer};
use super::keyring::Keyring;
use super::types::impossible;

#[derive(Debug)]
enum Inside {
    Pooled(PoolConnection<Sqlite>),
    Transaction(Transaction<'static, Sqlite>),
}

/// A connection, on which queries run and sealed values are opened.
#[derive(Debug)]
pub struct Connection {
    inside: Inside,
    beside: Beside,
    reached: Reached,
}

/// What lies beside the database.
#[derive(Debug, Clone)]
pub(super) struct Beside {
    /// The keys of people.
    pub(super) keys: Arc<Keyring>,
    /// Where the audit ended.
    pub(super) end: Arc<EndFile>,
}

/// Where a transaction has brought the audit's end.
#[derive(Debug)]
enum Reached {
    /// It has added nothing to it.
    Nothing,
    /// Here, along the chain.
    To(End),
    /// It doesn't follow from where the audit once ended, so the end stays there.
    Apart,
}

impl Connection {
    /// Where the audit ended after the last change, as the file beside the database has it.
    pub(super) fn audit_end(&self) -> Option<End> {
        self.beside.end.read()
    }

    /// Whether this transaction has asked already how its rows of the audit stand to where it once ended.
    pub(super) fn has_reached(&self) -> bool {
        !matches!(self.reached, Reached::Nothing)
    }

    /// The audit's rows of this transaction don't follow from where it once ended.
    pub(super) fn stands_apart(&mut self) {
        self.reached = Reached::Apart;
    }

    /// This transaction's last row of the audit.
    pub(super) fn reach(&mut self, end: End) {
        if !matches!(self.reached, Reached::Apart) {
            self.reached = Reached::To(end);
        }
    }

    /// What opens the sealed values of whom this id belongs to.
    ///
    /// # Errors
    /// When the keys' file can't be read.
    pub(super) async fn opener(&self, who: &str) -> Stored<Opener> {
        Ok(Opener(self.beside.keys.held(who).await?))
    }

    /// What opens the sealed values of a visit's client.
    ///
    /// # Errors
    /// When it has none, or as [`Self::opener`].
    pub(super) async fn opener_of_visit(&mut self, visit: &str) -> Stored<Opener> {
        let who = self.client_of(visit).await?;
        self.opener(&who).await
    }

    /// The key that seals for a visit's client.
    ///
    /// # Errors
    /// When it has none, or as [`Self::sealer`].
    pub(super) async fn sealer_of_visit(&mut self, visit: &str) -> Stored<Sealer> {
        let who = self.client_of(visit).await?;
        self.sealer(&who).await
    }

    async fn client_of(&mut self, visit: &str) -> Stored<String> {
        let who = sqlx::query_scalar!("SELECT client_id FROM visit WHERE id = ?", visit).fetch_optional(self).await?;
        who.flatten().ok_or_else(|| impossible("visit", "client_id", visit))
    }

    /// The key that seals for whom this id belongs to; made when there is none.
    ///
    /// # Errors
    /// When it was destroyed, or the keys' file can't be written.
    pub(super) async fn sealer(&self, who: &str) -> Stored<Sealer> {
        self.beside.keys.sealer(who).await
    }

    /// The same for what was written in plain; of whoever was erased, so that nobody can open it.
    pub(super) async fn sealer_even_erased(&self, who: &str) -> Stored<Sealer> {
        self.beside.keys.sealer_even_erased(who).await
    }
}

type Boxed<'e, T> = Pin<Box<dyn Future<Output = Result<T, sqlx::Error>> + Send + 'e>>;
type Rows<'e> = Pin<Box<dyn Stream<Item = Result<Either<SqliteQueryResult, SqliteRow>, sqlx::Error>> + Send + 'e>>;

impl<'c> Executor<'c> for &'c mut Connection {
    type Database = Sqlite;

    fn fetch_many<'e, 'q: 'e, E>(self, query: E) -> Rows<'e>
    where
        'c: 'e,
        E: 'q + Execute<'q, Sqlite>,
    {
        match &mut self.inside {
            Inside::Pooled(c) => (**c).fetch_many(query),
            Inside::Transaction(c) => (**c).fetch_many(query),
        }
    }

    fn fetch_optional<'e, 'q: 'e, E>(self, query: E) -> Boxed<'e, Option<SqliteRow>>
    where
        'c: 'e,
        E: 'q + Execute<'q, Sqlite>,
    {
        match &mut self.inside {
            Inside::Pooled(c) => (**c).fetch_optional(query),
            Inside::Transaction(c) => (**c).fetch_optional(query),
        }
    }

    fn prepare_with<'e>(self, sql: SqlStr, parameters: &'e [SqliteTypeInfo]) -> Boxed<'e, SqliteStatement>
    where
        'c: 'e,
    {
        match &mut self.inside {
            Inside::Pooled(c) => (**c).prepare_with(sql, parameters),
            Inside::Transaction(c) => (**c).prepare_with(sql, parameters),
        }
    }

    fn describe<'e>(self, sql: SqlStr) -> Boxed<'e, Describe<Sqlite>>
    where
        'c: 'e,
    {
        match &mut self.inside {
            Inside::Pooled(c) => (**c).describe(sql),
            Inside::Transaction(c) => (**c).describe(sql),
        }
    }
}

/// A connection that can only look.
#[derive(Debug)]
pub struct Reader(Connection);

impl Reader {
    pub(super) fn new(c: PoolConnection<Sqlite>, beside: Beside) -> Self {
        Self(Connection { inside: Inside::Pooled(c), beside, reached: Reached::Nothing })
    }
}

impl std::ops::Deref for Reader {
    type Target = Connection;
    fn deref(&self) -> &Connection {
        &self.0
    }
}

impl std::ops::DerefMut for Reader {
    fn deref_mut(&mut self) -> &mut Connection {
        &mut self.0
    }
}

/// A transaction: dropped without [`Tx::commit`], nothing of it stays.
#[derive(Debug)]
pub struct Tx(Connection);

impl Tx {
    pub(super) fn new(c: Transaction<'static, Sqlite>, beside: Beside) -> Self {
        Self(Connection { inside: Inside::Transaction(c), beside, reached: Reached::Nothing })
    }

    /// Makes everything in this transaction lasting.
    ///
    /// # Errors
    /// When the file can't take it; then nothing is changed.
    pub async fn commit(self) -> Stored<()> {
        let Connection { inside, beside, reached } = self.0;
        if let Inside::Transaction(tx) = inside {
            tx.commit().await?;
        }
        if let Reached::To(end) = reached {
            beside.end.reach(&end);
        }
        Ok(())
    }
}

impl std::ops::Deref for Tx {
    type Target = Connection;
    fn deref(&self) -> &Connection {
        &self.0
    }
}

impl std::ops::DerefMut for Tx {
    fn deref_mut(&mut self) -> &mut Connection {
        &mut self.0
    }
}
