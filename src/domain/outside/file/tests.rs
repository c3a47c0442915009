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
