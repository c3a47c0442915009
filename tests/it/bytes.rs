//! Whatever reads text meets text that nobody meant: valid pieces with spans torn out, doubled, or replaced by what breaks
//! careless readers. Nothing may panic, and what is taken once is taken again as it was written.

use palpebra::documents::upload::{self, Takes};
use palpebra::documents::verify::verify;
use palpebra::domain::consent::{ConsentText, Drawing};
use palpebra::domain::hours::{DayHours, clock, parse_clock};
use palpebra::domain::ids::VisitId;
use palpebra::domain::money::{Currency, Money};
use palpebra::domain::outside::{Address, busy_times};
use palpebra::domain::person::{BirthDate, HomeDial, Mail, PersonName, Phone};
use palpebra::domain::questionnaire::Questionnaire;
use palpebra::domain::screening::RuleTable;
use palpebra::domain::zone::Zone;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use time::macros::{date, datetime};

/// Valid text of every kind that is read.
const SEEDS: [&str; 12] = [
    "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTART;TZID=Europe/Berlin:20260302T090000\r\nDURATION:PT1H30M\r\n\
     RRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,WE;UNTIL=99991231T235959Z\r\nEXDATE:20260316T080000Z\r\nEND:VEVENT\r\n\
     END:VCALENDAR\r\n",
    "BEGIN:VCALENDAR\r\nBEGIN:VFREEBUSY\r\nFREEBUSY:20260302T080000Z/PT3H,20260303T080000Z/20260303T090000Z\r\n\
     FREEBUSY:99991231T230000Z/P999999W\r\nEND:VFREEBUSY\r\nEND:VCALENDAR\r\n",
    "BEGIN:VCALENDAR\r\nBEGIN:VTIMEZONE\r\nTZID:Here\r\nBEGIN:STANDARD\r\nDTSTART:19701025T030000\r\nTZOFFSETFROM:+0200\r\n\
     TZOFFSETTO:+0100\r\nRRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU;UNTIL=99991231\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n\
     BEGIN:VEVENT\r\nDTSTART;TZID=Here:20260302T090000\r\nDTEND;TZID=Here:99991231T235959\r\nEND:VEVENT\r\n\
     BEGIN:VEVENT\r\nDTSTART;VALUE=DATE:99991230\r\nDURATION:P3D\r\nRDATE;VALUE=DATE:00000101\r\nEND:VEVENT\r\n\
     END:VCALENDAR\r\n",
    "9:00-12:30, 13:15-18",
    "1 234,50",
    "+49 (0)30 901820-0",
    "a.b+c@d.example.org",
    "1999-02-28",
    "https://calendar.example.org:443/a/b.ics?c=d#e",
    "0,0 10,10;20,5 30,40",
    "{\"sections\":[{\"id\":\"a\",\"title\":\"A\",\"questions\":[]}],\"version\":1}",
    "O\u{2019}Neill-Wójcik, Zoë",
];

/// What breaks careless readers.
const SHARP: [&str; 20] = [
    "",
    "\0",
    "\u{feff}",
    "\u{202e}",
    "\u{1f9d1}\u{200d}\u{1f680}",
    "a\u{300}\u{300}",
    "-",
    "+",
    "99999999999999999999",
    "-1",
    "0000",
    "9999",
    "1e999",
    "NaN",
    "\r\n ",
    ";;",
    ",",
    "/",
    "\"",
    "{{[[",
];

fn torn() -> impl Strategy<Value = String> {
    let edit =
        (any::<Index>(), 0..12_usize, prop_oneof![select(&SHARP[..]).prop_map(str::to_owned), ".{0,8}", "[0-9]{1,12}"]);
    (select(&SEEDS[..]), prop::collection::vec(edit, 0..6)).prop_map(|(seed, edits)| {
        let mut letters: Vec<char> = seed.chars().collect();
        for (at, gone, put) in edits {
            let at = at.index(letters.len() + 1);
            let until = (at + gone).min(letters.len());
            letters.splice(at..until, put.chars());
        }
        letters.into_iter().collect()
    })
}

proptest! {
    #[test]
    fn what_is_read_never_breaks_and_reads_itself_back(text in torn()) {
        let today = date!(2026 - 03 - 01);
        let berlin = Zone::parse("Europe/Berlin").unwrap();
        let (from, to) = (datetime!(2026-03-01 0:00 UTC), datetime!(2026-06-01 0:00 UTC));
        if let Ok(busy) = busy_times(&text, &berlin, (from, to)) {
            for (start, end) in busy {
                prop_assert!(start < end && start < to.unix_timestamp() && end > from.unix_timestamp());
            }
        }
        if let Ok(name) = PersonName::parse(&text) {
            prop_assert_eq!(PersonName::parse(name.as_str()).unwrap(), name);
        }
        if let Ok(mail) = Mail::parse(&text) {
            prop_assert_eq!(Mail::parse(mail.as_str()).unwrap(), mail);
        }
        let home = HomeDial::parse("49").unwrap();
        if let Ok(phone) = Phone::parse(&text, &home) {
            prop_assert_eq!(Phone::parse_e164(phone.as_str()).unwrap(), phone);
        }
        if let Ok(born) = BirthDate::parse(&text, today) {
            prop_assert!(born.date() <= today);
        }
        if let Ok(minutes) = parse_clock(&text) {
            prop_assert_eq!(parse_clock(&clock(minutes)).unwrap(), minutes);
        }
        if let Ok(hours) = DayHours::parse_text(&text) {
            let written: Vec<String> =
                hours.spans().iter().map(|span| format!("{}-{}", clock(span.opens()), clock(span.closes()))).collect();
            prop_assert_eq!(DayHours::parse_text(&written.join(", ")).unwrap(), hours);
        }
        let euro = Currency::parse("EUR").unwrap();
        if let Ok(sum) = Money::parse(&text, euro.clone()) {
            prop_assert_eq!(Money::parse(&sum.plain(), euro).unwrap().minor(), sum.minor());
        }
        if let Ok(address) = Address::parse(&text) {
            prop_assert!(Address::parse(address.as_str()).is_ok_and(|again| again == address));
        }
        if let Ok(drawing) = Drawing::parse(&text) {
            prop_assert_eq!(Drawing::parse(&drawing.text()).unwrap(), drawing);
        }
        if let Ok(id) = VisitId::parse(&text) {
            prop_assert_eq!(id.as_str(), text.as_str());
        }
        // These have nothing to write back: not breaking is what is asked of them.
        let _ = (Questionnaire::parse(&text), RuleTable::parse(&text), ConsentText::parse(&text), Zone::parse(&text));
        prop_assert!(verify(std::io::Cursor::new(text.as_bytes())).is_err(), "no text is a package");
        prop_assert!(upload::check(text.as_bytes(), Takes::PhotoOrPdf).is_err(), "no text is a photo");
    }
}

#[test]
fn the_last_day_of_the_calendar_is_read_or_refused() {
    let berlin = Zone::parse("Europe/Berlin").unwrap();
    let within = (datetime!(2026-03-01 0:00 UTC), datetime!(2026-06-01 0:00 UTC));
    for seed in &SEEDS[..3] {
        // In order, or refused: what counts is that the program goes on.
        let _ = busy_times(seed, &berlin, within).map(|busy| assert!(busy.is_sorted()));
    }
}
