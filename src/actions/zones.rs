//! Another version of the zone database: what was promised is what the studio's clock shows, so a visit keeps that and
//! its instant follows.

use time::{Duration, OffsetDateTime};

use crate::app::App;
use crate::domain::role::Actor;
use crate::domain::zone::{Zone, database_version};
use crate::store::audit::Event;
use crate::store::visits::Visit;
use crate::store::{Connection, Stored, audit, studio, visits};

/// Visits ahead whose instant is no longer what their clock time means, and by how much it is off; nothing where the
/// clock time no longer exists or exists twice.
///
/// # Errors
/// When the file can't be read.
pub async fn off_the_clock(c: &mut Connection, now: OffsetDateTime) -> Stored<Vec<(Visit, Option<Duration>)>> {
    let ahead = visits::ahead(c, now).await?.into_iter();
    let off = ahead.filter_map(|visit| {
        let meant = Zone::parse(&visit.zone).ok().and_then(|zone| zone.to_instant(visit.civil).ok());
        match meant {
            Some(at) if at == visit.starts_at => None,
            Some(at) => {
                let by = at - visit.starts_at;
                Some((visit, Some(by)))
            }
            None => Some((visit, None)),
        }
    });
    Ok(off.collect())
}

/// What became of the visits when another version of the database was taken up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenUp {
    /// The version before; nothing when there was none.
    pub before: String,
    /// How many visits kept their clock time and have another instant.
    pub moved: usize,
    /// How many could not: their time doesn't exist any more, or is taken by another.
    pub stuck: usize,
}

/// Takes up the program's version of the database; nothing when it is the one that was in use.
///
/// # Errors
/// When the database can't.
pub async fn take_up(app: &App) -> Stored<Option<TakenUp>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if studio::get(&mut tx).await?.is_none() {
        return Ok(None);
    }
    let before = studio::zone_database(&mut tx).await?;
    if before == database_version() {
        return Ok(None);
    }
    let mut moved = 0;
    loop {
        // Neighbours move out of each other's way, so as long as one can, another may.
        let mut any = false;
        for (mut visit, by) in off_the_clock(&mut tx, now).await? {
            let Some(by) = by else { continue };
            (visit.starts_at, visit.ends_at, visit.busy_until) =
                (visit.starts_at + by, visit.ends_at + by, visit.busy_until + by);
            visit.sequence += 1;
            match visits::update(&mut tx, &visit, now).await {
                Ok(()) => (any, moved) = (true, moved + 1),
                Err(error) if error.is_overlap() => {}
                Err(error) => return Err(error),
            }
        }
        if !any {
            break;
        }
    }
    let stuck = off_the_clock(&mut tx, now).await?.len();
    studio::set_zone_database(&mut tx, database_version()).await?;
    let detail = format!("{before} to {}: {moved} visits keep their clock time, {stuck} can't", database_version());
    audit::append(
        &mut tx,
        &Actor::Program,
        Event { action: "zones.taken-up", detail: &detail, ..Event::default() },
        now,
    )
    .await?;
    tx.commit().await?;
    Ok(Some(TakenUp { before, moved, stuck }))
}
