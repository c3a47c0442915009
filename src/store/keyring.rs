//! The keys of people: a second file beside the database, so that a copy of the one says nothing without the other.
//!
//! An erased client's key is destroyed and a line without a key stays, so that it is never made again and a copy from before
//! tells who had left. Keys that are in use are held in memory, unwrapped.

use std::collections::HashMap;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use sqlx::SqlitePool;
use sqlx::sqlite::{SqliteConnectOptions, SqliteSynchronous};

use super::cells::Sealer;
use super::error::StoreError;
use super::{BEGIN, Stored, copy, options, pool};
use crate::durable;
use crate::person_keys::{Master, MasterError, PersonKey};

/// Where the keys are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyPlace {
    /// The keys of people, wrapped.
    pub keys: PathBuf,
    /// The master key, which wraps them.
    pub master: PathBuf,
}

impl KeyPlace {
    /// The usual: both beside the database.
    pub fn beside(database: &Path) -> Self {
        let folder = database.parent().unwrap_or(Path::new(""));
        Self { keys: folder.join(KEYS), master: folder.join(MASTER) }
    }

    /// Where a new master key lies until every key is wrapped under it.
    fn next(&self) -> PathBuf {
        let mut name = self.master.clone().into_os_string();
        name.push(".next");
        name.into()
    }
}

/// The name of the keys' file.
pub const KEYS: &str = "palpebra.keys";
/// The usual name of the master key's file.
pub const MASTER: &str = "palpebra.master";

/// What the header of a file of keys says ("Palk").
const APPLICATION_ID: u32 = 1_348_562_027;

/// What there is of somebody's key.
#[derive(Debug, Clone)]
pub enum Held {
    /// The key.
    Key(Arc<PersonKey>),
    /// It was destroyed.
    Destroyed,
    /// It is not there.
    Missing,
}

/// All keys.
pub struct Keyring {
    pool: SqlitePool,
    place: KeyPlace,
    master: Master,
    known: RwLock<HashMap<String, Held>>,
}

impl fmt::Debug for Keyring {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Keyring of {}", self.place.keys.display())
    }
}

impl Keyring {
    /// Opens the keys; makes them, and the master key, where `may_be_made`.
    pub(super) async fn open(place: &KeyPlace, may_be_made: bool) -> Stored<Self> {
        if !fs::exists(&place.keys).map_err(sqlx::Error::Io)? {
            if !may_be_made {
                return Err(StoreError::KeysMissing(place.keys.clone()));
            }
            private(&place.keys)?;
        }
        let options = options(&place.keys)
            .synchronous(SqliteSynchronous::Full)
            .pragma("trusted_schema", "OFF")
            .pragma("secure_delete", "ON")
            .pragma("temp_store", "MEMORY");
        let pool = pool(1).connect_with(options).await?;
        let opened = match Self::prepared(&pool, place).await {
            Ok((_, known)) if known.is_empty() && !may_be_made => Err(StoreError::KeysMissing(place.keys.clone())),
            opened => opened,
        };
        if opened.is_err() {
            pool.close().await;
        }
        let (master, known) = opened?;
        Ok(Self { pool, place: place.clone(), master, known: RwLock::new(known) })
    }

    async fn prepared(pool: &SqlitePool, place: &KeyPlace) -> Stored<(Master, HashMap<String, Held>)> {
        let id: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(pool).await?;
        if id != i64::from(APPLICATION_ID) {
            let tables: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema").fetch_one(pool).await?;
            if id != 0 || tables > 0 {
                return Err(StoreError::Damaged(format!("{} holds no keys", place.keys.display())));
            }
            let mut tx = pool.begin_with(BEGIN).await?;
            sqlx::query("PRAGMA application_id = 1348562027").execute(&mut *tx).await?;
            sqlx::query(
                "CREATE TABLE IF NOT EXISTS person_key (who TEXT NOT NULL PRIMARY KEY, wrapped BLOB) STRICT, WITHOUT ROWID",
            )
            .execute(&mut *tx)
            .await?;
            tx.commit().await?;
        }
        let rows: Vec<(String, Option<Vec<u8>>)> =
            sqlx::query_as("SELECT who, wrapped FROM person_key").fetch_all(pool).await?;
        let master =
            the_master(place, rows.iter().find_map(|(who, wrapped)| Some((who.as_str(), wrapped.as_deref()?))))?;
        let known = rows.into_iter().map(|(who, wrapped)| {
            let held = held(&master, &who, wrapped)?;
            Ok((who, held))
        });
        let known = known.collect::<Stored<_>>()?;
        Ok((master, known))
    }

    fn look(&self, who: &str) -> Option<Held> {
        self.known.read().unwrap_or_else(PoisonError::into_inner).get(who).cloned()
    }

    fn know(&self, who: &str, held: Held) {
        self.known.write().unwrap_or_else(PoisonError::into_inner).insert(who.to_owned(), held);
    }

    /// What there is of somebody's key. Another process may have made it since.
    pub(super) async fn held(&self, who: &str) -> Stored<Held> {
        if let Some(held) = self.look(who) {
            return Ok(held);
        }
        let row: Option<Option<Vec<u8>>> = sqlx::query_scalar("SELECT wrapped FROM person_key WHERE who = ?")
            .bind(who)
            .fetch_optional(&self.pool)
            .await?;
        let Some(wrapped) = row else { return Ok(Held::Missing) };
        let held = held(&self.master, who, wrapped)?;
        self.know(who, held.clone());
        Ok(held)
    }

    /// Somebody's key, which is made and safely stored when there is none.
    pub(super) async fn sealer(&self, who: &str) -> Stored<Sealer> {
        if let Held::Missing = self.held(who).await? {
            let wrapped = PersonKey::make().and_then(|key| self.master.wrap(who, &key)).map_err(|_| no_key(who))?;
            // Of two that make one at once, the first one's stays.
            sqlx::query("INSERT INTO person_key (who, wrapped) VALUES (?, ?) ON CONFLICT DO NOTHING")
                .bind(who)
                .bind(wrapped)
                .execute(&self.pool)
                .await?;
        }
        match self.held(who).await? {
            Held::Key(key) => Ok(Sealer::new(who, key)),
            Held::Destroyed | Held::Missing => Err(no_key(who)),
        }
    }

    /// As [`Self::sealer`]; for whoever was erased, a key that nobody keeps: an older copy may still hold her in plain.
    pub(super) async fn sealer_even_erased(&self, who: &str) -> Stored<Sealer> {
        match self.held(who).await? {
            Held::Destroyed => {
                let key = Arc::new(PersonKey::make().map_err(|_| no_key(who))?);
                Ok(Sealer::new(who, key))
            }
            Held::Key(_) | Held::Missing => self.sealer(who).await,
        }
    }

    /// Destroys keys, so that nothing of them is in the file; how many were there. With `for_good` they are never made again.
    pub(super) async fn destroy(&self, all: &[String], for_good: bool) -> Stored<usize> {
        let mut gone = 0;
        for who in all {
            match self.held(who).await? {
                Held::Destroyed => continue,
                Held::Missing if !for_good => continue,
                Held::Missing | Held::Key(_) => gone += 1,
            }
            let change = if for_good {
                "INSERT INTO person_key (who, wrapped) VALUES (?, NULL) ON CONFLICT DO UPDATE SET wrapped = NULL"
            } else {
                "DELETE FROM person_key WHERE who = ?"
            };
            sqlx::query(change).bind(who).execute(&self.pool).await?;
            let mut known = self.known.write().unwrap_or_else(PoisonError::into_inner);
            if for_good {
                known.insert(who.clone(), Held::Destroyed);
            } else {
                known.remove(who);
            }
        }
        if gone > 0 {
            // `secure_delete` alone leaves bytes where rows move between pages.
            sqlx::query("VACUUM").execute(&self.pool).await?;
        }
        Ok(gone)
    }

    /// Whose keys there are (`true`), and whose were destroyed.
    pub(super) async fn all(&self) -> Stored<Vec<(String, bool)>> {
        Ok(sqlx::query_as("SELECT who, wrapped IS NOT NULL FROM person_key ORDER BY who").fetch_all(&self.pool).await?)
    }

    /// Writes a checked copy of the keys, wrapped as they are.
    pub(super) async fn copy_to(&self, to: &Path) -> Stored<()> {
        copy(&self.place.keys, to).await
    }

    /// Takes over keys from a copy that another master key may wrap. What is known here stays as it is: a key that was
    /// destroyed stays destroyed.
    pub(super) async fn take_over(&self, copy: &Path, master: &Master) -> Stored<usize> {
        let from = pool(1).connect_with(SqliteConnectOptions::new().filename(copy).read_only(true)).await?;
        let id: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&from).await?;
        if id != i64::from(APPLICATION_ID) {
            return Err(StoreError::Damaged(format!("{} holds no keys", copy.display())));
        }
        let rows: Vec<(String, Option<Vec<u8>>)> =
            sqlx::query_as("SELECT who, wrapped FROM person_key").fetch_all(&from).await?;
        from.close().await;
        let mut taken = 0;
        let mut tx = self.pool.begin_with(BEGIN).await?;
        for (who, wrapped) in rows {
            let wrapped = match held(master, &who, wrapped)? {
                Held::Key(key) => Some(self.master.wrap(&who, &key).map_err(|_| no_key(&who))?),
                Held::Destroyed | Held::Missing => None,
            };
            let row = sqlx::query("INSERT INTO person_key (who, wrapped) VALUES (?, ?) ON CONFLICT DO NOTHING");
            let row = row.bind(&who).bind(wrapped).execute(&mut *tx).await?;
            taken += usize::try_from(row.rows_affected()).unwrap_or(0);
        }
        tx.commit().await?;
        Ok(taken)
    }

    /// Wraps every key under a new master key, in one transaction. The new one lies beside the old one's file until that is
    /// done, so that whenever the power fails the one that fits is found. The mark of the new one.
    pub(super) async fn rotate(self) -> Stored<String> {
        let (next, master) = (self.place.next(), Master::make().map_err(|_| no_key("the master key"))?);
        match fs::remove_file(&next) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(sqlx::Error::Io(error).into()),
            _ => {}
        }
        master.write(&next)?;
        let mut tx = self.pool.begin_with(BEGIN).await?;
        let rows: Vec<(String, Option<Vec<u8>>)> =
            sqlx::query_as("SELECT who, wrapped FROM person_key").fetch_all(&mut *tx).await?;
        for (who, wrapped) in rows {
            let Held::Key(key) = held(&self.master, &who, wrapped)? else { continue };
            let wrapped = master.wrap(&who, &key).map_err(|_| no_key(&who))?;
            let change = sqlx::query("UPDATE person_key SET wrapped = ? WHERE who = ?").bind(wrapped).bind(&who);
            change.execute(&mut *tx).await?;
        }
        tx.commit().await?;
        sqlx::query("VACUUM").execute(&self.pool).await?;
        self.pool.close().await;
        durable::rename(&next, &self.place.master).map_err(sqlx::Error::Io)?;
        Ok(master.mark())
    }

    pub(super) fn place(&self) -> &KeyPlace {
        &self.place
    }

    pub(super) async fn close(&self) {
        self.pool.close().await;
    }
}

/// Whether the file of keys has anybody's, even a destroyed one; it is not made.
///
/// # Errors
/// When it can't be read.
pub async fn holds_keys(place: &KeyPlace) -> Stored<bool> {
    if !fs::exists(&place.keys).map_err(sqlx::Error::Io)? {
        return Ok(false);
    }
    let pool = pool(1).connect_with(options(&place.keys)).await?;
    let id: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&pool).await?;
    let holds = id == i64::from(APPLICATION_ID)
        && sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM person_key)").fetch_one(&pool).await?;
    pool.close().await;
    Ok(holds)
}

/// Takes over keys from a copy, which `master` wraps, into the keys of a place, which are made where there are none.
///
/// # Errors
/// When either can't be read, or another master key wraps them.
pub async fn take_over(place: &KeyPlace, copy: &Path, master: &Master) -> Stored<usize> {
    let keys = Keyring::open(place, true).await?;
    let taken = keys.take_over(copy, master).await;
    keys.close().await;
    taken
}

/// Wraps the keys of a place under a new master key, which takes the place of the old one: the mark of the new one. Nobody
/// else may have them open.
///
/// # Errors
/// When the files can't be read or written; then the old master key still fits.
pub async fn rotate(place: &KeyPlace) -> Stored<String> {
    Keyring::open(place, false).await?.rotate().await
}

pub(super) fn no_key(who: &str) -> StoreError {
    StoreError::KeyGone(who.to_owned())
}

fn held(master: &Master, who: &str, wrapped: Option<Vec<u8>>) -> Stored<Held> {
    let Some(wrapped) = wrapped else { return Ok(Held::Destroyed) };
    let key = master.unwrap_key(who, &wrapped).map_err(|_| StoreError::ForeignKey(who.to_owned()))?;
    Ok(Held::Key(Arc::new(key)))
}

/// The master key that fits the keys that are there; a new one where there are none yet.
fn the_master(place: &KeyPlace, wrapped: Option<(&str, &[u8])>) -> Stored<Master> {
    let fits = |master: &Master| wrapped.is_none_or(|(who, wrapped)| master.unwrap_key(who, wrapped).is_ok());
    let here = Master::load(&place.master);
    let unread = match Master::load(&place.next()) {
        Ok(Some(next)) if wrapped.is_some() && fits(&next) => {
            // The power failed between wrapping the keys anew and giving the new key its name.
            durable::rename(&place.next(), &place.master).map_err(sqlx::Error::Io)?;
            return Ok(next);
        }
        // No key is wrapped under one that was not written in full.
        Ok(_) | Err(MasterError::Damaged(_)) => Ok(()),
        Err(unread) => Err(unread),
    };
    match here? {
        Some(master) if fits(&master) => Ok(master),
        Some(_) => Err(unread.map_or_else(Into::into, |()| StoreError::ForeignMaster(place.master.clone()))),
        None if wrapped.is_some() => {
            Err(unread.map_or_else(Into::into, |()| StoreError::MasterMissing(place.master.clone())))
        }
        None => {
            let master = Master::make().map_err(|_| no_key("the master key"))?;
            // Of two that make one at once, the first one's stays.
            match master.write(&place.master) {
                Ok(()) => Ok(master),
                Err(error) => Master::load(&place.master).ok().flatten().map_or_else(|| Err(error.into()), Ok),
            }
        }
    }
}

fn private(path: &Path) -> Stored<()> {
    use std::os::unix::fs::OpenOptionsExt as _;
    let file = fs::OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(path);
    file.map(drop).map_err(|error| sqlx::Error::Io(error).into())
}
