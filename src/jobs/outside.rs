//! Reads the calendars elsewhere whose busy times count: one a step, so that a test can drain it.

use time::Duration;

use crate::actions::feeds as changes;
use crate::apart;
use crate::app::App;
use crate::domain::outside::{Address, busy_times};
use crate::language::Language;
use crate::store::{Stored, feeds, studio};

mod fetch;
mod public;

pub use fetch::{Access, NotFetched};

/// How far ahead busy times are wanted.
const AHEAD: Duration = Duration::days(402);

/// Why a calendar was not read; in words for the page in the language that is spoken.
type Trouble = Box<dyn std::error::Error + Send + Sync>;

/// Reads the calendar that is due next. `false` when none is.
///
/// # Errors
/// When the database can't; the calendar stays due.
pub async fn step(app: &App, access: Access) -> Stored<bool> {
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let Some(outside) = feeds::due(&mut c, now).await? else { return Ok(false) };
    let Some(studio) = studio::get(&mut c).await? else { return Ok(false) };
    drop(c);
    let found = match Address::parse(&outside.url) {
        Ok(address) => fetch::fetch(&address, access).await.map_err(Trouble::from),
        Err(refusal) => Err(refusal.into()),
    };
    let found = match found {
        Ok(text) => {
            // A file of the size that is taken keeps a thread busy for a while.
            let read = apart::blocking(move || busy_times(&text, &studio.zone, (now - Duration::DAY, now + AHEAD)));
            read.await.map_err(Trouble::from).and_then(|found| Ok(found?))
        }
        Err(trouble) => Err(trouble),
    };
    if let Err(trouble) = &found {
        let trouble = Language::English.within(|| trouble.to_string());
        // The address is a secret, so only whose it is goes into the log.
        tracing::warn!(practitioner = %outside.practitioner, failures = outside.failures + 1, trouble, "a calendar elsewhere was not read");
    }
    changes::outside_was_tried(app, &outside, found.as_deref().map_err(ToString::to_string)).await?;
    Ok(true)
}
