//! Sweeps away what has ended: sessions, links, bookings that nobody went on filling in, fetched exports, and the bytes of
//! whoever left where that failed at once.

use time::Duration;

use crate::actions::export;
use crate::app::App;
use crate::store::{Stored, drafts, passkeys, second_factor, sessions, takeovers, visits};

/// How long an unfinished booking, with whatever was typed in it, is kept after its last touch.
const DRAFTS_STAY: Duration = Duration::hours(48);

/// How long a browser stays known after somebody of the team last signed in with it: as long as its cookie.
const BROWSERS_STAY: Duration = Duration::days(400);

/// How long a file stays that was sent to be taken over and never was.
const FILES_STAY: Duration = Duration::hours(24);

/// Sweeps once.
///
/// # Errors
/// When the database can't.
pub async fn sweep(app: &App) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    sessions::sweep(&mut tx, now).await?;
    passkeys::sweep(&mut tx, now).await?;
    second_factor::sweep(&mut tx, now - BROWSERS_STAY).await?;
    visits::sweep(&mut tx, now - DRAFTS_STAY).await?;
    drafts::sweep(&mut tx, now - DRAFTS_STAY).await?;
    takeovers::sweep(&mut tx, now - FILES_STAY).await?;
    export::sweep(app, &mut tx, now).await?;
    tx.commit().await?;
    app.db.forget_draft_keys(now - DRAFTS_STAY).await?;
    app.db.scrub_if_owed().await;
    Ok(())
}
