//! The nightly look at the audit's chain.

use time::macros::time;
use time::{OffsetDateTime, Time};

use crate::app::App;
use crate::domain::zone::Zone;
use crate::store::audit::{self, Check, Found};
use crate::store::{Stored, studio};

/// When the night's look is due, on the studio's clock.
const AT: Time = time!(3:00);

/// Whether a look is due: the last one was before this night's hour.
fn due(last: Option<&Check>, zone: &Zone, now: OffsetDateTime) -> bool {
    last.is_none_or(|check| check.at < zone.last_at(AT, now))
}

/// Looks at the whole chain, once a night and as soon as its end is cut off, and keeps what was found. What is wrong stands in the program's log and on the
/// owner's page until a look finds the chain whole.
///
/// # Errors
/// When the database can't.
pub async fn nightly(app: &App) -> Stored<()> {
    let now = app.clock.now();
    let end = app.db.audit_end();
    let mut snapshot = app.db.snapshot().await?;
    let Some(studio) = studio::get(&mut snapshot).await? else { return Ok(()) };
    let last = audit::last_check(&mut snapshot).await?;
    let cut_off = match &end {
        Some(end) => !audit::stands(&mut snapshot, end).await?,
        None => false,
    };
    let is_known = last.as_ref().is_some_and(|last| matches!(last.found, Found::CutOff(_)));
    if !due(last.as_ref(), &studio.zone, now) && (!cut_off || is_known) {
        return Ok(());
    }
    let found = audit::check(&mut snapshot, end.as_ref()).await?;
    let reached = audit::last(&mut snapshot).await?;
    drop(snapshot);
    match found {
        // Where the log of this computer goes elsewhere, nobody who writes here can take this back.
        Found::Holds(rows) => tracing::info!(rows, hash = reached.hash, "the audit's chain holds"),
        Found::Breaks(row) => tracing::error!(row, "the audit's chain breaks"),
        Found::CutOff(row) => tracing::error!(row, "the audit was cut off, or written anew"),
    }
    let mut tx = app.db.write().await?;
    audit::keep_check(&mut tx, found, now).await?;
    tx.commit().await
}

#[cfg(test)]
mod tests {
    use time::macros::datetime;

    use super::*;

    #[test]
    fn it_is_due_once_a_night() {
        let zone = Zone::parse("Europe/Berlin").unwrap();
        let looked = |at| Check { at, found: Found::Holds(1) };
        let now = datetime!(2026-03-02 08:00 UTC);
        assert!(due(None, &zone, now));
        assert!(due(Some(&looked(datetime!(2026-03-02 01:59 UTC))), &zone, now));
        assert!(!due(Some(&looked(datetime!(2026-03-02 02:00 UTC))), &zone, now));
        assert!(!due(Some(&looked(now)), &zone, datetime!(2026-03-03 01:59 UTC)), "before the next night's hour");
        assert!(due(Some(&looked(now)), &zone, datetime!(2026-03-03 02:00 UTC)));
    }
}
