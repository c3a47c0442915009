//! What a search for free times rests on, loaded from the database.

use time::{Date, Duration, OffsetDateTime};

use super::holds::Span;
use crate::domain::hours::{DateRange, WeeklyHours, WorkingHours};
use crate::domain::ids::{PractitionerId, RoomId, ServiceId, VisitId};
use crate::domain::schedule::{BookingRules, BusyTimes, Occupation, PairRule, PractitionerTime, RoomTime, Search};
use crate::domain::zone::Zone;
use crate::store::calendar::{self, Block, Blocked, OtherHours};
use crate::store::catalogue::Service;
use crate::store::studio::Studio;
use crate::store::types::{impossible, read};
use crate::store::{Connection, Stored, catalogue, papers, practitioners, visits};

/// The hours and the busy times of everybody who gives a service, and of the rooms.
pub struct Diary {
    zone: Zone,
    now: OffsetDateTime,
    /// Busy times are known from the first of these days to the last, so no other day is ever searched.
    known: (Date, Date),
    rules: BookingRules,
    holidays: Vec<DateRange>,
    people: Vec<(PractitionerId, WorkingHours, BusyTimes)>,
    rooms: Vec<(RoomId, BusyTimes)>,
    /// How long the service takes.
    pub service: Occupation,
    /// How long a skin-test visit takes.
    pub test: Occupation,
    /// How far a treatment may lie from its skin test.
    pub pair: PairRule,
}

/// The days on which a visit suits the client.
#[derive(Debug, Clone, Default)]
pub struct Between {
    /// The first.
    pub earliest: Option<Date>,
    /// The last.
    pub latest: Option<Date>,
    /// Those in between that lie too near to other visits of hers.
    pub but: Vec<DateRange>,
}

/// How many days ahead the desk looks, at least.
const DESK_DAYS: i64 = 400;

fn small<T: TryFrom<i64>>(column: &'static str, number: i64) -> Stored<T> {
    read("studio", column, "1", T::try_from(number))
}

/// Who gives a service and may, and up to which day by her certificate, where it has an end and bookings follow it.
///
/// # Errors
/// When the database can't.
pub async fn givers(c: &mut Connection, service: &ServiceId) -> Stored<Vec<(PractitionerId, Option<Date>)>> {
    let certificates = papers::certificates(c).await?;
    let all = catalogue::practitioners_for(c, service).await?.into_iter();
    let until = |she: &PractitionerId| certificates.as_ref().map_or(Some(None), |all| all.until(she, service));
    Ok(all.filter_map(|she| until(&she).map(|until| (she, until))).collect())
}

/// Whether anybody may give a service on a day or later: one that can't be booked with anybody is not offered.
///
/// # Errors
/// When the database can't.
pub async fn is_given(c: &mut Connection, service: &ServiceId, from: Date) -> Stored<bool> {
    Ok(givers(c, service).await?.iter().any(|(_, until)| until.is_none_or(|last| last >= from)))
}

/// The services that are offered on a day or later.
///
/// # Errors
/// When the database can't.
pub async fn offered(c: &mut Connection, from: Date) -> Stored<Vec<Service>> {
    let mut found = Vec::new();
    for service in catalogue::services(c).await?.into_iter().filter(|service| service.active) {
        if is_given(c, &service.id, from).await? {
            found.push(service);
        }
    }
    Ok(found)
}

impl Diary {
    /// Loads it for a service, as far ahead as clients or the desk may look. `but` is left out of the busy times, for
    /// a visit that is being moved.
    ///
    /// # Errors
    /// When the database can't, or holds hours that nobody could have set.
    pub async fn load(
        c: &mut Connection,
        studio: &Studio,
        service: &Service,
        now: OffsetDateTime,
        but: Option<&VisitId>,
    ) -> Stored<Self> {
        let today = studio.zone.date_at(now);
        let last = today.saturating_add(Duration::days(studio.horizon_days.max(DESK_DAYS)));
        Self::of_days(c, (studio, service), now, but, (today, last)).await
    }

    /// Loads only what these days need, first and last included: the cost of a search is in the rows that it reads.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub async fn of_days(
        c: &mut Connection,
        (studio, service): (&Studio, &Service),
        now: OffsetDateTime,
        but: Option<&VisitId>,
        known: (Date, Date),
    ) -> Stored<Self> {
        let gap: u16 = small("shortest_gap_minutes", studio.shortest_gap_minutes)?;
        let rules = BookingRules::parse(
            small("grid_minutes", studio.grid_minutes)?,
            small("notice_minutes", studio.notice_minutes)?,
            small("horizon_days", studio.horizon_days)?,
            (gap >= BookingRules::FINEST_GRID).then_some(gap),
        );
        let rules = rules.map_err(|_| impossible("studio", "grid_minutes", "1"))?;
        // A day of every zone lies within these instants.
        let from = (known.0.midnight().assume_utc() - Duration::days(1)).max(now);
        let until = known.1.midnight().assume_utc() + Duration::days(2);
        let taken = Taken::load(c, (from, until), now, but).await?;
        let off = practitioners::time_off(c, studio.zone.date_at(now)).await?;
        let other = calendar::other_hours(c, studio.zone.date_at(now)).await?;
        let range = |from, to| DateRange::parse(from, to).map_err(|_| impossible("time_off", "to_day", ""));
        let mut holidays = Vec::new();
        for closed in off.iter().filter(|off| off.practitioner.is_none()) {
            holidays.push(range(closed.from, closed.to)?);
        }
        let mut people = Vec::new();
        for (id, certificate) in givers(c, &service.id).await? {
            let week = WeeklyHours::parse(practitioners::hours(c, &id).await?)
                .map_err(|_| impossible("hours", "opens_minute", id.as_str()))?;
            let mut away = Vec::new();
            for own in off.iter().filter(|off| off.practitioner.as_ref() == Some(&id)) {
                away.push(range(own.from, own.to)?);
            }
            // After the last day of her certificate she is away from this service.
            let mut uncovered = certificate.map(|until| until.saturating_add(Duration::days(1)).max(known.0));
            while let Some(first) = uncovered.filter(|first| *first <= known.1) {
                let most = Duration::days(i64::from(DateRange::MOST) - 1);
                let last = first.saturating_add(most).min(known.1);
                away.push(range(first, last)?);
                uncovered = last.next_day();
            }
            let hours = working_hours(&id, week, &other, away)?;
            let busy = taken.of_practitioner(&id)?;
            people.push((id, hours, busy));
        }
        let mut rooms = Vec::new();
        for room in practitioners::rooms(c).await?.into_iter().filter(|room| room.active) {
            let busy = taken.of_room(&room.id)?;
            rooms.push((room.id, busy));
        }
        let labels = catalogue::tests_for(c, &service.id).await?;
        let label = labels.iter().filter_map(|product| product.label_test_hours).max().unwrap_or(0);
        let occupation = |minutes, turnaround| {
            Occupation::parse(minutes, turnaround).map_err(|_| impossible("service", "minutes", service.id.as_str()))
        };
        Ok(Self {
            zone: studio.zone.clone(),
            now,
            known,
            rules,
            holidays,
            people,
            rooms,
            service: occupation(service.minutes, service.turnaround_minutes)?,
            test: occupation(small("skin_test_minutes", studio.skin_test_minutes)?, 0)?,
            pair: PairRule {
                floor_hours: small::<u16>("skin_test_floor_hours", studio.skin_test_floor_hours)?.max(label),
                valid_days: small("skin_test_valid_days", studio.skin_test_valid_days)?,
            },
        })
    }

    /// The same as the desk goes by it: without notice, far ahead, whatever gap is left.
    #[must_use]
    pub fn at_the_desk(self) -> Self {
        Self { rules: self.rules.at_the_desk(), ..self }
    }

    /// With only one of those who give the service.
    #[must_use]
    pub fn with_only(mut self, who: &PractitionerId) -> Self {
        self.people.retain(|(id, ..)| id == who);
        self
    }

    /// Without times that can't be held from where she asks.
    ///
    /// # Errors
    /// When one ends before it starts, which no visit does.
    pub fn without(mut self, spent: &[Span]) -> Stored<Self> {
        for (id, _, busy) in self.people.iter_mut().filter(|_| !spent.is_empty()) {
            let own = spent.iter().map(Span::seconds).filter(|(who, ..)| *who == &*id).map(|(_, from, to)| (from, to));
            let all = busy.spans().iter().copied().chain(own);
            *busy = BusyTimes::parse(all).map_err(|_| impossible("visit", "busy_until", id.as_str()))?;
        }
        Ok(self)
    }

    /// The same without notice, for a time that was chosen when there was enough.
    #[must_use]
    pub fn at_once(self) -> Self {
        Self { rules: self.rules.at_once(), ..self }
    }

    /// Looks for free times of a length on the days that suit.
    pub fn search<T>(&self, length: Occupation, between: &Between, look: impl FnOnce(&Search<'_>) -> T) -> T {
        let people: Vec<_> = self.people.iter().map(|(id, hours, busy)| PractitionerTime { id, hours, busy }).collect();
        let rooms: Vec<_> = self.rooms.iter().map(|(id, busy)| RoomTime { id, busy }).collect();
        let closed: Vec<_> = self.holidays.iter().chain(&between.but).copied().collect();
        look(&Search {
            zone: &self.zone,
            now: self.now,
            rules: self.rules,
            holidays: &closed,
            service: length,
            practitioners: &people,
            rooms: Some(&rooms),
            earliest: Some(between.earliest.map_or(self.known.0, |day| day.max(self.known.0))),
            latest: Some(between.latest.map_or(self.known.1, |day| day.min(self.known.1))),
        })
    }

    /// Looks for a skin test and the treatment after it.
    pub fn pairs<T>(&self, between: &Between, look: impl FnOnce(&crate::domain::schedule::Pairs<'_>) -> T) -> T {
        self.search(self.test, &Between::default(), |test| {
            self.search(self.service, between, |treatment| {
                look(&crate::domain::schedule::pairs(test, treatment, self.pair))
            })
        })
    }
}

/// Who and where is taken when, turn-around included, in Unix seconds: by visits, blocks, and calendars elsewhere.
pub struct Taken {
    visits: Vec<(String, String, i64, i64)>,
    blocks: Vec<Block>,
    outside: Vec<(String, i64, i64)>,
}

impl Taken {
    /// Loads what reaches into a stretch of time, but for one visit.
    ///
    /// # Errors
    /// When the database can't.
    pub async fn load(
        c: &mut Connection,
        (from, to): (OffsetDateTime, OffsetDateTime),
        now: OffsetDateTime,
        but: Option<&VisitId>,
    ) -> Stored<Self> {
        Ok(Self {
            visits: visits::busy(c, from, to, now, but).await?,
            blocks: calendar::blocks(c, from, to).await?,
            outside: calendar::outside_busy(c, from, to).await?,
        })
    }

    /// Of a practitioner.
    ///
    /// # Errors
    /// When a row ends before it starts.
    pub fn of_practitioner(&self, id: &PractitionerId) -> Stored<BusyTimes> {
        let visits = self.visits.iter().filter(|(who, ..)| who == id.as_str()).map(|&(_, _, from, to)| (from, to));
        let outside = self.outside.iter().filter(|(who, ..)| who == id.as_str()).map(|&(_, from, to)| (from, to));
        let blocks = self.blocked(|what| matches!(what, Blocked::Practitioner(who) if who == id));
        BusyTimes::parse(visits.chain(blocks).chain(outside))
            .map_err(|_| impossible("visit", "busy_until", id.as_str()))
    }

    /// Of a room.
    ///
    /// # Errors
    /// When a row ends before it starts.
    pub fn of_room(&self, id: &RoomId) -> Stored<BusyTimes> {
        let visits = self.visits.iter().filter(|(_, room, ..)| room == id.as_str()).map(|&(_, _, from, to)| (from, to));
        let blocks = self.blocked(|what| matches!(what, Blocked::Room(room) if room == id));
        BusyTimes::parse(visits.chain(blocks)).map_err(|_| impossible("visit", "busy_until", id.as_str()))
    }

    fn blocked(&self, of: impl Fn(&Blocked) -> bool) -> impl Iterator<Item = (i64, i64)> {
        let blocks = self.blocks.iter().filter(move |block| of(&block.what));
        blocks.map(|block| (block.starts_at.unix_timestamp(), block.ends_at.unix_timestamp()))
    }
}

/// Her week with what is other on some days.
///
/// # Errors
/// When a day is there twice, which the schema forbids.
pub fn working_hours(
    id: &PractitionerId,
    week: WeeklyHours,
    other: &[OtherHours],
    away: Vec<DateRange>,
) -> Stored<WorkingHours> {
    let of = |whose: Option<&PractitionerId>| {
        let whose = whose.cloned();
        other.iter().filter(move |one| one.practitioner == whose).map(|one| (one.day, one.hours.clone()))
    };
    let hours = WorkingHours::parse(week, of(Some(id)), away);
    let hours = hours.map_err(|_| impossible("day_hours", "on_day", id.as_str()))?;
    Ok(hours.limited_by(of(None)))
}

/// Whether a service wants a skin test at all.
///
/// # Errors
/// When the database can't.
pub async fn wants_test(c: &mut Connection, service: &ServiceId) -> Stored<bool> {
    Ok(!catalogue::tests_for(c, service).await?.is_empty())
}
