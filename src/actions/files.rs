//! Photos and letters: checked away from the threads that answer, and kept.

use std::io::Read;

use time::OffsetDateTime;
use tokio::sync::Semaphore;

use crate::apart;
use crate::app::App;
use crate::documents::upload::{self, Checked, MOST_BYTES, Takes, UploadRefused};
use crate::domain::file::Purpose;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::{ClientId, FileId};
use crate::store::files::{self, StoredFile};
use crate::store::{Connection, Stored};

/// One at a time: decoding the largest photo takes about 170 MiB.
static TURN: Semaphore = Semaphore::const_new(1);

/// Reads and checks an upload.
///
/// # Errors
/// [`UploadRefused`]; a file that makes a decoder fall over is refused as broken.
pub async fn check(file: std::fs::File, takes: Takes) -> Result<Checked, UploadRefused> {
    let turn = TURN.acquire().await;
    let checked = apart::blocking(move || {
        let mut bytes = Vec::new();
        let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX).saturating_add(1);
        file.take(most).read_to_end(&mut bytes).map_err(|error| {
            tracing::error!(%error, "an upload can't be read back");
            UploadRefused::Empty
        })?;
        upload::check(&bytes, takes)
    })
    .await;
    drop(turn);
    checked.unwrap_or(Err(UploadRefused::Unknown))
}

/// What a file belongs to, and who added it.
pub struct Belongs<'a> {
    /// Whose.
    pub client: &'a ClientId,
    /// What it is for.
    pub purpose: Purpose,
    /// The id of the letter, visit, reaction or skin test.
    pub about: &'a str,
    /// `client`, or the name of whoever of the team adds it.
    pub by: &'a str,
}

/// How many bytes of files a client may send herself in all: hundreds of photos, and no full disk.
pub const MOST_SENT: u64 = 100_000_000;

/// Whether there is room for one more file that a client sends herself.
///
/// # Errors
/// When the file can't be read.
pub(super) async fn has_room(c: &mut Connection, client: &ClientId, checked: &Checked) -> Stored<bool> {
    let bytes = checked.bytes.len() + checked.thumbnail.as_ref().map_or(0, Vec::len);
    let sent = files::bytes_sent_by(c, client).await?;
    Ok(sent.saturating_add(u64::try_from(bytes).unwrap_or(u64::MAX)) <= MOST_SENT)
}

/// Keeps a file that was checked, in the transaction of what it belongs to.
///
/// # Errors
/// When the file can't be written.
pub async fn keep(
    app: &App,
    c: &mut Connection,
    to: &Belongs<'_>,
    checked: &Checked,
    now: OffsetDateTime,
) -> Stored<StoredFile> {
    let file = StoredFile {
        id: FileId::from_random(app.random.id()),
        client: to.client.clone(),
        purpose: to.purpose,
        about: to.about.to_owned(),
        kind: checked.kind,
        sha256: Fingerprint::of(&checked.bytes),
        added_by: to.by.to_owned(),
        added_at: now,
    };
    files::insert(c, &file, &checked.bytes, checked.thumbnail.as_deref()).await?;
    Ok(file)
}
