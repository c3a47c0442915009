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
    async fn hold(self, c: &mut Connection) -> Stored<Hold> {
        let id = &self.id;
        let key = c.opener(&self.client_id).await?;
        let lifted = match (self.lifted_by, self.lifted_at, self.lifted_why) {
            (Some(by), Some(at), Some(why)) => {
                Some((by, instant("hold", "lifted_at", id, at)?, key.text("hold", "lifted_why", id, &why)?))
            }
            _ => None,
        };
        Ok(Hold {
            client: read("hold", "client_id", id, ClientId::parse(&self.client_id))?,
            set_at: instant("hold", "set_at", id, self.set_at)?,
            why: key.text("hold", "why", id, &self.why)?,
            id: read("hold", "id", id, HoldId::parse(id))?,
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

/// Those that are not lifted, the oldest first: id, whose, when and by whom. Why is told by [`get`].
///
/// # Errors
/// When the file can't be read.
pub async fn open(c: &mut Connection) -> Stored<Vec<(HoldId, ClientId, OffsetDateTime, String)>> {
    let rows =
        sqlx::query!("SELECT id, client_id, set_at, set_by FROM hold WHERE lifted_at IS NULL ORDER BY set_at, id");
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let client = read("hold", "client_id", &row.id, ClientId::parse(&row.client_id))?;
            let set_at = instant("hold", "set_at", &row.id, row.set_at)?;
            Ok((read("hold", "id", &row.id, HoldId::parse(&row.id))?, client, set_at, row.set_by))
        })
        .collect()
}

/// One.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &HoldId) -> Stored<Option<Hold>> {
    let id = id.as_str();
    match holds!("WHERE id = ?", id).fetch_optional(&mut *c).await? {
        Some(row) => row.hold(c).await.map(Some),
        None => Ok(None),
    }
}

/// All of a client's, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Hold>> {
    let client = client.as_str();
    let rows = holds!("WHERE client_id = ? ORDER BY set_at DESC, rowid DESC", client).fetch_all(&mut *c).await?;
    let mut all = Vec::with_capacity(rows.len());
    for row in rows {
        all.push(row.hold(c).await?);
    }
    Ok(all)
}

/// Sets one.
///
/// # Errors
/// When the file can't be written.
pub async fn set(c: &mut Connection, hold: &Hold) -> Stored<()> {
    let (id, client, at) = (hold.id.as_str(), hold.client.as_str(), hold.set_at.unix_timestamp());
    let by = &hold.set_by;
    let why = c.sealer(client).await?.text("hold", "why", id, &hold.why)?;
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
    let (id, now) = (id.as_str(), now.unix_timestamp());
    let open = sqlx::query_scalar!("SELECT client_id FROM hold WHERE id = ? AND lifted_at IS NULL", id);
    let Some(client) = open.fetch_optional(&mut *c).await? else { return Ok(None) };
    let why = c.sealer(&client).await?.text("hold", "lifted_why", id, why)?;
    sqlx::query!("UPDATE hold SET lifted_by = ?, lifted_why = ?, lifted_at = ? WHERE id = ?", by, why, now, id)
        .execute(c)
        .await?;
    Ok(Some(read("hold", "client_id", id, ClientId::parse(&client))?))
}
