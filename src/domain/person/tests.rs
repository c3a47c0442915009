use super::*;
use proptest::prelude::*;
use time::macros::date;

#[test]
fn names_are_tidied_and_bounded() {
    assert_eq!(PersonName::parse("  Mia   Holm ").unwrap().as_str(), "Mia Holm");
    assert_eq!(PersonName::parse("Zoë O’Dea-Ünal").unwrap().initials(), "ZO");
    assert_eq!(PersonName::parse("نرگس").unwrap().initials(), "ن");
    assert_eq!(PersonName::parse("   "), Err(PersonNameRefused::Missing));
    assert_eq!(PersonName::parse("123"), Err(PersonNameRefused::NoLetter));
    for text in ["a\nb", "a\tb", "a\0b", "a\u{202E}b", "a\u{2066}b", "a\u{85}b"] {
        assert_eq!(PersonName::parse(text), Err(PersonNameRefused::Control), "{text:?}");
    }
    assert!(PersonName::parse(&"é".repeat(100)).is_ok());
    assert_eq!(PersonName::parse(&"é".repeat(101)), Err(PersonNameRefused::TooLong { most: 100 }));
}

#[test]
fn mail_addresses_are_those_of_the_standards() {
    assert_eq!(Mail::parse(" Mia.Holm+1@Example.ORG ").unwrap().as_str(), "Mia.Holm+1@example.org");
    assert_eq!(Mail::parse("Mia@example.org").unwrap().key(), "mia@example.org");
    for (text, why) in [
        ("", MailRefused::Missing),
        ("mia", MailRefused::NoAt),
        ("@example.org", MailRefused::NoAt),
        ("mia@", MailRefused::NoAt),
        ("a@b@example.org", MailRefused::NoAt),
        (".mia@example.org", MailRefused::Name),
        ("mi..a@example.org", MailRefused::Name),
        ("mia.@example.org", MailRefused::Name),
        ("mi a@example.org", MailRefused::Name),
        ("\"mia\"@example.org", MailRefused::Name),
        ("mia\r\nBcc:x@example.org", MailRefused::Name),
        ("mia@example", MailRefused::Domain),
        ("mia@-example.org", MailRefused::Domain),
        ("mia@exa_mple.org", MailRefused::Domain),
        ("mia@example..org", MailRefused::Domain),
        ("mia@example.org.", MailRefused::Domain),
        ("mia@127.0.0.1", MailRefused::Domain),
        ("mia@example.org\0", MailRefused::Domain),
        ("mía@example.org", MailRefused::NotAscii),
    ] {
        assert_eq!(Mail::parse(text), Err(why), "{text:?}");
    }
    assert!(Mail::parse(&format!("{}@example.org", "a".repeat(64))).is_ok());
    assert_eq!(Mail::parse(&format!("{}@example.org", "a".repeat(65))), Err(MailRefused::TooLong));
    assert_eq!(Mail::parse(&format!("a@{}example.org", "b.".repeat(130))), Err(MailRefused::TooLong));
}

/// Numbers of the range that the German regulator keeps free for fiction, (0)30 23125 000 to 999 (from memory).
#[test]
fn telephone_numbers_become_international() {
    let home = HomeDial::parse("+49").unwrap();
    for text in ["+49 30 23125 042", "0049 30 23125042", "030/23125-042", "+49 (0)30 23125042", "30 23125042"] {
        assert_eq!(Phone::parse(text, &home).unwrap().as_str(), "+493023125042", "{text}");
    }
    let italy = HomeDial::parse("39").unwrap();
    assert_eq!(Phone::parse("06 5550 0123", &italy).unwrap().as_str(), "+390655500123");
    for (text, why) in [
        ("", PhoneRefused::Missing),
        ("call me", PhoneRefused::Letter),
        ("+49+30", PhoneRefused::Letter),
        ("٠٣٠٢٣١٢٥", PhoneRefused::Letter),
        ("+0 123 456 789", PhoneRefused::Country),
        ("+49 12", PhoneRefused::TooShort),
        ("+4930231250421234", PhoneRefused::TooLong),
    ] {
        assert_eq!(Phone::parse(text, &home), Err(why), "{text:?}");
    }
    for text in ["", "+", "0", "+049", "4999", "4a"] {
        assert_eq!(HomeDial::parse(text), Err(HomeDialRefused), "{text}");
    }
}

#[test]
fn age_counts_completed_years() {
    let today = date!(2026 - 03 - 01);
    let born = |text| BirthDate::parse(text, today).unwrap();
    assert_eq!(born("2008-03-01").age_on(today), 18);
    assert_eq!(born("2008-03-02").age_on(today), 17);
    assert_eq!(born("2008-02-29").age_on(date!(2026 - 02 - 28)), 17);
    assert_eq!(born("2008-02-29").age_on(today), 18);
    assert_eq!(born("2008-02-29").age_on(date!(2000 - 01 - 01)), 0);
}

#[test]
fn days_of_birth_are_checked() {
    let today = date!(2026 - 03 - 01);
    for (text, why) in [
        ("", BirthDateRefused::Missing),
        ("2026-03-02", BirthDateRefused::Future),
        ("1905-12-31", BirthDateRefused::TooOld),
        ("2001-02-29", BirthDateRefused::NotADate),
        ("2001-2-9", BirthDateRefused::NotADate),
        ("01.02.2001", BirthDateRefused::NotADate),
        ("2001-02-09-01", BirthDateRefused::NotADate),
        ("+001-02-09", BirthDateRefused::NotADate),
    ] {
        assert_eq!(BirthDate::parse(text, today), Err(why), "{text:?}");
    }
}

#[test]
fn debug_shows_nothing() {
    let home = HomeDial::parse("49").unwrap();
    let shown = format!(
        "{:?} {:?} {:?} {:?}",
        PersonName::parse("Mia").unwrap(),
        Mail::parse("mia@example.org").unwrap(),
        Phone::parse("+493023125042", &home).unwrap(),
        BirthDate::parse("1994-05-30", date!(2026 - 01 - 01)).unwrap(),
    );
    assert_eq!(shown, "PersonName(hidden) Mail(hidden) Phone(hidden) BirthDate(hidden)");
}

proptest! {
    #[test]
    fn nothing_typed_breaks_the_readers(text in "\\PC{0,80}") {
        let home = HomeDial::parse("49").unwrap();
        if let Ok(name) = PersonName::parse(&text) {
            prop_assert_eq!(PersonName::parse(name.as_str()), Ok(name));
        }
        if let Ok(mail) = Mail::parse(&text) {
            prop_assert_eq!(Mail::parse(mail.as_str()), Ok(mail));
        }
        if let Ok(phone) = Phone::parse(&text, &home) {
            prop_assert_eq!(Phone::parse(phone.as_str(), &home), Ok(phone));
        }
        let _ = BirthDate::parse(&text, date!(2026 - 01 - 01));
    }
}

#[test]
fn two_people_are_taken_for_one_by_their_name_in_small_letters() {
    let name = |text| PersonName::parse(text).unwrap();
    assert_eq!(name("Élodie van Dijk").key(), "élodie van dijk");
    assert_eq!(name("Élodie van der Berg").initials(), "Évd");
}

#[test]
fn codes_numbers_and_addresses_are_taken_up_to_their_limits() {
    for (text, digits) in [("+1", "1"), ("49", "49"), ("+378", "378")] {
        assert_eq!(HomeDial::parse(text).unwrap().digits(), digits);
    }
    for bad in ["", "+", "0", "1234", "+4a"] {
        assert!(HomeDial::parse(bad).is_err(), "{bad}");
    }
    let home = HomeDial::parse("49").unwrap();
    let spaced = |length: usize| format!("+49{}3023125042", " ".repeat(length - 13));
    assert!(Phone::parse(&spaced(60), &home).is_ok());
    for length in [61, 80] {
        assert_eq!(Phone::parse(&spaced(length), &home), Err(PhoneRefused::TooLong), "{length}");
    }
    // RFC 1035, section 2.3.4: a label has 63 octets at most.
    let mail = |label: usize| Mail::parse(&format!("a@{}.b.example.org", "c".repeat(label)));
    assert!(mail(1).is_ok() && mail(63).is_ok());
    assert_eq!(mail(64), Err(MailRefused::Domain));
    // RFC 3696, erratum 1690: an address has 254 octets at most.
    let long = |length: usize| {
        let domain = ["c".repeat(63), "d".repeat(63), "e".repeat(63), "example.org".to_owned()].join(".");
        Mail::parse(&format!("{}@{domain}", "a".repeat(length - domain.len() - 1)))
    };
    assert!(long(254).is_ok());
    assert_eq!(long(255), Err(MailRefused::TooLong));
    let born = |date| BirthDate::of(date, date!(2026 - 03 - 02));
    assert!(born(date!(1906 - 01 - 01)).is_ok() && born(date!(2026 - 03 - 02)).is_ok());
    assert_eq!(born(date!(1905 - 12 - 31)), Err(BirthDateRefused::TooOld));
}

#[test]
fn a_zero_in_brackets_is_left_out_once() {
    let home = HomeDial::parse("49").unwrap();
    assert_eq!(Phone::parse("+49 (0)30 23(0)12504", &home).unwrap().as_str(), "+493023012504");
}
