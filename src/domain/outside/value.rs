//! Lines and values of a calendar file.

use time::{Date, Duration, Month, PrimitiveDateTime, Time};

/// One line: its name, its parameters, its value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Line {
    pub(super) name: String,
    parameters: Vec<(String, String)>,
    pub(super) value: String,
}

impl Line {
    /// Reads one unfolded line; nothing when it has no colon.
    fn read(text: &str) -> Option<Self> {
        let (mut quoted, mut colon) = (false, None);
        for (at, c) in text.char_indices() {
            match c {
                '"' => quoted = !quoted,
                ':' if !quoted => {
                    colon = Some(at);
                    break;
                }
                _ => {}
            }
        }
        let (head, value) = text.split_at_checked(colon?)?;
        let mut parts = split_outside_quotes(head, ';').into_iter();
        let name = parts.next()?.to_ascii_uppercase();
        let parameter = |part: &str| {
            let (name, value) = part.split_once('=')?;
            Some((name.to_ascii_uppercase(), value.trim_matches('"').to_owned()))
        };
        let parameters = parts.filter_map(|part| parameter(&part)).collect();
        Some(Self { name, parameters, value: value.get(1..)?.to_owned() })
    }

    pub(super) fn parameter(&self, name: &str) -> Option<&str> {
        self.parameters.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }
}

fn split_outside_quotes(text: &str, by: char) -> Vec<String> {
    let (mut parts, mut quoted) = (vec![String::new()], false);
    for c in text.chars() {
        if c == '"' {
            quoted = !quoted;
        }
        if c == by && !quoted {
            parts.push(String::new());
        } else if let Some(last) = parts.last_mut() {
            last.push(c);
        }
    }
    parts
}

/// All lines, unfolded (RFC 5545, section 3.1).
pub(super) fn lines(text: &str) -> Vec<Line> {
    let mut unfolded: Vec<String> = Vec::new();
    for physical in text.trim_start_matches('\u{feff}').split('\n') {
        let physical = physical.strip_suffix('\r').unwrap_or(physical);
        match (physical.strip_prefix([' ', '\t']), unfolded.last_mut()) {
            (Some(rest), Some(last)) => last.push_str(rest),
            _ => unfolded.push(physical.to_owned()),
        }
    }
    unfolded.iter().filter_map(|line| Line::read(line)).collect()
}

/// A moment as the file writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moment {
    /// A whole day.
    Day(Date),
    /// What a clock shows.
    Civil(PrimitiveDateTime),
    /// In UTC.
    Utc(PrimitiveDateTime),
}

impl Moment {
    pub(super) fn read(text: &str) -> Option<Self> {
        let text = text.trim();
        let date = date(text.get(..8)?)?;
        let Some(rest) = text.get(8..).filter(|rest| !rest.is_empty()) else { return Some(Self::Day(date)) };
        let clock = rest.strip_prefix('T')?;
        let (clock, utc) = clock.strip_suffix('Z').map_or((clock, false), |clock| (clock, true));
        if clock.len() != 6 {
            return None;
        }
        let part = |range: std::ops::Range<usize>| number(clock.get(range)?);
        // A leap second counts as the one before.
        let time = Time::from_hms(part(0..2)?, part(2..4)?, part(4..6)?.min(59)).ok()?;
        let civil = PrimitiveDateTime::new(date, time);
        Some(if utc { Self::Utc(civil) } else { Self::Civil(civil) })
    }

    /// The same without saying in which zone; a day begins at midnight.
    pub(super) fn civil(self) -> PrimitiveDateTime {
        match self {
            Self::Day(date) => PrimitiveDateTime::new(date, Time::MIDNIGHT),
            Self::Civil(civil) | Self::Utc(civil) => civil,
        }
    }
}

fn number(text: &str) -> Option<u8> {
    text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse().ok()).flatten()
}

fn date(text: &str) -> Option<Date> {
    if text.len() != 8 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let year: i32 = text.get(..4)?.parse().ok()?;
    let month = Month::try_from(number(text.get(4..6)?)?).ok()?;
    Date::from_calendar_date(year, month, number(text.get(6..8)?)?).ok()
}

/// A length such as `PT1H30M`, `P2D`, `P1W`.
pub(super) fn length(text: &str) -> Option<Duration> {
    let text = text.trim().trim_start_matches('+');
    let mut rest = text.strip_prefix('P')?;
    let (mut total, mut digits, mut clock) = (Duration::ZERO, String::new(), false);
    while let Some(c) = rest.chars().next() {
        rest = rest.get(c.len_utf8()..)?;
        if c.is_ascii_digit() {
            digits.push(c);
            continue;
        }
        if c == 'T' {
            clock = true;
            continue;
        }
        let count: i64 = digits.parse().ok().filter(|count| *count < 1_000_000)?;
        digits.clear();
        total += match (c, clock) {
            ('W', false) => Duration::weeks(count),
            ('D', false) => Duration::days(count),
            ('H', true) => Duration::hours(count),
            ('M', true) => Duration::minutes(count),
            ('S', true) => Duration::seconds(count),
            _ => return None,
        };
    }
    digits.is_empty().then_some(total)
}

/// An offset such as `+0100` or `-033000`, in seconds.
pub(super) fn offset(text: &str) -> Option<i64> {
    let text = text.trim();
    let (sign, digits) = match text.as_bytes().first()? {
        b'+' => (1, text.get(1..)?),
        b'-' => (-1, text.get(1..)?),
        _ => return None,
    };
    let part = |range: std::ops::Range<usize>| digits.get(range).map_or(Some(0), number).map(i64::from);
    Some(sign * (part(0..2)? * 3600 + part(2..4)? * 60 + part(4..6)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::{date, datetime};

    #[test]
    fn lines_are_unfolded_and_taken_apart() {
        let read = lines(
            "\u{feff}DTSTART;TZID=\"A:B;C\";VALUE=DATE-TIME:2026\r\n 0301T1\r\n\t00000\r\nno colon\nSUMMARY:a:b\r\n",
        );
        assert_eq!(read.len(), 2);
        assert_eq!(
            (read[0].name.as_str(), read[0].parameter("TZID"), read[0].value.as_str()),
            ("DTSTART", Some("A:B;C"), "20260301T100000")
        );
        assert_eq!(read[1].value, "a:b");
    }

    #[test]
    fn moments_lengths_and_offsets() {
        assert_eq!(Moment::read("20260301"), Some(Moment::Day(date!(2026 - 03 - 01))));
        assert_eq!(Moment::read("20260301T101500"), Some(Moment::Civil(datetime!(2026-03-01 10:15))));
        assert_eq!(Moment::read("20260301T101560Z"), Some(Moment::Utc(datetime!(2026-03-01 10:15:59))));
        for bad in ["", "2026", "20260230", "20260301T10", "20260301T1015000", "2026030aT101500", "20260301X101500"] {
            assert_eq!(Moment::read(bad), None, "{bad}");
        }
        assert_eq!(length("P1DT2H3M4S"), Some(Duration::seconds(86_400 + 7200 + 180 + 4)));
        assert_eq!(length("P2W"), Some(Duration::weeks(2)));
        for bad in ["", "1H", "PT1", "P1H", "PTXM", "PT99999999H"] {
            assert_eq!(length(bad), None, "{bad}");
        }
        assert_eq!((offset("+0130"), offset("-003005"), offset("0100")), (Some(5400), Some(-1805), None));
    }

    #[test]
    fn days_are_eight_digits_and_lengths_are_bounded() {
        for bad in ["2026-3-1", "202603011", "2026030", "20261301", "20260001", "٢٠٢٦"] {
            assert_eq!(date(bad), None, "{bad}");
        }
        assert_eq!(date("20261231"), Some(date!(2026 - 12 - 31)));
        assert_eq!((length("PT999999S"), length("PT1000000S")), (Some(Duration::seconds(999_999)), None));
        assert_eq!(offset("+123456"), Some(12 * 3600 + 34 * 60 + 56));
    }
}
