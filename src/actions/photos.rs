//! Photos for the record: only while the client agrees to them.

use super::files::{self, Belongs};
use crate::app::App;
use crate::documents::upload::Checked;
use crate::domain::consent::{Agreement, Tick};
use crate::domain::ids::ClientId;
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::{Connection, StoreError, Stored, audit, health};

/// Why a photo is not kept.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// She hasn't agreed to photos, or took it back.
    #[error("she doesn't agree to photos for the record")]
    NotAgreed,
}

/// Whether photos may be taken for a client's record: she agreed, and has not taken it back.
///
/// # Errors
/// When the file can't be read.
pub async fn allowed(c: &mut Connection, client: &ClientId) -> Stored<bool> {
    let agreed =
        |(tick, stands): &(Tick, Agreement)| *tick == Tick::RecordPhotos && matches!(stands, Agreement::Given { .. });
    Ok(health::agreements(c, client).await?.iter().any(agreed))
}

/// Keeps a photo that was checked.
///
/// # Errors
/// [`Refused`]; nothing is kept then.
pub async fn keep(app: &App, member: &Member, to: &Belongs<'_>, photo: &Checked) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !allowed(&mut tx, to.client).await? {
        return Err(Refused::NotAgreed);
    }
    let kept = files::keep(app, &mut tx, to, photo, now).await?;
    let event =
        Event { action: "photo.added", client: Some(to.client), object: kept.id.as_str(), detail: to.purpose.as_str() };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    Ok(tx.commit().await?)
}
