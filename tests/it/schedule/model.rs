//! A slow model of free times that knows nothing but minutes: for each minute of a few days, what the clocks show; for
//! each practitioner and room, minute by minute, whether she is at work and whether it is taken.

use std::{collections::BTreeMap, sync::LazyLock};

use palpebra::domain::{
    hours::{DateRange, DayHours, OpenSpan, WeeklyHours, WorkingHours},
    ids::{PractitionerId, RoomId},
    schedule::{BookingRules, BusyTimes, Occupation, PractitionerTime, RoomTime, Search},
    zone::{Zone, days},
};
use proptest::prelude::*;
use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, macros::date};

/// Three days in a zone, and what the clocks show in each of their minutes and of a day before and after.
pub(super) struct Scene {
    pub(super) zone: Zone,
    pub(super) first: Date,
    start: i64,
    clocks: Vec<i64>,
    shown_once: Vec<bool>,
}

pub(super) const SCENE_DAYS: u16 = 3;

impl Scene {
    fn new(zone: &str, first: Date) -> Self {
        let zone = Zone::parse(zone).unwrap();
        let start = (first - Duration::DAY).midnight().assume_utc().unix_timestamp();
        let minutes = i64::from(SCENE_DAYS + 2) * 1440;
        let clocks: Vec<_> = (0..minutes).map(|m| local(zone.to_civil(instant(start + m * 60)))).collect();
        let mut times = BTreeMap::new();
        clocks.iter().for_each(|shown| *times.entry(*shown).or_insert(0) += 1);
        let shown_once = clocks.iter().map(|shown| times[shown] == 1).collect();
        Self { zone, first, start, clocks, shown_once }
    }

    fn unix(&self, minute: usize) -> i64 {
        self.start + i64::try_from(minute).unwrap() * 60
    }
}

/// Ordinary days; the clocks jump or go back by an hour at night, by half an hour, at midnight, by two hours.
pub(super) static SCENES: LazyLock<Vec<Scene>> = LazyLock::new(|| {
    vec![
        Scene::new("Europe/Berlin", date!(2026 - 03 - 10)),
        Scene::new("Europe/Berlin", date!(2026 - 03 - 28)),
        Scene::new("Europe/Berlin", date!(2026 - 10 - 24)),
        Scene::new("Australia/Lord_Howe", date!(2026 - 10 - 03)),
        Scene::new("Australia/Lord_Howe", date!(2026 - 04 - 04)),
        Scene::new("America/Santiago", date!(2026 - 09 - 05)),
        Scene::new("America/Santiago", date!(2026 - 04 - 04)),
        Scene::new("Antarctica/Troll", date!(2026 - 03 - 28)),
        Scene::new("Antarctica/Troll", date!(2026 - 10 - 24)),
    ]
});

fn local(civil: PrimitiveDateTime) -> i64 {
    civil.assume_utc().unix_timestamp()
}

pub(super) fn instant(unix: i64) -> OffsetDateTime {
    OffsetDateTime::from_unix_timestamp(unix).unwrap()
}

#[derive(Debug, Clone)]
pub(super) struct Person {
    pub(super) id: PractitionerId,
    pub(super) hours: WorkingHours,
    pub(super) busy: Vec<(i64, i64)>,
}

#[derive(Debug, Clone)]
pub(super) struct Room {
    pub(super) id: RoomId,
    pub(super) busy: Vec<(i64, i64)>,
}

#[derive(Debug, Clone)]
pub(super) struct Case {
    pub(super) scene: usize,
    pub(super) now: i64,
    pub(super) rules: BookingRules,
    pub(super) service: Occupation,
    pub(super) people: Vec<Person>,
    pub(super) rooms: Option<Vec<Room>>,
    pub(super) holidays: Vec<DateRange>,
    pub(super) earliest: Option<Date>,
    pub(super) latest: Option<Date>,
}

/// A start on offer, as both sides tell it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Offer {
    pub(super) starts: i64,
    pub(super) civil: PrimitiveDateTime,
    pub(super) able: Vec<PractitionerId>,
    pub(super) proposed: PractitionerId,
    pub(super) room: Option<RoomId>,
}

impl Case {
    pub(super) fn scene(&self) -> &'static Scene {
        &SCENES[self.scene]
    }

    /// Asks the program.
    pub(super) fn with_search<T>(&self, ask: impl FnOnce(&Search<'_>) -> T) -> T {
        let busy = |spans: &Vec<(i64, i64)>| BusyTimes::parse(spans.iter().copied()).unwrap();
        let of_people: Vec<_> = self.people.iter().map(|p| busy(&p.busy)).collect();
        let of_rooms: Vec<_> = self.rooms.iter().flatten().map(|r| busy(&r.busy)).collect();
        let people: Vec<_> = std::iter::zip(&self.people, &of_people)
            .map(|(p, busy)| PractitionerTime { id: &p.id, hours: &p.hours, busy })
            .collect();
        let rooms: Vec<_> = std::iter::zip(self.rooms.iter().flatten(), &of_rooms)
            .map(|(r, busy)| RoomTime { id: &r.id, busy })
            .collect();
        ask(&Search {
            zone: &self.scene().zone,
            now: instant(self.now),
            rules: self.rules,
            holidays: &self.holidays,
            service: self.service,
            practitioners: &people,
            rooms: self.rooms.as_ref().map(|_| &rooms[..]),
            earliest: self.earliest,
            latest: self.latest,
        })
    }

    /// The model's answer.
    pub(super) fn offers(&self) -> Vec<Offer> {
        let scene = self.scene();
        let now_date = instant(scene.clocks[self.minute_of(self.now)]).date();
        let horizon = now_date + Duration::days(i64::from(self.rules.horizon_days()));
        let of_people: Vec<_> = self.people.iter().map(|person| self.taken(&person.busy)).collect();
        let of_rooms: Vec<_> = self.rooms.iter().flatten().map(|room| self.taken(&room.busy)).collect();
        let mut offers = Vec::new();
        for date in days(scene.first, SCENE_DAYS) {
            let wanted = date >= now_date
                && date <= horizon
                && self.earliest.is_none_or(|first| date >= first)
                && self.latest.is_none_or(|last| date <= last)
                && !self.holidays.iter().any(|range| range.first() <= date && date <= range.last());
            if wanted {
                self.offers_on(date, &of_people, &of_rooms, &mut offers);
            }
        }
        offers.sort_by_key(|offer| offer.starts);
        offers
    }

    fn minute_of(&self, unix: i64) -> usize {
        usize::try_from((unix - self.scene().start).div_euclid(60)).unwrap()
    }

    fn offers_on(&self, date: Date, of_people: &[Vec<u8>], of_rooms: &[Vec<u8>], offers: &mut Vec<Offer>) {
        let scene = self.scene();
        let midnight = local(date.midnight());
        let total = self.total();
        let is_start = |minute: usize| {
            let shown = scene.clocks[minute];
            (midnight..midnight + 86_400).contains(&shown)
                && (shown - midnight) % (i64::from(self.rules.grid_minutes()) * 60) == 0
                && scene.shown_once[minute]
                && scene.unix(minute) >= self.now + i64::from(self.rules.notice_minutes()) * 60
        };
        let starts: Vec<usize> = (0..scene.clocks.len() - total).filter(|minute| is_start(*minute)).collect();
        let room_at = |minute: usize| {
            let mut rooms = std::iter::zip(self.rooms.iter().flatten(), of_rooms);
            let free =
                rooms.find(|(_, taken)| taken[minute..minute + self.total()].iter().all(|seconds| *seconds == 0));
            free.map(|(room, _)| room.id.clone())
        };
        let mut able: Vec<(usize, usize)> = Vec::new();
        let mut booked = Vec::new();
        for (index, (person, taken)) in std::iter::zip(&self.people, of_people).enumerate() {
            let mut booked_seconds = 0;
            for span in person.hours.on(date) {
                let work = self.work(midnight, *span);
                booked_seconds += taken[work.clone()].iter().map(|seconds| u32::from(*seconds)).sum::<u32>();
                for free in free_stretches(work, |m| taken[m] > 0) {
                    let fitting: Vec<_> =
                        starts.iter().copied().filter(|s| *s >= free.start && s + total <= free.end).collect();
                    let with_room = fitting.iter().filter(|s| self.rooms.is_none() || room_at(**s).is_some());
                    let waste = |start: usize| self.waste(fitting[0], start, free.end);
                    let least = with_room.clone().map(|s| waste(*s)).min();
                    able.extend(with_room.filter(|s| Some(waste(**s)) == least).map(|s| (*s, index)));
                }
            }
            booked.push(booked_seconds);
        }
        able.sort_unstable();
        for same_start in able.chunk_by(|a, b| a.0 == b.0) {
            let start = same_start[0].0;
            let proposed = same_start.iter().min_by_key(|(_, index)| booked[*index]).unwrap().1;
            offers.push(Offer {
                starts: scene.unix(start),
                civil: scene.zone.to_civil(instant(scene.unix(start))),
                able: same_start.iter().map(|(_, index)| self.people[*index].id.clone()).collect(),
                proposed: self.people[proposed].id.clone(),
                room: room_at(start),
            });
        }
    }

    fn total(&self) -> usize {
        usize::from(self.service.total())
    }

    /// How many seconds of each minute are taken; a minute counts as taken when any second is.
    fn taken(&self, busy: &[(i64, i64)]) -> Vec<u8> {
        let within = |second: &i64| busy.iter().any(|(start, end)| (*start..*end).contains(second));
        let mut taken = vec![0; self.scene().clocks.len()];
        for (start, end) in busy.iter().filter(|(start, end)| start < end) {
            for minute in self.minute_of(*start)..=self.minute_of(*end - 1).min(taken.len() - 1) {
                let from = self.scene().unix(minute);
                let whole = *start <= from && *end >= from + 60;
                taken[minute] =
                    if whole { 60 } else { u8::try_from((from..from + 60).filter(within).count()).unwrap() };
            }
        }
        taken
    }

    /// The minutes of work: from the first that shows the opening or later to the first that shows the closing or
    /// later.
    fn work(&self, midnight: i64, span: OpenSpan) -> std::ops::Range<usize> {
        let first = |minute: u16| {
            let wanted = midnight + i64::from(minute) * 60;
            self.scene().clocks.iter().position(|shown| *shown >= wanted).unwrap()
        };
        first(span.opens())..first(span.closes())
    }

    fn waste(&self, first: usize, start: usize, end: usize) -> usize {
        let Some(shortest) = self.rules.shortest_sellable() else { return 0 };
        let wasted = |gap: usize| if gap < usize::from(shortest) { gap } else { 0 };
        let grid = usize::from(self.rules.grid_minutes());
        let free_again = usize::from(self.service.total()).next_multiple_of(grid);
        wasted(start - first) + wasted(end.saturating_sub(start + free_again))
    }
}

fn free_stretches(work: std::ops::Range<usize>, taken: impl Fn(usize) -> bool) -> Vec<std::ops::Range<usize>> {
    let mut free: Vec<std::ops::Range<usize>> = Vec::new();
    for minute in work.filter(|minute| !taken(*minute)) {
        match free.last_mut() {
            Some(last) if last.end == minute => last.end = minute + 1,
            _ => free.push(minute..minute + 1),
        }
    }
    free
}

fn day_hours() -> impl Strategy<Value = DayHours> {
    let around_the_clock = prop::collection::btree_set(0u16..=288, 0..8);
    let by_night = prop::collection::btree_set(0u16..=60, 2..8);
    prop_oneof![around_the_clock, by_night].prop_map(|edges| {
        let edges: Vec<u16> = edges.into_iter().map(|edge| edge * 5).collect();
        DayHours::parse(edges.chunks_exact(2).map(|edge| OpenSpan::parse(edge[0], edge[1]).unwrap())).unwrap()
    })
}

/// Stretches within the scene; when `to_the_second`, not only whole minutes.
fn busy(start: i64, to_the_second: bool) -> impl Strategy<Value = Vec<(i64, i64)>> {
    let length = i64::from(SCENE_DAYS) * 86_400;
    let unit = if to_the_second { 1 } else { 60 };
    prop::collection::vec((0..length, 0i64..4 * 3600), 0..12).prop_map(move |spans| {
        let round = |n: i64| n / unit * unit;
        spans.into_iter().map(|(from, long)| (start + round(from), start + round(from) + round(long))).collect()
    })
}

fn person(number: u8, scene: &'static Scene, to_the_second: bool) -> impl Strategy<Value = Person> {
    let first = scene.first;
    let week = [(); 7].map(|()| day_hours());
    let exceptions = prop::collection::btree_map(0i64..3, day_hours(), 0..2);
    let off = prop::option::weighted(0.1, 0i64..3);
    let busy = busy(scene.start + 86_400, to_the_second);
    (week, exceptions, off, busy).prop_map(move |(week, exceptions, off, busy)| {
        let exceptions = exceptions.into_iter().map(|(day, hours)| (first + Duration::days(day), hours));
        let off = off.map(|day| first + Duration::days(day)).map(|day| DateRange::parse(day, day).unwrap());
        let hours = WorkingHours::parse(WeeklyHours::of(week), exceptions, off.into_iter().collect()).unwrap();
        Person { id: PractitionerId::from_random([number; 16]), hours, busy }
    })
}

fn rooms(scene: &'static Scene, to_the_second: bool) -> impl Strategy<Value = Option<Vec<Room>>> {
    let none = Just(Vec::new());
    let some = prop::collection::vec(busy(scene.start + 86_400, to_the_second), 1..3).prop_map(|busy| {
        (0..).zip(busy).map(|(number, busy)| Room { id: RoomId::from_random([number; 16]), busy }).collect()
    });
    prop::option::weighted(0.8, prop_oneof![1 => none, 9 => some])
}

fn rules(to_the_second: bool) -> impl Strategy<Value = BookingRules> {
    let shortest = prop::option::of(5u16..=90).prop_map(move |shortest| shortest.filter(|_| !to_the_second));
    (prop::sample::select(&BookingRules::GRIDS), 0u16..600, 1u16..5, shortest)
        .prop_map(|(grid, notice, horizon, shortest)| BookingRules::parse(grid, notice, horizon, shortest).unwrap())
}

/// Any studio over three days: up to three practitioners, up to two rooms, hours by day and by night.
pub(super) fn case() -> impl Strategy<Value = Case> {
    (0..SCENES.len(), any::<bool>()).prop_flat_map(|(scene_index, to_the_second)| {
        let scene = &SCENES[scene_index];
        let day = move || prop::option::weighted(0.1, (0i64..3).prop_map(|day| scene.first + Duration::days(day)));
        let people = (1usize..=3).prop_flat_map(move |count| {
            (1u8..).take(count).map(|number| person(number, scene, to_the_second)).collect::<Vec<_>>()
        });
        let service = (1u16..=150, 0u16..=20).prop_map(|(minutes, after)| Occupation::parse(minutes, after).unwrap());
        (
            scene.start + 43_200..scene.start + 2 * 86_400,
            rules(to_the_second),
            service,
            people,
            rooms(scene, to_the_second),
            day(),
            day(),
            day(),
        )
            .prop_map(move |(now, rules, service, people, rooms, holiday, earliest, latest)| Case {
                scene: scene_index,
                now,
                rules,
                service,
                people,
                rooms,
                holidays: holiday.map(|day| DateRange::parse(day, day).unwrap()).into_iter().collect(),
                earliest,
                latest,
            })
    })
}
