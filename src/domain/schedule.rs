//! Free times: those at which a visit can really happen.
//!
//! A time is offered when a qualified practitioner is at work and free, and a room is free, from the start until the
//! turn-around is over; when it lies on the studio's grid of civil times; and when it is neither too soon nor too far.
//! A visit stays within one stretch of work of one day, so it never runs into a break or over midnight.
//!
//! On a day that lacks or repeats an hour: a start exists and is shown by the clocks once; durations are true; work
//! that opens or closes in such an hour does so when the clocks first show that time or a later one.

mod busy;
mod pairs;
mod rules;

use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, Time};

use super::{
    hours::{DAY_MINUTES, DateRange, WorkingHours},
    ids::{PractitionerId, RoomId},
    zone::{Timeline, Zone, days, local_seconds},
};

pub use busy::{BusyRefused, BusyTimes};
pub use pairs::{PairRule, Pairs, pairs};
pub use rules::{BookingRules, Occupation, OccupationRefused, RulesRefused};

/// The most practitioners, and the most rooms, that one search looks at; what comes after them is not offered.
pub const MOST_AT_ONCE: usize = 64;

/// What a search for free times rests on.
#[derive(Debug, Clone, Copy)]
pub struct Search<'a> {
    /// The studio's zone.
    pub zone: &'a Zone,
    /// The present.
    pub now: OffsetDateTime,
    /// Grid, notice, horizon, unsellable gaps.
    pub rules: BookingRules,
    /// Days without times, whatever a practitioner's hours say: the studio is closed, or the client has a visit too near.
    pub holidays: &'a [DateRange],
    /// How long the visit takes; for services in sequence their sum.
    pub service: Occupation,
    /// Who may give the service, in the studio's order.
    pub practitioners: &'a [PractitionerTime<'a>],
    /// The rooms that suit the service, in the studio's order; `None` when it needs no room.
    pub rooms: Option<&'a [RoomTime<'a>]>,
    /// The first day that suits the client: her window, a wait for her health.
    pub earliest: Option<Date>,
    /// The last day that suits the client.
    pub latest: Option<Date>,
}

/// A practitioner as a search sees her.
#[derive(Debug, Clone, Copy)]
pub struct PractitionerTime<'a> {
    /// Who.
    pub id: &'a PractitionerId,
    /// When she works.
    pub hours: &'a WorkingHours,
    /// When she is taken, turn-around included. When a visit is moved, leave that visit out.
    pub busy: &'a BusyTimes,
}

/// A room as a search sees it.
#[derive(Debug, Clone, Copy)]
pub struct RoomTime<'a> {
    /// Which.
    pub id: &'a RoomId,
    /// When it is taken, turn-around included. When a visit is moved, leave that visit out.
    pub busy: &'a BusyTimes,
}

/// A time on offer, with whom and where.
#[derive(Debug, Clone, Copy)]
pub struct FreeTime<'a> {
    starts: i64,
    /// The start on the clocks of the studio.
    pub civil: PrimitiveDateTime,
    /// How long.
    pub service: Occupation,
    /// The practitioner who is proposed: of those free, the one least booked on that day; of equals, the first.
    pub practitioner: &'a PractitionerId,
    /// The first room that is free, when one is needed.
    pub room: Option<&'a RoomId>,
    crew: &'a [PractitionerTime<'a>],
    free: u64,
}

impl<'a> FreeTime<'a> {
    /// The start.
    pub fn starts_at(&self) -> OffsetDateTime {
        OffsetDateTime::from_unix_timestamp(self.starts).unwrap_or(OffsetDateTime::UNIX_EPOCH)
    }

    /// The end of the service.
    pub fn ends_at(&self) -> OffsetDateTime {
        self.starts_at() + Duration::minutes(i64::from(self.service.minutes()))
    }

    /// The end of the turn-around, when the practitioner and the room are free again.
    pub fn chair_free_at(&self) -> OffsetDateTime {
        self.starts_at() + Duration::minutes(i64::from(self.service.total()))
    }

    /// Every practitioner who could take it, in the studio's order.
    pub fn practitioners(&self) -> impl Iterator<Item = &'a PractitionerId> + use<'a> {
        let free = self.free;
        self.crew.iter().take(MOST_AT_ONCE).enumerate().filter(move |(i, _)| free >> i & 1 == 1).map(|(_, p)| p.id)
    }
}

/// All free times, each start once, in order.
pub fn free_times<'a>(search: &Search<'a>) -> Vec<FreeTime<'a>> {
    let today = search.zone.date_at(search.now);
    let horizon = today.saturating_add(Duration::days(i64::from(search.rules.horizon_days())));
    let first = search.earliest.map_or(today, |day| day.max(today));
    let last = search.latest.map_or(horizon, |day| day.min(horizon));
    let mut found = Vec::new();
    if let Ok(count) = u16::try_from((last - first).whole_days() + 1) {
        let timeline = search.zone.timeline(first, last);
        let mut board = Board::new(search, &timeline);
        for date in days(first, count) {
            if !search.holidays.iter().any(|range| range.contains(date)) {
                board.day(date, &mut found);
            }
        }
    }
    found
}

/// Whether one practitioner can still take a visit at `starts_at`, and in which room. Gaps that the studio would
/// rather not leave are no reason against a time that was offered before.
pub fn still_free<'a>(
    search: &Search<'a>,
    starts_at: OffsetDateTime,
    practitioner: &PractitionerId,
) -> Option<FreeTime<'a>> {
    let who = search.practitioners.iter().find(|p| p.id == practitioner)?;
    let date = search.zone.date_at(starts_at);
    let narrow = Search {
        rules: search.rules.with_any_gap(),
        practitioners: std::slice::from_ref(who),
        earliest: Some(search.earliest.map_or(date, |day| day.max(date))),
        latest: Some(search.latest.map_or(date, |day| day.min(date))),
        ..*search
    };
    let unix = starts_at.unix_timestamp();
    free_times(&narrow).into_iter().find(|time| time.starts == unix).map(|time| FreeTime {
        practitioner: who.id,
        crew: std::slice::from_ref(who),
        ..time
    })
}

/// When somebody is at work on a day, as stretches of Unix seconds.
pub fn work_on(zone: &Zone, hours: &WorkingHours, date: Date) -> Vec<(i64, i64)> {
    let (timeline, midnight) = (zone.timeline(date, date), local_seconds(date));
    let reached = |minute: u16| timeline.reached(midnight + i64::from(minute) * 60);
    let spans = hours.on(date).iter().map(|span| (reached(span.opens()), reached(span.closes())));
    spans.filter(|(from, to)| from < to).collect()
}

const MOST_STEPS: usize = DAY_MINUTES as usize / BookingRules::FINEST_GRID as usize;

/// One day at a time: for each step of the grid the start and, as bits, who and which rooms are free.
struct Board<'s, 'a> {
    search: &'s Search<'a>,
    timeline: &'s Timeline,
    not_before: i64,
    grid: i64,
    taken: i64,
    steps: [Step; MOST_STEPS],
    booked: [i64; MOST_AT_ONCE],
}

#[derive(Debug, Clone, Copy, Default)]
struct Step {
    start: i64,
    people: u64,
    rooms: u64,
}

impl<'s, 'a> Board<'s, 'a> {
    fn new(search: &'s Search<'a>, timeline: &'s Timeline) -> Self {
        let not_before = search.now + Duration::minutes(i64::from(search.rules.notice_minutes()));
        Self {
            search,
            timeline,
            not_before: not_before.unix_timestamp() + i64::from(not_before.nanosecond() > 0),
            grid: i64::from(search.rules.grid_minutes()) * 60,
            taken: i64::from(search.service.total()) * 60,
            steps: [Step::default(); MOST_STEPS],
            booked: [0; MOST_AT_ONCE],
        }
    }

    fn day(&mut self, date: Date, found: &mut Vec<FreeTime<'a>>) {
        let midnight = local_seconds(date);
        self.mark_rooms(midnight);
        for ((index, who), booked) in (0..).zip(self.search.practitioners).zip(0..MOST_AT_ONCE) {
            let mut taken = 0;
            for span in who.hours.on(date) {
                let opens = self.timeline.reached(midnight + i64::from(span.opens()) * 60);
                let closes = self.timeline.reached(midnight + i64::from(span.closes()) * 60);
                taken += (closes - opens).max(0);
                for (from, to) in who.busy.gaps(opens, closes) {
                    taken -= to - from;
                    self.mark_person(midnight, from, to, 1 << index);
                }
            }
            if let Some(booked) = self.booked.get_mut(booked) {
                *booked = taken;
            }
        }
        self.offer(date, found);
    }

    fn mark_rooms(&mut self, midnight: i64) {
        let every = if self.search.rooms.is_none() { u64::MAX } else { 0 };
        self.steps.fill(Step { start: 0, people: 0, rooms: every });
        let begin = self.timeline.reached(midnight);
        let end = self.timeline.reached(midnight + i64::from(DAY_MINUTES) * 60);
        let rooms = self.search.rooms.unwrap_or_default().iter().take(MOST_AT_ONCE);
        for (index, room) in rooms.enumerate() {
            for (from, to) in room.busy.gaps(begin, end) {
                for (step, _) in self.starts_in(midnight, from, to) {
                    if let Some(step) = self.steps.get_mut(step) {
                        step.rooms |= 1 << index;
                    }
                }
            }
        }
    }

    /// Marks the starts in a free stretch of work; those that waste the least of it, when the studio minds.
    fn mark_person(&mut self, midnight: i64, from: i64, to: i64, bit: u64) {
        let first = self.starts_in(midnight, from, to).next().map_or(from, |(_, start)| start);
        let with_room = |step: usize| self.steps.get(step).is_some_and(|step| step.rooms != 0);
        let starts = || self.starts_in(midnight, from, to).filter(|(step, _)| with_room(*step));
        let avoids_gaps = self.search.rules.shortest_sellable().is_some();
        let least = avoids_gaps.then(|| starts().map(|(_, start)| self.waste(first, start, to)).min()).flatten();
        let least = least.unwrap_or(0);
        for (step, start) in self.starts_in(midnight, from, to) {
            let waste = self.waste(first, start, to);
            if let Some(step) = self.steps.get_mut(step).filter(|step| step.rooms != 0 && waste == least) {
                step.start = start;
                step.people |= bit;
            }
        }
    }

    /// The steps at which a visit can start and end within a free stretch, with their instants.
    fn starts_in(&self, midnight: i64, from: i64, to: i64) -> impl Iterator<Item = (usize, i64)> + use<'s> {
        let (grid, from, to) = (self.grid, from.max(self.not_before), to - self.taken);
        self.timeline.0.iter().flat_map(move |stretch| {
            let ahead = stretch.offset - midnight;
            let first = (from.max(stretch.once_from) + ahead + grid - 1).div_euclid(grid);
            let last = (to.min(stretch.once_to - 1) + ahead).div_euclid(grid);
            (first..=last).filter_map(move |step| Some((usize::try_from(step).ok()?, step * grid - ahead)))
        })
    }

    /// Seconds that a visit would leave before and after it which are too short to sell. What the grid alone makes
    /// useless is not counted: before `first`, the first start of the stretch, and up to the next step after the visit.
    fn waste(&self, first: i64, start: i64, to: i64) -> i64 {
        let Some(shortest) = self.search.rules.shortest_sellable() else { return 0 };
        let wasted = |gap: i64| if (1..i64::from(shortest) * 60).contains(&gap) { gap } else { 0 };
        let to_grid = (-self.taken).rem_euclid(self.grid);
        wasted(start - first) + wasted(to - start - self.taken - to_grid)
    }

    fn offer(&self, date: Date, found: &mut Vec<FreeTime<'a>>) {
        let rooms = self.search.rooms.unwrap_or_default();
        let crew = self.search.practitioners;
        let minutes = (0..DAY_MINUTES).step_by(usize::from(self.search.rules.grid_minutes()));
        for (step, minute) in self.steps.iter().zip(minutes).filter(|(step, _)| step.people != 0) {
            let free = (0..).zip(crew.iter().zip(&self.booked)).filter(|(index, _)| step.people >> index & 1 == 1);
            let least_booked = free.min_by_key(|(_, (_, booked))| **booked);
            let time = Time::MIDNIGHT + Duration::minutes(i64::from(minute));
            if let Some((_, (who, _))) = least_booked {
                found.push(FreeTime {
                    starts: step.start,
                    civil: PrimitiveDateTime::new(date, time),
                    service: self.search.service,
                    practitioner: who.id,
                    room: rooms.get(step.rooms.trailing_zeros() as usize).map(|room| room.id),
                    crew,
                    free: step.people,
                });
            }
        }
    }
}

#[cfg(test)]
mod tests;
