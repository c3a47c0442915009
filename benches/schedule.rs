//! The rule of free times, for a studio of four practitioners and two rooms, over the next 60 days.
//!
//! `cargo bench --bench schedule`; `benches/compare.py` compares it with other programs and asks a whole server. Visits are invented: 20-minute steps of a nine-hour day over 120 days, of which as
//! many are taken as asked for, spread evenly.
#![expect(clippy::unwrap_used, reason = "a benchmark may stop at the first surprise")]

#[path = "schedule/whole.rs"]
mod whole;

use divan::{Bencher, black_box};
use palpebra::domain::{
    hours::{DayHours, WeeklyHours, WorkingHours},
    ids::{PractitionerId, RoomId},
    schedule::{
        BookingRules, BusyTimes, Occupation, PairRule, PractitionerTime, RoomTime, Search, free_times, pairs,
        still_free,
    },
    zone::{Zone, days},
};
use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, Time, macros::date, macros::datetime};

const TODAY: Date = date!(2026 - 03 - 02);
const NOW: OffsetDateTime = datetime!(2026-03-02 05:00 UTC);
const DAYS: u16 = 120;
const STEPS: u16 = 27;
const VISITS: [u16; 4] = [0, 500, 2000, 5000];

type Rows = Vec<(i64, i64)>;

struct Studio {
    zone: Zone,
    rules: BookingRules,
    hours: WorkingHours,
    practitioners: [PractitionerId; 4],
    rooms: [RoomId; 2],
    of_practitioners: [Rows; 4],
    of_rooms: [Rows; 2],
}

struct Busy {
    practitioners: Vec<BusyTimes>,
    rooms: Vec<BusyTimes>,
}

impl Studio {
    /// A studio with so many visits to come.
    fn new(visits: u16) -> Self {
        let zone = Zone::parse("Europe/Berlin").unwrap();
        let day = DayHours::parse_text("9:00-18:00").unwrap();
        let mut studio = Self {
            rules: BookingRules::default(),
            hours: WorkingHours::parse(WeeklyHours::of([(); 7].map(|()| day.clone())), [], vec![]).unwrap(),
            practitioners: [1, 2, 3, 4].map(|n| PractitionerId::from_random([n; 16])),
            rooms: [1, 2].map(|n| RoomId::from_random([n; 16])),
            of_practitioners: Default::default(),
            of_rooms: Default::default(),
            zone,
        };
        let slots = u32::from(DAYS) * u32::from(STEPS) * 2;
        let mut slot = 0;
        for date in days(TODAY, DAYS) {
            for (step, room) in (0..STEPS).flat_map(|step| [(step, 0), (step, 1)]) {
                let before = slot * u32::from(visits) / slots;
                slot += 1;
                if slot * u32::from(visits) / slots > before {
                    studio.book(date, step, room);
                }
            }
        }
        assert_eq!(studio.of_rooms.iter().map(Vec::len).sum::<usize>(), usize::from(visits));
        studio
    }

    /// In each room two practitioners take turns.
    fn book(&mut self, date: Date, step: u16, room: usize) {
        let civil = PrimitiveDateTime::new(date, Time::MIDNIGHT + Duration::minutes(540 + i64::from(step) * 20));
        let start = self.zone.to_instant(civil).unwrap().unix_timestamp();
        let who = room + 2 * usize::from(step % 2);
        self.of_practitioners.iter_mut().skip(who).take(1).for_each(|rows| rows.push((start, start + 1200)));
        self.of_rooms.iter_mut().skip(room).take(1).for_each(|rows| rows.push((start, start + 1200)));
    }

    fn busy(&self) -> Busy {
        let parse = |rows: &Rows| BusyTimes::parse(rows.iter().copied()).unwrap();
        Busy {
            practitioners: self.of_practitioners.iter().map(parse).collect(),
            rooms: self.of_rooms.iter().map(parse).collect(),
        }
    }

    fn search<T>(&self, busy: &Busy, minutes: u16, ask: impl Fn(&Search<'_>) -> T) -> T {
        let practitioners: Vec<_> = std::iter::zip(&self.practitioners, &busy.practitioners)
            .map(|(id, busy)| PractitionerTime { id, hours: &self.hours, busy })
            .collect();
        let rooms: Vec<_> = std::iter::zip(&self.rooms, &busy.rooms).map(|(id, busy)| RoomTime { id, busy }).collect();
        ask(&Search {
            zone: &self.zone,
            now: NOW,
            rules: self.rules,
            holidays: &[],
            service: Occupation::parse(minutes, 0).unwrap(),
            practitioners: &practitioners,
            rooms: Some(&rooms),
            earliest: None,
            latest: Some(TODAY + Duration::days(59)),
        })
    }
}

/// Free times of a lift of an hour.
#[divan::bench(args = VISITS)]
fn rule_60_minutes(bencher: Bencher<'_, '_>, visits: u16) {
    let studio = Studio::new(visits);
    let busy = studio.busy();
    bencher.bench(|| studio.search(&busy, 60, |search| free_times(black_box(search)).len()));
}

/// Free times of a visit that fits the smallest gap.
#[divan::bench(args = VISITS)]
fn rule_20_minutes(bencher: Bencher<'_, '_>, visits: u16) {
    let studio = Studio::new(visits);
    let busy = studio.busy();
    bencher.bench(|| studio.search(&busy, 20, |search| free_times(black_box(search)).len()));
}

/// The same, from rows as the database gives them, with short gaps avoided.
#[divan::bench(args = VISITS)]
fn rule_from_rows_avoiding_gaps(bencher: Bencher<'_, '_>, visits: u16) {
    let mut studio = Studio::new(visits);
    studio.rules = BookingRules::parse(15, 120, 120, Some(45)).unwrap();
    bencher.bench(|| {
        let busy = black_box(&studio).busy();
        studio.search(&busy, 20, |search| free_times(search).len())
    });
}

/// Skin tests of ten minutes and lifts at least 48 hours later.
#[divan::bench(args = VISITS)]
fn pairs_with_skin_test(bencher: Bencher<'_, '_>, visits: u16) {
    let studio = Studio::new(visits);
    let busy = studio.busy();
    bencher.bench(|| {
        studio.search(&busy, 60, |search| {
            let test = Search { service: Occupation::SKIN_TEST, ..*search };
            pairs(black_box(&test), black_box(search), PairRule { floor_hours: 48, valid_days: 180 }).tests().len()
        })
    });
}

/// Whether one time of one practitioner is still free, as a booking asks.
#[divan::bench(args = VISITS)]
fn still_free_at_booking(bencher: Bencher<'_, '_>, visits: u16) {
    let studio = Studio::new(visits);
    let busy = studio.busy();
    let start = datetime!(2026-03-20 08:20 UTC);
    bencher.bench(|| {
        studio.search(&busy, 20, |search| still_free(search, black_box(start), &studio.practitioners[1]).is_some())
    });
}

fn main() {
    // What compare.py asks for; divan otherwise.
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["question", minutes] => whole::question(minutes.parse().unwrap()),
        ["fill", file, past] => whole::fill(file, past.parse().unwrap()),
        ["load", url, seconds] => whole::load(url, seconds.parse().unwrap()),
        _ => divan::main(),
    }
}
