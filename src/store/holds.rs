//! Holds on clients' records.

use time::OffsetDateTime;

use super::types::{instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, HoldId};

/// A hold.
#[derive(Debug, Clone)]
pub struct Hold {
    /// Its id.
    pub id: HoldId,
    /// Whose records.
    pub client: ClientId,
    /// Why.
    pub why: String,
    /// Who set it.
    pub set_by: String,
    /// When.
    pub set_at: OffsetDateTime,
    /// Who lifted it, when and why.
    pub lifted: Option<(String, OffsetDateTime, String)>,
}

struct Row {
    id: String,
    client_id: String,
    why: String,
    set_by: String,
    set_at: i64,
    lifted_by: Option<String>,
    lifted_at: Option<i64>,
    lifted_why: Option<String>,
}

impl Row {
    fn hold(self) -> Stored<Hold> {
        let id = &self.id;
        let lifted = match (self.lifted_by, self.lifted_at, self.lifted_why) {
            (Some(by), Some(at), Some(why)) => Some((by, instant("hold", "lifted_at", id, at)?, why)),
            _ => None,
        };
        Ok(Hold {
            client: read("hold", "client_id", id, ClientId::parse(&self.client_id))?,
            set_at: instant("hold", "set_at", id, self.set_at)?,
            id: read("hold", "id", id, HoldId::parse(id))?,
            why: self.why,
            set_by: self.set_by,
            lifted,
        })
    }
}

macro_rules! holds {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            "SELECT id, client_id, why, set_by, set_at, lifted_by, lifted_at, lifted_why FROM hold " + $rest
            $(, $arg)*
        )
    };
}

/// Those that are not lifted, the oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn open(c: &mut Connection) -> Stored<Vec<Hold>> {
    let rows = holds!("WHERE lifted_at IS NULL ORDER BY set_at, id").fetch_all(c).await?;
    rows.into_iter().map(Row::hold).collect()
}

/// All of a client's, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Hold>> {
    let client = client.as_str();
    let rows = holds!("WHERE client_id = ? ORDER BY set_at DESC, rowid DESC", client).fetch_all(c).await?;
    rows.into_iter().map(Row::hold).collect()
}

/// Sets one.
///
/// # Errors
/// When the file can't be written.
pub async fn set(c: &mut Connection, hold: &Hold) -> Stored<()> {
    let (id, client, at) = (hold.id.as_str(), hold.client.as_str(), hold.set_at.unix_timestamp());
    let (why, by) = (&hold.why, &hold.set_by);
    sqlx::query!(
        "INSERT INTO hold (id, client_id, why, set_by, set_at) VALUES (?, ?, ?, ?, ?)",
        id,
        client,
        why,
        by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Lifts one: whose it was, or `None` when there is none that is open.
///
/// # Errors
/// When the file can't be written.
pub async fn lift(
    c: &mut Connection,
    id: &HoldId,
    by: &str,
    why: &str,
    now: OffsetDateTime,
) -> Stored<Option<ClientId>> {
    let (key, now) = (id.as_str(), now.unix_timestamp());
    let done = sqlx::query!(
        "UPDATE hold SET lifted_by = ?, lifted_why = ?, lifted_at = ? WHERE id = ? AND lifted_at IS NULL",
        by,
        why,
        now,
        key
    );
    if done.execute(&mut *c).await?.rows_affected() == 0 {
        return Ok(None);
    }
    let client = sqlx::query_scalar!("SELECT client_id FROM hold WHERE id = ?", key).fetch_one(c).await?;
    Ok(Some(read("hold", "client_id", key, ClientId::parse(&client))?))
}
