//! Practitioners, their hours and days off, and rooms.

use time::{Date, OffsetDateTime};

use super::types::{day, day_text, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{PractitionerId, RoomId, TimeOffId};

/// Somebody who treats.
#[derive(Debug, Clone)]
pub struct Practitioner {
    /// Her id.
    pub id: PractitionerId,
    /// Her name.
    pub name: String,
    /// Whether she can be booked.
    pub active: bool,
}

/// All practitioners, those who can be booked first.
///
/// # Errors
/// When the file can't be read.
pub async fn all(c: &mut Connection) -> Stored<Vec<Practitioner>> {
    let rows = sqlx::query!("SELECT id, name, active FROM practitioner ORDER BY active DESC, name COLLATE NOCASE, id");
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let id = read("practitioner", "id", &row.id, PractitionerId::parse(&row.id))?;
            Ok(Practitioner { id, name: row.name, active: row.active == 1 })
        })
        .collect()
}

/// One practitioner.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &PractitionerId) -> Stored<Option<Practitioner>> {
    Ok(all(c).await?.into_iter().find(|p| p.id == *id))
}

/// Adds or renames a practitioner.
///
/// # Errors
/// When the file can't be written.
pub async fn save(c: &mut Connection, p: &Practitioner, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (p.id.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO practitioner (id, name, active, created_at) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT (id) DO UPDATE SET name = ?2, active = ?3",
        id,
        p.name,
        p.active,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Weekly hours as (weekday 1–7 from Monday, opens, closes) in minutes from midnight.
///
/// # Errors
/// When the file can't be read.
pub async fn hours(c: &mut Connection, id: &PractitionerId) -> Stored<Vec<(u8, u16, u16)>> {
    let key = id.as_str();
    let rows = sqlx::query!(
        "SELECT weekday, opens_minute, closes_minute FROM hours WHERE practitioner_id = ? ORDER BY weekday, opens_minute",
        key
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok((
                small("hours", "weekday", key, row.weekday)?,
                small("hours", "opens_minute", key, row.opens_minute)?,
                small("hours", "closes_minute", key, row.closes_minute)?,
            ))
        })
        .collect()
}

/// Replaces the weekly hours.
///
/// # Errors
/// When the file can't be written.
pub async fn set_hours(
    c: &mut Connection,
    id: &PractitionerId,
    rows: impl Iterator<Item = (u8, u16, u16)>,
) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("DELETE FROM hours WHERE practitioner_id = ?", id).execute(&mut *c).await?;
    for (weekday, opens, closes) in rows {
        sqlx::query!(
            "INSERT INTO hours (practitioner_id, weekday, opens_minute, closes_minute) VALUES (?, ?, ?, ?)",
            id,
            weekday,
            opens,
            closes
        )
        .execute(&mut *c)
        .await?;
    }
    Ok(())
}

/// A span of whole days off.
#[derive(Debug, Clone)]
pub struct TimeOff {
    /// Its id.
    pub id: TimeOffId,
    /// Whose; nobody's means that the studio is closed.
    pub practitioner: Option<PractitionerId>,
    /// The first day.
    pub from: Date,
    /// The last day.
    pub to: Date,
    /// Why, for the team.
    pub reason: String,
}

/// Days off that have not passed.
///
/// # Errors
/// When the file can't be read.
pub async fn time_off(c: &mut Connection, today: Date) -> Stored<Vec<TimeOff>> {
    let today = day_text(today);
    let rows = sqlx::query!(
        "SELECT id, practitioner_id, from_day, to_day, reason FROM time_off WHERE to_day >= ? ORDER BY from_day, id",
        today
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let whose = row.practitioner_id.map(|p| read("time_off", "practitioner_id", id, PractitionerId::parse(&p)));
            Ok(TimeOff {
                practitioner: whose.transpose()?,
                from: day("time_off", "from_day", id, &row.from_day)?,
                to: day("time_off", "to_day", id, &row.to_day)?,
                reason: row.reason,
                id: read("time_off", "id", id, TimeOffId::parse(id))?,
            })
        })
        .collect()
}

/// Adds days off.
///
/// # Errors
/// When the file can't be written.
pub async fn add_time_off(c: &mut Connection, off: &TimeOff) -> Stored<()> {
    let (id, whose) = (off.id.as_str(), off.practitioner.as_ref().map(PractitionerId::as_str));
    let (from, to) = (day_text(off.from), day_text(off.to));
    sqlx::query!(
        "INSERT INTO time_off (id, practitioner_id, from_day, to_day, reason) VALUES (?, ?, ?, ?, ?)",
        id,
        whose,
        from,
        to,
        off.reason
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Takes days off back.
///
/// # Errors
/// When the file can't be written.
pub async fn remove_time_off(c: &mut Connection, id: &TimeOffId) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("DELETE FROM time_off WHERE id = ?", id).execute(c).await?;
    Ok(())
}

/// A room or chair.
#[derive(Debug, Clone)]
pub struct Room {
    /// Its id.
    pub id: RoomId,
    /// Its name.
    pub name: String,
    /// Whether it can be booked.
    pub active: bool,
}

/// All rooms, those that can be booked first.
///
/// # Errors
/// When the file can't be read.
pub async fn rooms(c: &mut Connection) -> Stored<Vec<Room>> {
    let rows = sqlx::query!("SELECT id, name, active FROM room ORDER BY active DESC, name COLLATE NOCASE, id")
        .fetch_all(c)
        .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Room {
                id: read("room", "id", &row.id, RoomId::parse(&row.id))?,
                name: row.name,
                active: row.active == 1,
            })
        })
        .collect()
}

/// Adds or renames a room.
///
/// # Errors
/// When the file can't be written.
pub async fn save_room(c: &mut Connection, room: &Room) -> Stored<()> {
    let id = room.id.as_str();
    sqlx::query!(
        "INSERT INTO room (id, name, active) VALUES (?1, ?2, ?3) ON CONFLICT (id) DO UPDATE SET name = ?2, active = ?3",
        id,
        room.name,
        room.active
    )
    .execute(c)
    .await?;
    Ok(())
}

/// With whom and where each visit is that is booked from a moment on.
///
/// # Errors
/// When the file can't be read.
pub async fn booked_from(c: &mut Connection, from: OffsetDateTime) -> Stored<Vec<(PractitionerId, RoomId)>> {
    let from = from.unix_timestamp();
    let rows = sqlx::query!(
        "SELECT id, practitioner_id, room_id FROM visit WHERE state = 'booked' AND starts_at >= ? ORDER BY starts_at",
        from
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let who = read("visit", "practitioner_id", &row.id, PractitionerId::parse(&row.practitioner_id))?;
            Ok((who, read("visit", "room_id", &row.id, RoomId::parse(&row.room_id))?))
        })
        .collect()
}
