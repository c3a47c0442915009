//! What changes the usual week: other hours on a day, blocks, and busy times from elsewhere.

use time::{Date, OffsetDateTime};

use super::types::{day, day_text, impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::hours::DayHours;
use crate::domain::ids::{BlockId, DayHoursId, PractitionerId, RoomId};

/// Other hours on one day.
#[derive(Debug, Clone)]
pub struct OtherHours {
    /// Their id.
    pub id: DayHoursId,
    /// Whose; nobody's cut everybody's.
    pub practitioner: Option<PractitionerId>,
    /// On which day.
    pub day: Date,
    /// From when to when.
    pub hours: DayHours,
    /// Why, for the team.
    pub reason: String,
}

/// Other hours from a day on, in order.
///
/// # Errors
/// When the file can't be read.
pub async fn other_hours(c: &mut Connection, from: Date) -> Stored<Vec<OtherHours>> {
    let from = day_text(from);
    let rows = sqlx::query!(
        "SELECT id, practitioner_id, on_day, hours, reason FROM day_hours WHERE on_day >= ? ORDER BY on_day, id",
        from
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let whose =
                row.practitioner_id.map(|p| read("day_hours", "practitioner_id", id, PractitionerId::parse(&p)));
            Ok(OtherHours {
                practitioner: whose.transpose()?,
                day: day("day_hours", "on_day", id, &row.on_day)?,
                hours: read("day_hours", "hours", id, DayHours::parse_text(&row.hours))?,
                reason: row.reason,
                id: read("day_hours", "id", id, DayHoursId::parse(id))?,
            })
        })
        .collect()
}

/// Sets the hours of a day, in place of what was set for it before.
///
/// # Errors
/// When the file can't be written.
pub async fn set_other_hours(c: &mut Connection, new: &OtherHours) -> Stored<()> {
    let (id, whose) = (new.id.as_str(), new.practitioner.as_ref().map(PractitionerId::as_str));
    let (day, hours) = (day_text(new.day), new.hours.to_string());
    sqlx::query!("DELETE FROM day_hours WHERE on_day = ? AND practitioner_id IS ?", day, whose)
        .execute(&mut *c)
        .await?;
    sqlx::query!(
        "INSERT INTO day_hours (id, practitioner_id, on_day, hours, reason) VALUES (?, ?, ?, ?, ?)",
        id,
        whose,
        day,
        hours,
        new.reason
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The usual hours hold again.
///
/// # Errors
/// When the file can't be written.
pub async fn remove_other_hours(c: &mut Connection, id: &DayHoursId) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("DELETE FROM day_hours WHERE id = ?", id).execute(c).await?;
    Ok(())
}

/// What is blocked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Blocked {
    /// A practitioner is not there for clients.
    Practitioner(PractitionerId),
    /// A room can't be used.
    Room(RoomId),
}

impl Blocked {
    fn columns(&self) -> (Option<&str>, Option<&str>) {
        match self {
            Self::Practitioner(id) => (Some(id.as_str()), None),
            Self::Room(id) => (None, Some(id.as_str())),
        }
    }
}

/// A stretch in which nothing is booked.
#[derive(Debug, Clone)]
pub struct Block {
    /// Its id.
    pub id: BlockId,
    /// Who or what.
    pub what: Blocked,
    /// From when.
    pub starts_at: OffsetDateTime,
    /// Until when.
    pub ends_at: OffsetDateTime,
    /// Why, for the team.
    pub reason: String,
    /// Who made it.
    pub made_by: String,
}

/// The longest block, in hours: a day that repeats an hour.
pub const BLOCK_HOURS: i64 = 25;

/// Blocks that reach into a stretch, in order.
///
/// # Errors
/// When the file can't be read.
pub async fn blocks(c: &mut Connection, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<Block>> {
    let (from, to) = (from.unix_timestamp(), to.unix_timestamp());
    let earliest = from - BLOCK_HOURS * 3600;
    let rows = sqlx::query!(
        "SELECT id, practitioner_id, room_id, starts_at, ends_at, reason, made_by FROM block
         WHERE starts_at > ? AND starts_at < ? AND ends_at > ? ORDER BY starts_at, id",
        earliest,
        to,
        from
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let what = match (row.practitioner_id, row.room_id) {
                (Some(p), None) => {
                    Blocked::Practitioner(read("block", "practitioner_id", id, PractitionerId::parse(&p))?)
                }
                (None, Some(room)) => Blocked::Room(read("block", "room_id", id, RoomId::parse(&room))?),
                _ => return Err(impossible("block", "room_id", id)),
            };
            Ok(Block {
                what,
                starts_at: instant("block", "starts_at", id, row.starts_at)?,
                ends_at: instant("block", "ends_at", id, row.ends_at)?,
                reason: row.reason,
                made_by: row.made_by,
                id: read("block", "id", id, BlockId::parse(id))?,
            })
        })
        .collect()
}

/// Adds a block. Where a visit is booked or held, it is an error whose [`super::StoreError::is_overlap`] is true.
///
/// # Errors
/// On a visit, or when the file can't be written.
pub async fn add_block(c: &mut Connection, b: &Block, now: OffsetDateTime) -> Stored<()> {
    let (id, (practitioner, room)) = (b.id.as_str(), b.what.columns());
    let (from, to, now) = (b.starts_at.unix_timestamp(), b.ends_at.unix_timestamp(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO block (id, practitioner_id, room_id, starts_at, ends_at, reason, made_by, created_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        practitioner,
        room,
        from,
        to,
        b.reason,
        b.made_by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// One block.
///
/// # Errors
/// When the file can't be read.
pub async fn block(c: &mut Connection, id: &BlockId) -> Stored<Option<Block>> {
    let key = id.as_str();
    let row = sqlx::query!("SELECT starts_at, ends_at FROM block WHERE id = ?", key).fetch_optional(&mut *c).await?;
    let Some(row) = row else { return Ok(None) };
    let (from, to) =
        (instant("block", "starts_at", key, row.starts_at)?, instant("block", "ends_at", key, row.ends_at)?);
    Ok(blocks(c, from, to).await?.into_iter().find(|block| block.id == *id))
}

/// Takes a block away.
///
/// # Errors
/// When the file can't be written.
pub async fn remove_block(c: &mut Connection, id: &BlockId) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("DELETE FROM block WHERE id = ?", id).execute(c).await?;
    Ok(())
}

/// Who is busy elsewhere when: (practitioner, from, to) in Unix seconds, in order of time.
///
/// # Errors
/// When the file can't be read.
pub async fn outside_busy(
    c: &mut Connection,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<(String, i64, i64)>> {
    let (from, to) = (from.unix_timestamp(), to.unix_timestamp());
    let rows = sqlx::query!(
        "SELECT practitioner_id, starts_at, ends_at FROM outside_busy WHERE starts_at < ? AND ends_at > ? ORDER BY starts_at",
        to,
        from
    );
    let rows = rows.fetch_all(c).await?;
    Ok(rows.into_iter().map(|row| (row.practitioner_id, row.starts_at, row.ends_at)).collect())
}
