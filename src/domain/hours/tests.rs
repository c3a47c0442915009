use super::*;
use proptest::prelude::*;
use time::macros::date;

#[test]
fn a_day_is_read_with_its_breaks() {
    let day = DayHours::parse_text("13:15–18:00; 9:00-12:30,").unwrap();
    assert_eq!(day.to_string(), "09:00-12:30, 13:15-18:00");
    assert_eq!(DayHours::parse_text("9:00-12:00, 12:00-15:00").unwrap().to_string(), "09:00-15:00");
    assert_eq!(DayHours::parse_text("").unwrap(), DayHours::default());
    assert_eq!(DayHours::parse_text("0:00-24:00").unwrap().spans(), [OpenSpan { opens: 0, closes: 1440 }]);
    for (text, why) in [
        ("9-12", HoursRefused::NotATime),
        ("9:00", HoursRefused::NotASpan),
        ("9:60-10:00", HoursRefused::NotATime),
        ("9:00-24:01", HoursRefused::NotATime),
        ("009:00-10:00", HoursRefused::NotATime),
        ("+9:00-10:00", HoursRefused::NotATime),
        ("9:00-99999:00", HoursRefused::NotATime),
        ("9:00-9:00", HoursRefused::Reversed { opens: 540, closes: 540 }),
        ("22:00-2:00", HoursRefused::Reversed { opens: 1320, closes: 120 }),
        ("9:00-12:00, 11:59-13:00", HoursRefused::Overlap { opens: 719 }),
    ] {
        assert_eq!(DayHours::parse_text(text), Err(why), "{text}");
    }
    let many = (0..9).map(|n| OpenSpan::parse(n * 20, n * 20 + 10).unwrap());
    assert_eq!(DayHours::parse(many), Err(HoursRefused::TooMany { most: 8 }));
}

#[test]
fn a_week_has_seven_days() {
    assert_eq!(WeeklyHours::parse([(0, 0, 1)]), Err(HoursRefused::Weekday { weekday: 0 }));
    assert_eq!(WeeklyHours::parse([(8, 0, 1)]), Err(HoursRefused::Weekday { weekday: 8 }));
    let rows = [(1, 540, 720), (1, 780, 1080), (7, 600, 660)];
    let week = WeeklyHours::parse(rows).unwrap();
    assert_eq!(week.rows().collect::<Vec<_>>(), rows);
    assert_eq!(week.on(Weekday::Sunday).to_string(), "10:00-11:00");
    assert_eq!(week.on(Weekday::Tuesday), &DayHours::default());
}

#[test]
fn days_off_win_over_dates_and_dates_over_the_week() {
    let monday = date!(2026 - 03 - 09);
    let other = DayHours::parse_text("12:00-14:00").unwrap();
    let week = WeeklyHours::parse([(1, 540, 720)]).unwrap();
    let off = DateRange::parse(monday, monday).unwrap();
    let hours = |exceptions: Vec<_>, off| WorkingHours::parse(week.clone(), exceptions, off).unwrap();
    assert_eq!(hours(vec![], vec![]).on(monday), [OpenSpan { opens: 540, closes: 720 }]);
    assert_eq!(hours(vec![(monday, other.clone())], vec![]).on(monday), other.spans());
    assert_eq!(hours(vec![(monday, DayHours::default())], vec![]).on(monday), []);
    assert_eq!(hours(vec![(monday, other.clone())], vec![off]).on(monday), []);
    let twice = [(monday, other.clone()), (monday, other)];
    assert_eq!(WorkingHours::parse(week, twice, vec![]), Err(HoursRefused::SameDate { date: monday }));
}

#[test]
fn the_studio_s_hours_cut_those_of_the_week_and_of_a_date() {
    let monday = date!(2026 - 03 - 09);
    let tuesday = date!(2026 - 03 - 10);
    let hours = |text| DayHours::parse_text(text).unwrap();
    let week = WeeklyHours::parse([(1, 540, 720), (1, 780, 1080), (2, 540, 720)]).unwrap();
    let own = [(tuesday, hours("8:00-20:00"))];
    let both = WorkingHours::parse(week, own, vec![]).unwrap();
    let both = both.limited_by([(monday, hours("10:00-14:00")), (tuesday, hours("10:00-14:00"))]);
    assert_eq!(both.on(monday), hours("10:00-12:00, 13:00-14:00").spans());
    assert_eq!(both.on(tuesday), hours("10:00-14:00").spans());
    assert_eq!(both.on(date!(2026 - 03 - 16)), hours("9:00-12:00, 13:00-18:00").spans());
    assert_eq!(both.limited_by([(monday, DayHours::default())]).on(monday), []);
}

#[test]
fn ranges_of_days_are_bounded() {
    let (first, last) = (date!(2026 - 01 - 01), date!(2026 - 01 - 03));
    let range = DateRange::parse(first, last).unwrap();
    assert!(range.contains(first) && range.contains(last) && !range.contains(date!(2026 - 01 - 04)));
    assert_eq!(DateRange::parse(last, first), Err(DateRangeRefused::Reversed { first: last, last: first }));
    assert!(DateRange::parse(first, date!(2027 - 02 - 04)).is_ok());
    assert_eq!(DateRange::parse(first, date!(2027 - 02 - 05)), Err(DateRangeRefused::TooLong { most: 400 }));
}

proptest! {
    #[test]
    fn a_day_is_written_as_it_is_read(edges in prop::collection::btree_set(0u16..=1440, 0..16)) {
        let edges: Vec<_> = edges.into_iter().collect();
        let day = DayHours::parse(edges.chunks_exact(2).map(|e| OpenSpan::parse(e[0], e[1]).unwrap())).unwrap();
        prop_assert_eq!(DayHours::parse_text(&day.to_string()).unwrap(), day);
    }
}

#[test]
fn a_day_has_up_to_eight_stretches_and_24_hours() {
    let day = |count: u16| DayHours::parse((0..count).map(|hour| OpenSpan::parse(hour * 60, hour * 60 + 30).unwrap()));
    assert_eq!(day(8).map(|day| day.spans().len()), Ok(8));
    assert_eq!(day(9), Err(HoursRefused::TooMany { most: 8 }));
    assert_eq!(parse_clock("24:00"), Ok(1440));
    for bad in ["24:01", "25:00", "9:60", "9:5"] {
        assert_eq!(parse_clock(bad), Err(HoursRefused::NotATime), "{bad}");
    }
    let text = |text| DayHours::parse_text(text).unwrap();
    assert_eq!(text("9:00-12:00").within(&text("12:00-17:00")), text(""), "what only touches shares no time");
}
