use super::*;
use time::macros::datetime;

fn busy(body: &str) -> Result<Vec<String>, Unreadable> {
    let text = format!("BEGIN:VCALENDAR\r\n{}\r\nEND:VCALENDAR\r\n", body.replace('\n', "\r\n"));
    let zone = Zone::parse("Europe/Berlin").unwrap();
    let within = (datetime!(2026-03-01 0:00 UTC), datetime!(2026-04-15 0:00 UTC));
    let clock = |at: i64| zone.to_civil(OffsetDateTime::from_unix_timestamp(at).unwrap());
    Ok(busy_times(&text, &zone, within)?
        .into_iter()
        .map(|(from, to)| format!("{} {}", clock(from), clock(to)))
        .collect())
}

fn event(lines: &str) -> String {
    format!("BEGIN:VEVENT\nUID:1\n{lines}\nBEGIN:VALARM\nDTSTART:nonsense\nEND:VALARM\nEND:VEVENT")
}

#[test]
fn plain_events_in_each_kind_of_time() {
    let ends = "DTEND:20260302T100000Z";
    assert_eq!(
        busy(&event(&format!("DTSTART:20260302T090000Z\n{ends}"))).unwrap(),
        ["2026-03-02 10:00:00.0 2026-03-02 11:00:00.0"]
    );
    let floating = event("DTSTART:20260302T090000\nDURATION:PT30M");
    assert_eq!(busy(&floating).unwrap(), ["2026-03-02 9:00:00.0 2026-03-02 9:30:00.0"]);
    let tokyo = event("DTSTART;TZID=/some.example.org/Asia/Tokyo:20260302T180000\nDURATION:PT1H");
    assert_eq!(busy(&tokyo).unwrap(), ["2026-03-02 10:00:00.0 2026-03-02 11:00:00.0"]);
    let argentina = event("DTSTART;TZID=/some.example.org/America/Argentina/Ushuaia:20260302T060000\nDURATION:PT1H");
    assert_eq!(busy(&argentina), busy(&tokyo), "a name of three parts");
    let japan = event("DTSTART;TZID=Japan:20260302T180000\nDURATION:PT1H");
    assert_eq!(busy(&japan), busy(&tokyo), "a name of one");
    let day = event("DTSTART;VALUE=DATE:20260329");
    assert_eq!(busy(&day).unwrap(), ["2026-03-29 0:00:00.0 2026-03-30 0:00:00.0"], "a day of 23 hours");
    assert_eq!(busy(&event("DTSTART:20260302T090000")).unwrap(), Vec::<String>::new(), "it takes no time");
}

#[test]
fn what_is_free_cancelled_or_far_away_is_left_out() {
    let base = "DTSTART:20260302T090000Z\nDURATION:PT1H";
    for more in ["TRANSP:TRANSPARENT", "STATUS:CANCELLED"] {
        assert_eq!(busy(&event(&format!("{base}\n{more}"))).unwrap(), Vec::<String>::new());
    }
    assert_eq!(busy(&event("DTSTART:20200302T090000Z\nDURATION:PT1H")).unwrap(), Vec::<String>::new());
    let period = "BEGIN:VFREEBUSY\nFREEBUSY;FBTYPE=FREE:20260303T090000Z/PT1H\nFREEBUSY:20260302T090000Z/PT1H,20260302T120000Z/20260302T130000Z\nEND:VFREEBUSY";
    assert_eq!(busy(period).unwrap().len(), 2);
}

#[test]
fn repeated_events_keep_their_clock_time_with_what_was_left_out_and_moved() {
    let weekly = "DTSTART;TZID=Europe/Berlin:20250106T090000\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;UNTIL=20260413T070000Z\nEXDATE;TZID=Europe/Berlin:20260316T090000";
    let moved = "BEGIN:VEVENT\nUID:1\nRECURRENCE-ID;TZID=Europe/Berlin:20260309T090000\nDTSTART;TZID=Europe/Berlin:20260310T140000\nDURATION:PT1H\nEND:VEVENT";
    let found = busy(&format!("{}\n{moved}", event(weekly))).unwrap();
    let starts: Vec<_> = found.iter().map(|line| line.split(":00.0").next().unwrap()).collect();
    assert_eq!(
        starts,
        [
            "2026-03-02 9:00",
            "2026-03-10 14:00",
            "2026-03-23 9:00",
            "2026-03-30 9:00",
            "2026-04-06 9:00",
            "2026-04-13 9:00"
        ]
    );
}

#[test]
fn a_zone_of_another_name_is_taken_as_the_file_explains_it() {
    let zone = "BEGIN:VTIMEZONE\nTZID:Somewhere West\nBEGIN:STANDARD\nDTSTART:16010101T030000\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0100\nRRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10\nEND:STANDARD\nBEGIN:DAYLIGHT\nDTSTART:16010101T020000\nTZOFFSETFROM:+0100\nTZOFFSETTO:+0200\nRRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=3\nEND:DAYLIGHT\nEND:VTIMEZONE";
    let weekly = event("DTSTART;TZID=Somewhere West:20260327T090000\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;COUNT=2");
    let found = busy(&format!("{zone}\n{weekly}")).unwrap();
    assert_eq!(found, ["2026-03-27 9:00:00.0 2026-03-27 10:00:00.0", "2026-04-03 9:00:00.0 2026-04-03 10:00:00.0"]);
    assert_eq!(busy(&weekly), Err(Unreadable::Zone));
}

#[test]
fn what_can_t_be_read_in_full_is_not_read_in_half() {
    let zone = Zone::parse("Europe/Berlin").unwrap();
    let within = (datetime!(2026-03-01 0:00 UTC), datetime!(2026-04-15 0:00 UTC));
    assert_eq!(busy_times("<html>not found</html>", &zone, within), Err(Unreadable::NotACalendar));
    assert_eq!(busy(&event("SUMMARY:no time")), Err(Unreadable::Time));
    assert_eq!(busy(&event("DTSTART:20260302T0900")), Err(Unreadable::Time));
    let hourly = event("DTSTART:20260302T090000Z\nDURATION:PT1H\nRRULE:FREQ=HOURLY");
    assert_eq!(busy(&hourly), Err(Unreadable::Repeat));
}

#[test]
fn what_only_touches_the_days_asked_for_is_left_out() {
    let utc = |from: &str, to: &str| busy(&event(&format!("DTSTART:{from}\nDTEND:{to}"))).unwrap().len();
    assert_eq!(utc("20260228T230000Z", "20260301T000000Z"), 0);
    assert_eq!(utc("20260228T230000Z", "20260301T000001Z"), 1);
    assert_eq!(utc("20260415T000000Z", "20260415T010000Z"), 0);
    assert_eq!(utc("20260414T235959Z", "20260415T010000Z"), 1);
    assert_eq!(utc("20260302T100000Z", "20260302T090000Z"), 0, "it ends before it begins");
}

#[test]
fn whole_days_repeat_up_to_their_last_day_and_long_events_reach_into_the_days_asked_for() {
    let until = event("DTSTART;VALUE=DATE:20260302\nRRULE:FREQ=DAILY;UNTIL=20260304");
    let days = ["02", "03", "04"].map(|day| format!("2026-03-{day} 0:00:00.0"));
    let found = busy(&until).unwrap();
    assert_eq!(found.len(), 3);
    assert!(found.iter().zip(days).all(|(found, day)| found.starts_with(&day)), "{found:?}");
    let long = event("DTSTART:20260115T080000Z\nDURATION:P20D\nRRULE:FREQ=MONTHLY");
    assert_eq!(busy(&long).unwrap()[0], "2026-02-15 9:00:00.0 2026-03-07 9:00:00.0");
    let days = event("DTSTART;VALUE=DATE:20260115\nDTEND;VALUE=DATE:20260204\nRRULE:FREQ=MONTHLY");
    assert_eq!(busy(&days).unwrap()[0], "2026-02-15 0:00:00.0 2026-03-07 0:00:00.0");
}

#[test]
fn a_calendar_with_too_many_times_is_not_read_in_half() {
    let times = |count: i64| {
        let start = datetime!(2026-03-02 0:00 UTC);
        let stamp = |n: i64| {
            let at = start + Duration::seconds(n);
            format!("202603{:02}T{:02}{:02}{:02}Z", at.day(), at.hour(), at.minute(), at.second())
        };
        (0..count).map(stamp).collect::<Vec<_>>()
    };
    let events =
        |count: i64| event(&format!("DTSTART:20260301T120000Z\nDURATION:PT1H\nRDATE:{}", times(count - 1).join(",")));
    assert_eq!(busy(&events(20_000)).map(|found| found.len()), Ok(20_000));
    assert_eq!([busy(&events(20_001)), busy(&events(20_010))], [Err(Unreadable::TooMany), Err(Unreadable::TooMany)]);
    let periods = |count: i64| {
        let all: Vec<String> = times(count).iter().map(|at| format!("{at}/PT1H")).collect();
        busy(&format!("BEGIN:VFREEBUSY\nFREEBUSY:{}\nEND:VFREEBUSY", all.join(",")))
    };
    assert_eq!(periods(20_000).map(|found| found.len()), Ok(20_000));
    assert_eq!([periods(20_001), periods(20_010)], [Err(Unreadable::TooMany), Err(Unreadable::TooMany)]);
}

#[test]
fn a_zone_is_taken_as_explained_also_where_its_changes_are_listed_or_have_ended() {
    let weekly = event("DTSTART;TZID=Somewhere West:20260327T090000\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;COUNT=2");
    let change = |kind: &str, from: &str, to: &str, rule: &str| {
        format!("BEGIN:{kind}\nDTSTART:20240101T020000\nTZOFFSETFROM:{from}\nTZOFFSETTO:{to}\n{rule}\nEND:{kind}")
    };
    let zone = |changes: &[String]| {
        let all = changes.join("\n");
        let found = busy(&format!("BEGIN:VTIMEZONE\nTZID:Somewhere West\n{all}\nEND:VTIMEZONE\n{weekly}")).unwrap();
        found.iter().map(|line| line.split(":00.0").next().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let standard = change("STANDARD", "+0100", "+0100", "");
    // At UTC+1 nine o'clock is ten in Berlin once summer time has begun there, on 29 March.
    assert_eq!(zone(std::slice::from_ref(&standard)), ["2026-03-27 9:00", "2026-04-03 10:00"]);
    let listed = change("DAYLIGHT", "+0100", "+0200", "RDATE:20240331T020000,20260329T020000");
    let back = change("STANDARD", "+0200", "+0100", "RDATE:20241027T030000");
    assert_eq!(zone(&[standard.clone(), back.clone(), listed]), ["2026-03-27 9:00", "2026-04-03 9:00"]);
    let ended = change("DAYLIGHT", "+0100", "+0200", "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU;UNTIL=20250401T000000Z");
    let since = change("STANDARD", "+0200", "+0100", "RDATE:20251026T030000");
    assert_eq!(zone(&[standard, ended, since]), ["2026-03-27 9:00", "2026-04-03 10:00"], "summer time was given up");
    let far =
        |kind: &str, from: &str, to: &str, rule: &str| change(kind, from, to, rule).replace("20240101", "20250330");
    let forth = "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU;UNTIL=20260328T130000Z";
    let last = [far("DAYLIGHT", "+1300", "+1400", forth), far("STANDARD", "+1400", "+1300", "RDATE:20251026T030000")];
    // On 27 March nine o'clock is eight in the evening of the day before in UTC.
    assert_eq!(zone(&last), ["2026-03-26 21:00", "2026-04-02 21:00"], "its last change is a day earlier in UTC");
    let later =
        "BEGIN:STANDARD\nDTSTART:20300101T020000\nTZOFFSETFROM:+0300\nTZOFFSETTO:+0100\nEND:STANDARD".to_owned();
    assert_eq!(zone(&[later]), ["2026-03-27 7:00", "2026-04-03 8:00"], "before the first change, what it changes from");
}

#[test]
fn parts_of_a_file_are_told_apart_wherever_they_stand() {
    let alarm = "BEGIN:VALARM\nDTSTART:nonsense\nEND:VALARM";
    let after_alarm = format!("BEGIN:VEVENT\nUID:1\n{alarm}\nDTSTART:20260302T090000Z\nDURATION:PT1H\nEND:VEVENT");
    assert_eq!(busy(&after_alarm).unwrap().len(), 1);
    let period = "BEGIN:VFREEBUSY\nDTSTART:20260301T000000Z\nFREEBUSY:20260302T090000Z/PT1H\nEND:VFREEBUSY";
    assert_eq!(busy(period).unwrap().len(), 1);
    let zone = Zone::parse("Europe/Berlin").unwrap();
    let within = (datetime!(2026-03-01 0:00 UTC), datetime!(2026-04-15 0:00 UTC));
    let bare = event("DTSTART:20260302T090000Z\nDURATION:PT1H").replace('\n', "\r\n");
    assert_eq!(busy_times(&bare, &zone, within), Err(Unreadable::NotACalendar));
}

#[test]
fn a_zone_keeps_its_name_and_its_changes_for_itself() {
    let named = "BEGIN:VTIMEZONE\nTZID:Far South\nX-LIC-LOCATION:Elsewhere\nBEGIN:STANDARD\nDTSTART:20260405T030000\nTZOFFSETFROM:+1100\nTZOFFSETTO:+1000\nEND:STANDARD\nEND:VTIMEZONE";
    let nameless = "BEGIN:VTIMEZONE\nBEGIN:STANDARD\nDTSTART:20260406T000000\nTZOFFSETFROM:+0100\nTZOFFSETTO:+0100\nEND:STANDARD\nEND:VTIMEZONE";
    let at = |civil: &str| {
        let event = event(&format!("DTSTART;TZID=Far South:{civil}\nDURATION:PT1H"));
        busy(&format!("{named}\n{nameless}\n{event}")).unwrap().remove(0)
    };
    // 01:00 at UTC+11 is 14:00 UTC of the day before; from the change itself on it is UTC+10.
    assert!(at("20260405T010000").starts_with("2026-04-04 16:00"));
    assert!(at("20260405T030000").starts_with("2026-04-04 19:00"), "{}", at("20260405T030000"));
    assert!(at("20260410T030000").starts_with("2026-04-09 19:00"));
}

#[test]
fn an_event_repeats_up_to_the_end_of_its_last_day_and_from_far_away() {
    let late = event("DTSTART:20260302T235959\nDURATION:PT1H\nRRULE:FREQ=DAILY;UNTIL=20260304");
    assert_eq!(busy(&late).unwrap().len(), 3);
    // Eight in the evening of 28 February is the morning of 1 March in Berlin.
    let far = event("DTSTART;TZID=Pacific/Honolulu:20260201T200000\nDURATION:PT1H\nRRULE:FREQ=DAILY");
    assert_eq!(busy(&far).unwrap()[0], "2026-03-01 7:00:00.0 2026-03-01 8:00:00.0");
}

#[test]
fn clocks_far_ahead_are_on_the_next_day_before_the_stretch_asked_for_ends() {
    let zone = Zone::parse("Europe/Berlin").unwrap();
    let daily = |zone: &str| {
        let lines = format!("DTSTART;TZID={zone}:20260401T090000\nDURATION:PT1H\nRRULE:FREQ=DAILY");
        format!("BEGIN:VCALENDAR\n{}\nEND:VCALENDAR\n", event(&lines))
    };
    let last = |to: OffsetDateTime| {
        let within = (datetime!(2026-04-10 0:00 UTC), to);
        busy_times(&daily("Pacific/Kiritimati"), &zone, within).unwrap().last().copied().unwrap().0
    };
    // Nine o'clock on 16 April is 19:00 UTC on the day before.
    let begins = datetime!(2026-04-15 19:00 UTC);
    assert_eq!(last(datetime!(2026-04-15 19:00:01 UTC)), begins.unix_timestamp());
    assert_eq!(last(datetime!(2026-04-15 9:00:01 -10)), begins.unix_timestamp(), "whatever offset it is told in");
    assert_eq!(last(begins), (begins - Duration::DAY).unix_timestamp());
}

#[test]
fn an_event_that_repeats_more_often_than_is_read_is_refused_though_it_be_at_the_same_times() {
    let rules = |count: usize| {
        let rules = "RRULE:FREQ=DAILY;COUNT=10\n".repeat(count / 10);
        let rest = format!("RRULE:FREQ=DAILY;COUNT={}", count % 10);
        busy(&event(&format!("DTSTART:20260302T090000Z\nDURATION:PT1H\n{rules}{rest}"))).map(|found| found.len())
    };
    // Its own start is one of them.
    assert_eq!(rules(19_999), Ok(10));
    assert_eq!([rules(20_000), rules(20_001)], [Err(Unreadable::TooMany), Err(Unreadable::TooMany)]);
}

/// A name of a zone with many slashes, rules that begin in the year 0, a zone whose clocks change daily, and one that lists
/// thousands of changes: without a bound the work grows with the square of the file.
#[test]
fn a_file_that_asks_for_endless_work_is_read_or_refused_at_once() {
    let slashes = event(&format!("DTSTART;TZID={}:20260302T090000", "a/".repeat(200_000)));
    assert_eq!(busy(&slashes), Err(Unreadable::Zone));
    let ancient =
        event("DTSTART:00000101T000000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY;COUNT=4000000000;BYMONTHDAY=31;BYMONTH=2");
    let times = |what: &str, times: usize| format!("{what}\n").repeat(times);
    assert_eq!(busy(&times(&ancient, 3)).unwrap(), Vec::<String>::new());
    assert_eq!(busy(&times(&ancient, 100)), Err(Unreadable::TooMany));
    let here = event("DTSTART;TZID=Here:20260302T090000\nDURATION:PT1H\nRRULE:FREQ=DAILY");
    let zone = |lines: &str| {
        busy(&format!("BEGIN:VTIMEZONE\nTZID:Here\n{lines}END:VTIMEZONE\n{}", times(&here, 300)))
            .map(|found| found.len())
    };
    let change = "BEGIN:STANDARD\nDTSTART:00000101T000000\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0100\n";
    let daily = format!("{change}RRULE:FREQ=DAILY\nEND:STANDARD\n");
    assert_eq!(zone(&daily), Ok(44), "from the second of March to the middle of April");
    assert_eq!(zone(&daily.repeat(30)), Err(Unreadable::TooMany));
    let listed = format!("{change}RDATE:{}20250101T000000\nEND:STANDARD\n", "20250101T000000,".repeat(50_000));
    assert_eq!(zone(&listed), Ok(44));
}

/// Each is counted before anything is compared with it: the lines of an event, what begins on the days that it lists, though
/// it be at the same times, and the bytes of a zone's name.
#[test]
fn an_event_that_lists_more_than_is_read_is_refused_before_it_is_looked_through() {
    let base = "DTSTART:20260302T090000Z\nDURATION:PT1H";
    // Three lines are there already.
    let lines =
        |count: usize| busy(&event(&format!("{base}\n{}A:", "A:\n".repeat(count - 4)))).map(|found| found.len());
    assert_eq!([lines(20_000), lines(20_001)], [Ok(1), Err(Unreadable::TooMany)]);
    let one = |count: usize| format!("RDATE:{}20260303T090000Z", "20260303T090000Z,".repeat(count - 1));
    let listed = |rdates: &str| busy(&event(&format!("{base}\n{rdates}"))).map(|found| found.len());
    // Its own start is one of them.
    assert_eq!([listed(&one(19_999)), listed(&one(20_000))], [Ok(2), Err(Unreadable::TooMany)]);
    assert_eq!(listed(&format!("{}\n{}", one(10_000), one(10_000))), Err(Unreadable::TooMany));
    let zone = |bytes: usize| {
        let name = "a".repeat(bytes);
        let change = "BEGIN:STANDARD\nDTSTART:20200101T000000\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0100\nEND:STANDARD";
        let here = event(&format!("DTSTART;TZID={name}:20260302T090000\nDURATION:PT1H"));
        busy(&format!("BEGIN:VTIMEZONE\nTZID:{name}\n{change}\nEND:VTIMEZONE\n{here}")).map(|found| found.len())
    };
    assert_eq!([zone(255), zone(256)], [Ok(1), Err(Unreadable::Zone)]);
}

/// What lies before or after the days asked for takes no room from what lies in them.
#[test]
fn past_events_are_not_counted() {
    let past = "BEGIN:VEVENT\nDTSTART:20200302T090000Z\nDURATION:PT1H\nEND:VEVENT\n".repeat(20_001);
    let now = event("DTSTART:20260302T090000Z\nDURATION:PT1H");
    assert_eq!(busy(&format!("{past}{now}")).map(|found| found.len()), Ok(1));
}

/// An event that was moved is told by its own name, and what is moved of another without a name stays.
#[test]
fn only_what_bears_the_same_name_is_moved() {
    let daily = |name: &str| {
        format!("BEGIN:VEVENT\n{name}DTSTART:20260302T090000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY;COUNT=2\nEND:VEVENT\n")
    };
    let moved =
        "BEGIN:VEVENT\nUID:b\nRECURRENCE-ID:20260303T090000Z\nDTSTART:20260310T090000Z\nDURATION:PT1H\nEND:VEVENT";
    let count = |name: &str| busy(&format!("{}{moved}", daily(name))).unwrap().len();
    assert_eq!(["UID:b\n", "UID:a\n", ""].map(count), [2, 3, 3]);
    let back = moved.replace("20260310", "20260303");
    assert_eq!(busy(&format!("{}{back}", daily("UID:b\n"))).unwrap().len(), 2, "moved to when it was");
}
