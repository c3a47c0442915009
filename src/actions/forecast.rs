//! How many windows open in the coming weeks, against the hours in which somebody works.

use time::{Date, Duration, OffsetDateTime};

use super::diary;
use crate::domain::hours::{DateRange, WeeklyHours, WorkingHours};
use crate::store::retouch::lines;
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::{Connection, Stored, calendar, catalogue, practitioners};

/// How many weeks are looked at.
pub const WEEKS: u16 = 26;

/// One week, from its Monday.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Week {
    /// Its Monday.
    pub monday: Date,
    /// How many windows open in it.
    pub windows: u32,
    /// Of how many of these the client has a treatment booked already, whenever that is.
    pub booked: u32,
    /// How many minutes the treatments of the others would take, with the time between two visits.
    pub wanted_minutes: u32,
    /// How many minutes all practitioners together work, booked or not.
    pub open_minutes: u32,
}

/// Looks ahead from the week of `now`; of that week the days that have passed count too.
///
/// # Errors
/// When the database can't.
pub async fn load(c: &mut Connection, studio: &Studio, now: OffsetDateTime) -> Stored<Vec<Week>> {
    let today = studio.zone.date_at(now);
    let monday = today - Duration::days(i64::from(today.weekday().number_days_from_monday()));
    let (people, closed) = everybody(c, monday).await?;
    let mut weeks: Vec<Week> = (0..i64::from(WEEKS))
        .map(|week| {
            let monday = monday.saturating_add(Duration::weeks(week));
            let open_minutes = (0..7)
                .filter_map(|day| monday.checked_add(Duration::days(day)))
                .filter(|day| !closed.iter().any(|range| range.contains(*day)))
                .flat_map(|day| people.iter().flat_map(move |hours| hours.on(day)))
                .map(|span| u32::from(span.closes() - span.opens()))
                .sum();
            Week { monday, windows: 0, booked: 0, wanted_minutes: 0, open_minutes }
        })
        .collect();
    let services = catalogue::services(c).await?;
    for (week, id, windows, booked) in lines::openings(c, monday, WEEKS, now).await? {
        let service = services.iter().find(|service| service.id == id);
        let service = service.ok_or_else(|| impossible("retouch_line", "service_id", id.as_str()))?;
        let each = u32::from(service.minutes) + u32::from(service.turnaround_minutes);
        if let Some(week) = weeks.get_mut(usize::from(week)) {
            week.windows += windows;
            week.booked += booked;
            week.wanted_minutes += windows.saturating_sub(booked) * each;
        }
    }
    Ok(weeks)
}

/// The hours of everybody who can be booked, and the days on which the studio is closed.
async fn everybody(c: &mut Connection, from: Date) -> Stored<(Vec<WorkingHours>, Vec<DateRange>)> {
    let off = practitioners::time_off(c, from).await?;
    let other = calendar::other_hours(c, from).await?;
    let range = |off: &practitioners::TimeOff| {
        DateRange::parse(off.from, off.to).map_err(|_| impossible("time_off", "to_day", off.id.as_str()))
    };
    let mut people = Vec::new();
    for she in practitioners::all(c).await?.into_iter().filter(|she| she.active) {
        let week = WeeklyHours::parse(practitioners::hours(c, &she.id).await?)
            .map_err(|_| impossible("hours", "opens_minute", she.id.as_str()))?;
        let own = off.iter().filter(|off| off.practitioner.as_ref() == Some(&she.id));
        people.push(diary::working_hours(&she.id, week, &other, own.map(range).collect::<Stored<_>>()?)?);
    }
    let closed = off.iter().filter(|off| off.practitioner.is_none()).map(range).collect::<Stored<_>>()?;
    Ok((people, closed))
}
