use proptest::prelude::*;
use time::macros::{date, datetime, time};

use super::*;

fn zone(name: &str) -> Zone {
    Zone::parse(name).unwrap()
}

#[test]
fn zones_are_those_of_the_database() {
    assert_eq!(zone(" europe/berlin ").name(), "Europe/Berlin");
    for text in ["", "Berlin", "Etc/Unknown", "../etc/passwd", "Europe/Berlin\0", "+01:00", "CET-1CEST"] {
        assert_eq!(Zone::parse(text), Err(ZoneRefused), "{text:?}");
    }
}

#[test]
fn every_name_on_offer_is_a_zone() {
    let names = names();
    assert!(names.len() > 400, "{}", names.len());
    for name in &names {
        assert_eq!(zone(name).name(), name);
    }
    for name in ["Europe/Oslo", "America/Argentina/Salta", "Asia/Tokyo", "UTC"] {
        assert!(names.iter().any(|n| n == name), "{name}");
    }
}

#[test]
fn the_database_has_a_version() {
    let (year, letter) = database_version().split_at(4);
    assert!(year.parse::<u16>().unwrap() >= 2025, "{year}");
    assert!(letter.len() == 1 && letter.bytes().all(|b| b.is_ascii_lowercase()), "{letter}");
}

/// Directive 2000/84/EC: summer time in the Union begins and ends at 01:00 UTC.
#[test]
fn a_jump_and_a_fall_in_berlin() {
    let berlin = zone("Europe/Berlin");
    assert_eq!(berlin.to_instant(datetime!(2026-03-29 01:59)), Ok(datetime!(2026-03-29 00:59 UTC)));
    assert_eq!(berlin.to_instant(datetime!(2026-03-29 02:30)), Err(CivilRefused::Missing));
    assert_eq!(berlin.to_instant(datetime!(2026-03-29 03:00)), Ok(datetime!(2026-03-29 01:00 UTC)));
    assert_eq!(berlin.to_instant(datetime!(2026-10-25 02:30)), Err(CivilRefused::Twice));
    assert_eq!(berlin.to_civil(datetime!(2026-10-25 00:30 UTC)), datetime!(2026-10-25 02:30));
    assert_eq!(berlin.to_civil(datetime!(2026-10-25 01:30 UTC)), datetime!(2026-10-25 02:30));
    assert_eq!(berlin.day_length(date!(2026 - 03 - 29)), Duration::hours(23));
    assert_eq!(berlin.day_length(date!(2026 - 10 - 25)), Duration::hours(25));
    assert_eq!(berlin.day_length(date!(2026 - 10 - 26)), Duration::hours(24));
}

#[test]
fn far_years_are_refused_not_guessed() {
    assert_eq!(zone("Europe/Berlin").to_instant(datetime!(2201-01-01 0:00)), Err(CivilRefused::OutOfRange));
    assert_eq!(zone("Europe/Berlin").to_instant(datetime!(1899-12-31 0:00)), Err(CivilRefused::OutOfRange));
}

#[test]
fn days_follow_each_other() {
    let days: Vec<_> = super::days(date!(2028 - 02 - 28), 3).collect();
    assert_eq!(days, [date!(2028 - 02 - 28), date!(2028 - 02 - 29), date!(2028 - 03 - 01)]);
}

#[test]
fn an_hour_comes_once_a_day_whatever_the_clocks_do() {
    let berlin = zone("Europe/Berlin");
    let last = |time, now| berlin.last_at(time, now);
    let half_past_two = time!(2:30);
    assert_eq!(last(half_past_two, datetime!(2026-11-25 01:30 UTC)), datetime!(2026-11-25 01:30 UTC));
    assert_eq!(last(half_past_two, datetime!(2026-11-25 01:29 UTC)), datetime!(2026-11-24 01:30 UTC));
    // 29 March: the clocks jump over it. 25 October: they show it twice.
    assert_eq!(last(half_past_two, datetime!(2026-03-29 01:29 UTC)), datetime!(2026-03-28 01:30 UTC));
    assert_eq!(last(half_past_two, datetime!(2026-03-29 05:00 UTC)), datetime!(2026-03-29 01:30 UTC));
    for now in [datetime!(2026-10-25 00:30 UTC), datetime!(2026-10-25 01:30 UTC), datetime!(2026-10-26 01:29 UTC)] {
        assert_eq!(last(half_past_two, now), datetime!(2026-10-25 00:30 UTC));
    }
    // At 00:01 on 1 November 2009 the clocks of St John's went back by an hour (IANA, northamerica): midnight came twice.
    let now = datetime!(2009-11-01 03:00 UTC);
    let zone = zone("America/St_Johns");
    assert_eq!(
        (zone.to_civil(now), zone.last_at(Time::MIDNIGHT, now)),
        (datetime!(2009-10-31 23:30), now - Duration::minutes(30))
    );
    // Samoa left out 30 December 2011 (IANA, australasia).
    let now = datetime!(2011-12-30 12:29 UTC);
    assert_eq!(
        super::Zone::parse("Pacific/Apia").unwrap().last_at(half_past_two, now),
        datetime!(2011-12-29 12:30 UTC)
    );
}

/// A moment at any time, or within a day of a change of the clocks.
fn moments() -> impl Strategy<Value = (Zone, OffsetDateTime)> {
    let zones = prop::sample::select(vec![
        "Europe/Berlin",
        "Europe/Dublin",
        "America/New_York",
        "America/St_Johns",
        "America/Havana",
        "America/Sao_Paulo",
        "Australia/Lord_Howe",
        "Asia/Beirut",
        "Asia/Tokyo",
        "Pacific/Apia",
        "Africa/Casablanca",
        "UTC",
    ]);
    let years = datetime!(1990-01-01 00:00 UTC).unix_timestamp()..datetime!(2037-01-01 00:00 UTC).unix_timestamp();
    (zones, years, -1440..1440_i64, any::<bool>()).prop_map(|(name, at, minutes, near)| {
        let (zone, at) = (zone(name), OffsetDateTime::from_unix_timestamp(at).unwrap());
        let change = zone.observances(at, at).first().map(|change| change.starts + Duration::minutes(minutes));
        let now = change.filter(|_| near).unwrap_or(at);
        (zone, now)
    })
}

proptest! {
    #[test]
    fn the_last_time_the_clocks_came_to_show_an_hour((zone, now) in moments(), minute in 0..1440_i64) {
        let time = (datetime!(2026-01-01 00:00) + Duration::minutes(minute)).time();
        let last = zone.last_at(time, now);
        prop_assert!(last <= now);
        // Days are 22 to 26 hours long where no whole day is left out.
        prop_assert!(now - last <= Duration::hours(50));
        prop_assert_eq!(zone.last_at(time, last), last, "it is its own last time");
        let shown = zone.to_civil(last);
        if shown.time() != time {
            prop_assert_eq!(zone.to_instant(shown.date().with_time(time)), Err(CivilRefused::Missing));
        }
        // Until now the clocks show it again only where they have gone back.
        for minutes in 1..=(now - last).whole_minutes() {
            let civil = zone.to_civil(last + Duration::minutes(minutes));
            if civil.time() == time {
                prop_assert_eq!(zone.to_instant(civil), Err(CivilRefused::Twice));
            }
        }
    }
}

/// Directive 2000/84/EC: summer time in the Union begins on the last Sunday of March and ends on that of October.
#[test]
fn a_calendar_is_told_the_changes_that_its_times_need() {
    let changes = |from, to| zone("Europe/Berlin").observances(from, to);
    let found = changes(datetime!(2026-03-01 0:00 UTC), datetime!(2026-10-25 01:00 UTC));
    let told: Vec<_> = found
        .iter()
        .map(|one| (one.starts, one.before.whole_hours(), one.after.whole_hours(), one.daylight, one.name.as_str()))
        .collect();
    assert_eq!(
        told,
        [
            (datetime!(2025-10-26 01:00 UTC), 2, 1, false, "CET"),
            (datetime!(2026-03-29 01:00 UTC), 1, 2, true, "CEST"),
            (datetime!(2026-10-25 01:00 UTC), 2, 1, false, "CET"),
        ]
    );
    assert_eq!(changes(datetime!(2026-03-01 0:00 UTC), datetime!(2026-03-29 00:59:59 UTC)).len(), 1);
    assert_eq!(zone("UTC").observances(datetime!(2026-03-01 0:00 UTC), datetime!(2027-03-01 0:00 UTC)), []);
}

#[test]
fn years_are_known_from_1900_to_2200() {
    let berlin = zone("Europe/Berlin");
    assert!(
        berlin.to_instant(datetime!(1900-01-01 0:00)).is_ok() && berlin.to_instant(datetime!(2200-12-31 0:00)).is_ok()
    );
    assert_eq!(format!("{berlin:?}"), "Zone(Europe/Berlin)");
}
