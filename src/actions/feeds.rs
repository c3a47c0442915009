//! The secret address of a practitioner's feed, and the calendar elsewhere whose busy times count for her.

use time::{Duration, OffsetDateTime};

use super::tell;
use crate::app::App;
use crate::domain::ids::{AccountId, PractitionerId};
use crate::domain::role::{Actor, Member, News};
use crate::store::audit::Event;
use crate::store::feeds::{self, Outside};
use crate::store::types::sha256_hex;
use crate::store::{Connection, Stored, accounts, audit};

/// Makes a new address for her feed; the one before ends. The token is stored hashed only.
///
/// # Errors
/// When the database can't.
pub async fn renew(app: &App, member: &Member, of: &PractitionerId) -> Stored<String> {
    let (now, token) = (app.clock.now(), app.random.token());
    let mut tx = app.db.write().await?;
    feeds::set(&mut tx, of, &sha256_hex(&token), now).await?;
    log(&mut tx, member, "feed.renewed", of, now).await?;
    tell(app, &mut tx, &member.account, News::FeedMade, now).await?;
    tx.commit().await?;
    Ok(format!("{}/calendar/{token}.ics", app.address.base_url))
}

/// Ends the address of her feed.
///
/// # Errors
/// When the database can't.
pub async fn end(app: &App, member: &Member, of: &PractitionerId) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    feeds::end(&mut tx, of).await?;
    log(&mut tx, member, "feed.ended", of, now).await?;
    tx.commit().await
}

/// Ends the address of the feed of whoever signs in with an account, and writes to her: a calendar program that reads
/// nothing any more may go on showing what it read.
pub(super) async fn end_of(
    app: &App,
    c: &mut Connection,
    actor: &Actor,
    account: &AccountId,
    now: OffsetDateTime,
) -> Stored<()> {
    let Some(of) = accounts::by_id(c, account).await?.and_then(|account| account.member.practitioner) else {
        return Ok(());
    };
    if feeds::end(c, &of).await? {
        let event = Event { action: "feed.ended", object: of.as_str(), ..Event::default() };
        audit::append(c, actor, event, now).await?;
        tell(app, c, account, News::FeedEnded, now).await?;
    }
    Ok(())
}

/// Sets the calendar whose busy times count for her, or none.
///
/// # Errors
/// When the database can't.
pub async fn set_outside(app: &App, member: &Member, of: &PractitionerId, url: Option<&str>) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    match url {
        Some(url) => feeds::set_outside(&mut tx, of, url, now).await?,
        None => feeds::remove_outside(&mut tx, of).await?,
    }
    let action = if url.is_some() { "outside-calendar.set" } else { "outside-calendar.removed" };
    // The address is a secret, so the audit doesn't name it.
    log(&mut tx, member, action, of, now).await?;
    if url.is_some() {
        tell(app, &mut tx, &member.account, News::OutsideSet, now).await?;
    }
    tx.commit().await
}

/// How long a calendar that was read counts as fresh.
const FRESH: Duration = Duration::minutes(15);
/// The longest pause after failures.
const LONGEST_PAUSE: Duration = Duration::hours(6);

/// Stores what a reading gave: busy times in Unix seconds, or why there are none. After a failure the old ones stay, and
/// the pause before the next try doubles.
///
/// # Errors
/// When the database can't.
pub async fn outside_was_tried(app: &App, outside: &Outside, found: Result<&[(i64, i64)], String>) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    match found {
        Ok(busy) => feeds::was_read(&mut tx, outside, busy, (now, now + FRESH)).await?,
        Err(trouble) => {
            let doubled = 1_i32.checked_shl(u32::try_from(outside.failures).unwrap_or(9).min(9)).unwrap_or(512);
            feeds::failed(&mut tx, outside, &trouble, now + (FRESH * doubled).min(LONGEST_PAUSE)).await?;
        }
    }
    tx.commit().await
}

async fn log(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    of: &PractitionerId,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, object: of.as_str(), ..Event::default() };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
