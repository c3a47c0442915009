//! Photos and letters.

use time::OffsetDateTime;

use super::types::{impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::file::{Kind, Purpose};
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::{ClientId, FileId};

/// A file without its content.
#[derive(Debug, Clone)]
pub struct StoredFile {
    /// Its id.
    pub id: FileId,
    /// Whose.
    pub client: ClientId,
    /// What it is for.
    pub purpose: Purpose,
    /// The id of the letter, visit, reaction or skin test that it belongs to.
    pub about: String,
    /// What it is.
    pub kind: Kind,
    /// SHA-256 of its content.
    pub sha256: Fingerprint,
    /// `client`, or the name of whoever of the team added it.
    pub added_by: String,
    /// When.
    pub added_at: OffsetDateTime,
}

struct Row {
    id: String,
    client_id: String,
    purpose: String,
    about: String,
    kind: String,
    sha256: String,
    added_by: String,
    added_at: i64,
}

impl Row {
    fn file(self) -> Stored<StoredFile> {
        let id = &self.id;
        Ok(StoredFile {
            client: read("file", "client_id", id, ClientId::parse(&self.client_id))?,
            purpose: Purpose::parse(&self.purpose).ok_or_else(|| impossible("file", "purpose", id))?,
            kind: Kind::parse(&self.kind).ok_or_else(|| impossible("file", "kind", id))?,
            sha256: read("file", "sha256", id, Fingerprint::parse(&self.sha256))?,
            added_at: instant("file", "added_at", id, self.added_at)?,
            id: read("file", "id", id, FileId::parse(id))?,
            about: self.about,
            added_by: self.added_by,
        })
    }
}

/// Adds a file; a photo comes with its thumbnail.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, file: &StoredFile, body: &[u8], thumbnail: Option<&[u8]>) -> Stored<()> {
    let (id, client, purpose) = (file.id.as_str(), file.client.as_str(), file.purpose.as_str());
    let (kind, sha256, at) = (file.kind.as_str(), file.sha256.to_string(), file.added_at.unix_timestamp());
    let key = c.sealer(client).await?;
    let body = key.bytes("file", "body", id, body)?;
    let thumbnail = thumbnail.map(|small| key.bytes("file", "thumbnail", id, small)).transpose()?;
    sqlx::query!(
        "INSERT INTO file (id, client_id, purpose, about, kind, sha256, body, thumbnail, added_by, added_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        purpose,
        file.about,
        kind,
        sha256,
        body,
        thumbnail,
        file.added_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// How many bytes of files a client has sent herself.
///
/// # Errors
/// When the file can't be read.
pub async fn bytes_sent_by(c: &mut Connection, client: &ClientId) -> Stored<u64> {
    let client = client.as_str();
    let bytes = sqlx::query_scalar!(
        r#"SELECT coalesce(sum(length(body) + coalesce(length(thumbnail), 0)), 0) AS "bytes!: i64" FROM file
           WHERE client_id = ? AND added_by = 'client'"#,
        client
    );
    Ok(bytes.fetch_one(c).await?.try_into().unwrap_or(0))
}

/// One file.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &FileId) -> Stored<Option<StoredFile>> {
    let id = id.as_str();
    let row = sqlx::query_as!(
        Row,
        "SELECT id, client_id, purpose, about, kind, sha256, added_by, added_at FROM file WHERE id = ?",
        id
    );
    row.fetch_optional(c).await?.map(Row::file).transpose()
}

/// The content of a file.
///
/// # Errors
/// When there is none, or the file can't be read.
pub async fn body(c: &mut Connection, id: &FileId) -> Stored<Vec<u8>> {
    let id = id.as_str();
    let row = sqlx::query!("SELECT client_id, body FROM file WHERE id = ?", id).fetch_one(&mut *c).await?;
    c.opener(&row.client_id).await?.bytes("file", "body", id, &row.body)
}

/// The small picture of a photo.
///
/// # Errors
/// When there is no such file, or the file can't be read.
pub async fn thumbnail(c: &mut Connection, id: &FileId) -> Stored<Option<Vec<u8>>> {
    let id = id.as_str();
    let row = sqlx::query!("SELECT client_id, thumbnail FROM file WHERE id = ?", id).fetch_one(&mut *c).await?;
    let key = c.opener(&row.client_id).await?;
    row.thumbnail.map(|small| key.bytes("file", "thumbnail", id, &small)).transpose()
}

/// All files of a client, oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<StoredFile>> {
    let client = client.as_str();
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, client_id, purpose, about, kind, sha256, added_by, added_at FROM file
         WHERE client_id = ? ORDER BY added_at, rowid",
        client
    );
    rows.fetch_all(c).await?.into_iter().map(Row::file).collect()
}

/// The files of one letter, visit, reaction or skin test, oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn about(c: &mut Connection, about: &str) -> Stored<Vec<StoredFile>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, client_id, purpose, about, kind, sha256, added_by, added_at FROM file
         WHERE about = ? ORDER BY added_at, rowid",
        about
    );
    rows.fetch_all(c).await?.into_iter().map(Row::file).collect()
}
