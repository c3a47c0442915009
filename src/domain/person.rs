//! What is known of a person, read and checked. `Debug` shows none of it, so that it stays out of logs.

use std::fmt;

use time::{Date, Month};

/// A person's name as she writes it, 1 to 100 characters, inner spaces single.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PersonName(String);

/// Why a text is not a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PersonNameRefused {
    /// Nothing but spaces.
    #[error("a name is missing")]
    Missing,
    /// More than `most` characters.
    #[error("a name has at most {most} characters")]
    TooLong {
        /// The limit.
        most: usize,
    },
    /// A control character, a line break, or a mark that changes the direction of writing.
    #[error("a name has no control characters")]
    Control,
    /// No letter in it.
    #[error("a name has a letter")]
    NoLetter,
}

impl PersonName {
    /// The most characters that a name has.
    pub const MOST: usize = 100;

    /// Reads a name; spaces around it go, spaces within become single.
    ///
    /// # Errors
    /// See [`PersonNameRefused`].
    pub fn parse(text: &str) -> Result<Self, PersonNameRefused> {
        let text = text.trim();
        if text.chars().any(is_control) {
            return Err(PersonNameRefused::Control);
        }
        let name = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if name.is_empty() {
            Err(PersonNameRefused::Missing)
        } else if name.chars().count() > Self::MOST {
            Err(PersonNameRefused::TooLong { most: Self::MOST })
        } else if !name.chars().any(char::is_alphabetic) {
            Err(PersonNameRefused::NoLetter)
        } else {
            Ok(Self(name))
        }
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The name by which two people are taken for one: in small letters.
    pub fn key(&self) -> String {
        self.0.to_lowercase()
    }

    /// The first letter of each word, at most three, for calendars that others may see.
    pub fn initials(&self) -> String {
        self.0.split(' ').filter_map(|word| word.chars().find(|c| c.is_alphabetic())).take(3).collect()
    }
}

/// Controls (Unicode category Cc), line and paragraph separators, and the bidirectional controls of UAX #9.
pub(super) fn is_control(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200E}' | '\u{200F}' | '\u{061C}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}')
}

/// A mail address: ASCII, at most 254 octets, the domain in lower case.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mail(String);

/// Why a text is not a mail address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MailRefused {
    /// Nothing but spaces.
    #[error("a mail address is missing")]
    Missing,
    /// Over 254 octets, or over 64 before the @ (RFC 5321 §4.5.3.1).
    #[error("the mail address is too long")]
    TooLong,
    /// A letter outside ASCII.
    #[error("a mail address has only the letters a-z, digits and signs")]
    NotAscii,
    /// Not one `@` with something on both sides.
    #[error("a mail address is written like name@example.org")]
    NoAt,
    /// What stands before the @ is not a dot-atom (RFC 5322 §3.2.3).
    #[error("the part before the @ is not right")]
    Name,
    /// What stands after the @ is not a domain of two labels or more (RFC 1035 §2.3.1).
    #[error("the part after the @ is not right")]
    Domain,
}

impl Mail {
    /// Reads a mail address. Quoted names and address literals, which nobody types into a form, are refused.
    ///
    /// # Errors
    /// See [`MailRefused`].
    pub fn parse(text: &str) -> Result<Self, MailRefused> {
        let text = text.trim();
        if text.is_empty() {
            return Err(MailRefused::Missing);
        }
        if text.len() > 254 {
            return Err(MailRefused::TooLong);
        }
        if !text.is_ascii() {
            return Err(MailRefused::NotAscii);
        }
        let (name, domain) = text.split_once('@').ok_or(MailRefused::NoAt)?;
        if name.is_empty() || domain.is_empty() || domain.contains('@') {
            return Err(MailRefused::NoAt);
        }
        if name.len() > 64 {
            return Err(MailRefused::TooLong);
        }
        let atom = |b: u8| b.is_ascii_alphanumeric() || b"!#$%&'*+-/=?^_`{|}~".contains(&b);
        if !name.split('.').all(|part| !part.is_empty() && part.bytes().all(atom)) {
            return Err(MailRefused::Name);
        }
        let label = |part: &str| {
            (1..=63).contains(&part.len())
                && !part.starts_with('-')
                && !part.ends_with('-')
                && part.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
        };
        let top = domain.rsplit('.').next().unwrap_or_default();
        if !domain.contains('.') || !domain.split('.').all(label) || top.bytes().all(|b| b.is_ascii_digit()) {
            return Err(MailRefused::Domain);
        }
        Ok(Self(format!("{name}@{}", domain.to_ascii_lowercase())))
    }

    /// The address to send to.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The address to look people up by: lower case throughout. RFC 5321 §2.4 lets a host tell `A` from `a` before
    /// the @, but people do not.
    pub fn key(&self) -> String {
        self.0.to_ascii_lowercase()
    }
}

/// The country that a telephone number belongs to when it is typed without one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HomeDial(String);

/// Why a text is not a country code: 1 to 3 digits, the first not 0 (ITU-T E.164 §6.2.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a country code is written like +49")]
pub struct HomeDialRefused;

impl HomeDial {
    /// Reads `+49` or `49`.
    ///
    /// # Errors
    /// [`HomeDialRefused`] for any other text.
    pub fn parse(text: &str) -> Result<Self, HomeDialRefused> {
        let text = text.trim();
        let digits = text.strip_prefix('+').unwrap_or(text);
        let good =
            (1..=3).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit()) && !digits.starts_with('0');
        if good { Ok(Self(digits.to_owned())) } else { Err(HomeDialRefused) }
    }

    /// The digits of the code, without `+`.
    pub fn digits(&self) -> &str {
        &self.0
    }

    /// Most countries drop the leading 0 of a national number; Italy and San Marino keep it (from memory).
    fn keeps_zero(&self) -> bool {
        matches!(self.0.as_str(), "39" | "378")
    }
}

/// A telephone number in the form of ITU-T E.164: `+` and 7 to 15 digits.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Phone(String);

/// Why a text is not a telephone number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PhoneRefused {
    /// Nothing but spaces.
    #[error("a telephone number is missing")]
    Missing,
    /// Something other than digits, a leading `+`, and spaces or `-./()` between.
    #[error("a telephone number has only digits, with a + before them")]
    Letter,
    /// Fewer than 7 digits with the country code.
    #[error("the telephone number is too short")]
    TooShort,
    /// More than 15 digits with the country code.
    #[error("the telephone number is too long")]
    TooLong,
    /// A country code does not start with 0.
    #[error("the country code is not right")]
    Country,
}

impl Phone {
    /// Reads `+49 30 901820`, `0049 30 901820`, `+49 (0)30 901820`, or `030 901820` at home.
    ///
    /// # Errors
    /// See [`PhoneRefused`].
    pub fn parse(text: &str, home: &HomeDial) -> Result<Self, PhoneRefused> {
        let text = text.trim();
        if text.is_empty() {
            return Err(PhoneRefused::Missing);
        }
        if text.len() > 60 {
            return Err(PhoneRefused::TooLong);
        }
        let (typed_plus, rest) = text.strip_prefix('+').map_or((false, text), |rest| (true, rest));
        let rest = if typed_plus { rest.replacen("(0)", "", 1) } else { rest.to_owned() };
        let between = |c: char| matches!(c, ' ' | '\u{A0}' | '-' | '.' | '/' | '(' | ')');
        let digits: String = rest.chars().filter(|c| !between(*c)).collect();
        if !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(PhoneRefused::Letter);
        }
        let full = if typed_plus {
            digits
        } else if let Some(abroad) = digits.strip_prefix("00") {
            abroad.to_owned()
        } else {
            let national = if home.keeps_zero() { &digits } else { digits.strip_prefix('0').unwrap_or(&digits) };
            format!("{}{national}", home.0)
        };
        match full.len() {
            _ if full.starts_with('0') => Err(PhoneRefused::Country),
            0..=6 => Err(PhoneRefused::TooShort),
            7..=15 => Ok(Self(format!("+{full}"))),
            _ => Err(PhoneRefused::TooLong),
        }
    }

    /// Reads a number that is in the form of E.164 already.
    ///
    /// # Errors
    /// See [`PhoneRefused`].
    pub fn parse_e164(text: &str) -> Result<Self, PhoneRefused> {
        let digits = text.strip_prefix('+').ok_or(PhoneRefused::Country)?;
        // A number with its country needs no home, so any will do.
        Self::parse(&format!("+{digits}"), &HomeDial(String::new()))
    }

    /// The number with its `+`.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// A day of birth.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BirthDate(Date);

/// Why a text or day is not a day of birth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BirthDateRefused {
    /// Nothing but spaces.
    #[error("a date of birth is missing")]
    Missing,
    /// Not a day of the calendar, written year-month-day.
    #[error("a date is written like 1994-05-30")]
    NotADate,
    /// After today.
    #[error("the date of birth lies in the future")]
    Future,
    /// More than 120 years ago.
    #[error("the date of birth lies more than 120 years back")]
    TooOld,
}

impl BirthDate {
    /// Reads `1994-05-30`, as date fields of a page send it.
    ///
    /// # Errors
    /// See [`BirthDateRefused`].
    pub fn parse(text: &str, today: Date) -> Result<Self, BirthDateRefused> {
        let text = text.trim();
        if text.is_empty() {
            return Err(BirthDateRefused::Missing);
        }
        let date = iso_date(text).ok_or(BirthDateRefused::NotADate)?;
        Self::of(date, today)
    }

    /// Takes a day.
    ///
    /// # Errors
    /// See [`BirthDateRefused`].
    pub fn of(date: Date, today: Date) -> Result<Self, BirthDateRefused> {
        if date > today {
            Err(BirthDateRefused::Future)
        } else if today.year() - date.year() > 120 {
            Err(BirthDateRefused::TooOld)
        } else {
            Ok(Self(date))
        }
    }

    /// The day.
    pub fn date(self) -> Date {
        self.0
    }

    /// Completed years on `today`; 0 before the birth. Who was born on 29 February turns a year older on 1 March of a
    /// common year: the later of the two usual readings, so that nobody is taken for older than she is.
    pub fn age_on(self, today: Date) -> u8 {
        let had_birthday = (today.month(), today.day()) >= (self.0.month(), self.0.day());
        let years = today.year() - self.0.year() - i32::from(!had_birthday);
        u8::try_from(years.max(0)).unwrap_or(u8::MAX)
    }
}

/// Four digits, two, two, and nothing else.
pub(super) fn iso_date(text: &str) -> Option<Date> {
    let mut parts = text.split('-');
    let mut number = |digits: usize| {
        let part = parts.next().filter(|p| p.len() == digits && p.bytes().all(|b| b.is_ascii_digit()))?;
        part.parse::<u16>().ok()
    };
    let (year, month, day) = (number(4)?, number(2)?, number(2)?);
    if parts.next().is_some() {
        return None;
    }
    let month = Month::try_from(u8::try_from(month).ok()?).ok()?;
    Date::from_calendar_date(i32::from(year), month, u8::try_from(day).ok()?).ok()
}

macro_rules! hidden {
    ($($name:ident),+) => {$(
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(concat!(stringify!($name), "(hidden)"))
            }
        }
    )+};
}

hidden!(PersonName, Mail, Phone, BirthDate);

#[cfg(test)]
mod tests {
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
}
