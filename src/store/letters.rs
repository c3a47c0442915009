//! Letters from clinicians.

use time::OffsetDateTime;

use super::types::{instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, FileId, LetterId};
use crate::domain::letter::Letter;

/// A letter with where it stands in the records.
#[derive(Clone)]
pub struct StoredLetter {
    /// What it says.
    pub letter: Letter,
    /// Whose.
    pub client: ClientId,
    /// The paper.
    pub file: FileId,
    /// `client`, or the name of whoever of the team added it.
    pub added_by: String,
    /// When.
    pub added_at: OffsetDateTime,
    /// Who of the team read it, and when.
    pub read: Option<(String, OffsetDateTime)>,
    /// Who set it aside, when and why.
    pub set_aside: Option<(String, OffsetDateTime, String)>,
}

impl StoredLetter {
    /// Whether it counts, as far as reading goes: what it covers is the rule's to say.
    pub fn counts(&self) -> bool {
        self.read.is_some() && self.set_aside.is_none()
    }
}

/// All letters of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<StoredLetter>> {
    let she = client.as_str();
    let key = c.opener(she).await?;
    let rows = sqlx::query!(
        "SELECT id, file_id, body, added_by, added_at, read_by, read_at, set_aside_by, set_aside_at, set_aside_why FROM letter
         WHERE client_id = ? ORDER BY added_at DESC, rowid DESC",
        she
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let at = |column, seconds: Option<i64>| seconds.map(|s| instant("letter", column, id, s)).transpose();
            let why = row.set_aside_why.map(|why| key.text("letter", "set_aside_why", id, &why)).transpose()?;
            let set_aside = row.set_aside_by.zip(at("set_aside_at", row.set_aside_at)?).zip(why);
            let body = key.text("letter", "body", id, &row.body)?;
            Ok(StoredLetter {
                letter: read("letter", "body", id, serde_json::from_str(&body))?,
                client: client.clone(),
                file: read("letter", "file_id", id, FileId::parse(&row.file_id))?,
                added_by: row.added_by,
                added_at: instant("letter", "added_at", id, row.added_at)?,
                read: row.read_by.zip(at("read_at", row.read_at)?),
                set_aside: set_aside.map(|((by, at), why)| (by, at, why)),
            })
        })
        .collect()
}

/// The letters that count, for the rules.
///
/// # Errors
/// When the file can't be read.
pub async fn counting(c: &mut Connection, client: &ClientId) -> Stored<Vec<Letter>> {
    let all = of_client(c, client).await?;
    Ok(all.into_iter().filter(StoredLetter::counts).map(|stored| stored.letter).collect())
}

/// Whose letter this is.
///
/// # Errors
/// When the file can't be read.
pub async fn client_of(c: &mut Connection, id: &LetterId) -> Stored<Option<ClientId>> {
    let id = id.as_str();
    let row = sqlx::query_scalar!("SELECT client_id FROM letter WHERE id = ?", id).fetch_optional(c).await?;
    row.map(|text| read("letter", "client_id", id, ClientId::parse(&text))).transpose()
}

/// Adds a letter, whose file is there already.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, stored: &StoredLetter) -> Stored<()> {
    let (id, client, file) = (stored.letter.id().as_str(), stored.client.as_str(), stored.file.as_str());
    let body = read("letter", "body", id, serde_json::to_string(&stored.letter))?;
    let body = c.sealer(client).await?.text("letter", "body", id, &body)?;
    let added = stored.added_at.unix_timestamp();
    let (read_by, read_at) = stored.read.as_ref().map(|(by, at)| (by.as_str(), at.unix_timestamp())).unzip();
    sqlx::query!(
        "INSERT INTO letter (id, client_id, file_id, body, added_by, added_at, read_by, read_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        file,
        body,
        stored.added_by,
        added,
        read_by,
        read_at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Somebody of the team has read it. `false` when that was noted already, or it was set aside.
///
/// # Errors
/// When the file can't be written.
pub async fn set_read(c: &mut Connection, id: &LetterId, by: &str, now: OffsetDateTime) -> Stored<bool> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    let done = sqlx::query!(
        "UPDATE letter SET read_by = ?, read_at = ? WHERE id = ? AND read_by IS NULL AND set_aside_by IS NULL",
        by,
        now,
        id
    );
    Ok(done.execute(c).await?.rows_affected() == 1)
}

/// It no longer counts. `false` when it was set aside already.
///
/// # Errors
/// When the file can't be written.
pub async fn set_aside(c: &mut Connection, id: &LetterId, by: &str, why: &str, now: OffsetDateTime) -> Stored<bool> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    let client = sqlx::query_scalar!("SELECT client_id FROM letter WHERE id = ? AND set_aside_by IS NULL", id);
    let Some(client) = client.fetch_optional(&mut *c).await? else { return Ok(false) };
    let why = c.sealer(&client).await?.text("letter", "set_aside_why", id, why)?;
    let done = sqlx::query!(
        "UPDATE letter SET set_aside_by = ?, set_aside_at = ?, set_aside_why = ? WHERE id = ?",
        by,
        now,
        why,
        id
    );
    done.execute(c).await?;
    Ok(true)
}
