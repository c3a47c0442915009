use super::*;
use crate::domain::hours::{DayHours, WeeklyHours, clock};
use time::macros::{date, datetime};

fn with_search<T>(hours: &str, busy: &[(OffsetDateTime, OffsetDateTime)], ask: impl FnOnce(&mut Search<'_>) -> T) -> T {
    let day = DayHours::parse_text(hours).unwrap();
    let hours = WorkingHours::parse(WeeklyHours::of([(); 7].map(|()| day.clone())), [], vec![]).unwrap();
    let spans = busy.iter().map(|(from, to)| (from.unix_timestamp(), to.unix_timestamp()));
    let busy = BusyTimes::parse(spans).unwrap();
    let id = PractitionerId::from_random([1; 16]);
    ask(&mut Search {
        zone: &Zone::parse("Europe/Berlin").unwrap(),
        now: datetime!(2026-03-01 12:00 UTC),
        rules: BookingRules::default(),
        holidays: &[],
        service: Occupation::parse(60, 15).unwrap(),
        practitioners: &[PractitionerTime { id: &id, hours: &hours, busy: &busy }],
        rooms: None,
        earliest: Some(date!(2026 - 03 - 10)),
        latest: Some(date!(2026 - 03 - 10)),
    })
}

/// The starts on a day of a studio in Berlin, open every day, with one practitioner and no rooms.
fn starts(hours: &str, busy: &[(OffsetDateTime, OffsetDateTime)], adjust: impl FnOnce(&mut Search<'_>)) -> Vec<String> {
    with_search(hours, busy, |search| {
        adjust(search);
        free_times(search).iter().map(|time| clock(minute(time.civil))).collect()
    })
}

fn minute(civil: PrimitiveDateTime) -> u16 {
    u16::from(civil.hour()) * 60 + u16::from(civil.minute())
}

#[test]
fn a_visit_and_its_turn_around_fit_between_breaks_and_visits() {
    let busy = [(datetime!(2026-03-10 13:00 UTC), datetime!(2026-03-10 14:15 UTC))];
    let found = starts("9:00-11:00, 12:30-17:00", &busy, |_| ());
    assert_eq!(found, ["09:00", "09:15", "09:30", "09:45", "12:30", "12:45", "15:15", "15:30", "15:45"]);
}

#[test]
fn notice_is_kept_to_the_nanosecond() {
    let at = |now| starts("9:00-12:00", &[], move |search| search.now = now);
    assert_eq!(at(datetime!(2026-03-10 07:15 UTC)), ["10:15", "10:30", "10:45"]);
    assert_eq!(at(datetime!(2026-03-10 07:15:00.000_000_001 UTC)), ["10:30", "10:45"]);
}

#[test]
fn gaps_too_short_to_sell_are_avoided_but_a_lone_gap_is_sold() {
    let rules = |shortest| BookingRules::parse(15, 120, 120, shortest).unwrap();
    let found = |hours, shortest| starts(hours, &[], move |search| search.rules = rules(shortest));
    assert_eq!(found("9:00-11:30", Some(60)), ["09:00", "10:15"]);
    assert_eq!(found("9:00-11:30", Some(15)).len(), 6);
    assert_eq!(found("9:00-10:30", Some(60)), ["09:00", "09:15"]);
}

#[test]
fn a_time_that_was_offered_stays_bookable_whatever_gap_it_leaves() {
    with_search("9:00-11:30", &[], |search| {
        search.rules = BookingRules::parse(15, 120, 120, Some(60)).unwrap();
        let who = search.practitioners[0].id;
        assert!(still_free(search, datetime!(2026-03-10 08:30 UTC), who).is_some());
        assert!(still_free(search, datetime!(2026-03-10 08:40 UTC), who).is_none());
        assert!(still_free(search, datetime!(2026-03-10 08:30 UTC), &PractitionerId::from_random([2; 16])).is_none());
        assert!(still_free(search, datetime!(2026-03-11 08:30 UTC), who).is_none());
    });
}

/// Directive 2000/84/EC: on 29 March 2026 the clocks go from 02:00 to 03:00, on 25 October from 03:00 to 02:00.
#[test]
fn nights_of_the_clocks() {
    let on = |day| {
        starts("1:30-4:00", &[], move |search| {
            search.rules = BookingRules::parse(30, 0, 365, None).unwrap();
            (search.earliest, search.latest) = (Some(day), Some(day));
        })
    };
    assert_eq!(on(date!(2026 - 03 - 28)), ["01:30", "02:00", "02:30"]);
    assert_eq!(on(date!(2026 - 03 - 29)), ["01:30"]);
    assert_eq!(on(date!(2026 - 10 - 25)), ["01:30"]);
}

#[test]
fn a_visit_ends_before_its_chair_is_free_again() {
    with_search("9:00-10:15", &[], |search| {
        let found = free_times(search);
        let [time] = &found[..] else { panic!("{} times", found.len()) };
        assert_eq!(time.starts_at(), datetime!(2026-03-10 08:00 UTC));
        assert_eq!(time.ends_at(), datetime!(2026-03-10 09:00 UTC));
        assert_eq!(time.chair_free_at(), datetime!(2026-03-10 09:15 UTC));
    });
}

/// Directive 2000/84/EC: on 29 March 2026 the clocks of Berlin jump from 02:00 to 03:00, at 01:00 UTC.
#[test]
fn work_is_what_the_clocks_show_of_it() {
    let work = |hours: &str, date| {
        let day = DayHours::parse_text(hours).unwrap();
        let hours = WorkingHours::parse(WeeklyHours::of([(); 7].map(|()| day.clone())), [], vec![]).unwrap();
        let found = work_on(&Zone::parse("Europe/Berlin").unwrap(), &hours, date);
        let at = |unix| OffsetDateTime::from_unix_timestamp(unix).unwrap();
        found.into_iter().map(|(from, to)| (at(from), at(to))).collect::<Vec<_>>()
    };
    assert_eq!(
        work("9:00-12:30, 13:00-17:00", date!(2026 - 03 - 10)),
        [
            (datetime!(2026-03-10 08:00 UTC), datetime!(2026-03-10 11:30 UTC)),
            (datetime!(2026-03-10 12:00 UTC), datetime!(2026-03-10 16:00 UTC)),
        ]
    );
    let night = [(datetime!(2026-03-29 00:00 UTC), datetime!(2026-03-29 01:30 UTC))];
    assert_eq!(work("1:00-3:30", date!(2026 - 03 - 29)), night);
    assert_eq!(work("2:00-3:00", date!(2026 - 03 - 29)), [], "an hour that the day lacks");
}

#[test]
fn a_pair_keeps_its_distance_in_hours_and_in_days() {
    let rule = PairRule { floor_hours: 48, valid_days: 14 };
    with_search("9:00-20:00", &[], |search| {
        (search.earliest, search.latest) = (Some(date!(2026 - 03 - 10)), Some(date!(2026 - 03 - 24)));
        let times = free_times(search);
        let at = |civil| *times.iter().find(|time| time.civil == civil).unwrap();
        let test = at(datetime!(2026-03-10 09:00));
        let fits = |civil| rule.fits(&test, &at(civil));
        // The test visit takes an hour here, and its hours count from its end.
        assert!(!fits(datetime!(2026-03-12 09:45)) && fits(datetime!(2026-03-12 10:00)));
        assert!(fits(datetime!(2026-03-24 18:00)), "the last day whole");
        assert!(!PairRule { valid_days: 13, ..rule }.fits(&test, &at(datetime!(2026-03-24 09:00))));
    });
}
