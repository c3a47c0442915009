//! How days and times are written for people. The clock has 24 hours.

use time::{Date, Duration, PrimitiveDateTime};

use crate::language::{month, short_weekday, weekday};
use crate::{tf, tn};

fn dated(weekday: &str, date: Date) -> String {
    tf("{weekday} {day} {month} {year}")
        .with("weekday", weekday)
        .with("day", date.day())
        .with("month", month(date.month()))
        .with("year", date.year())
        .to_string()
}

/// `Tuesday 3 March 2026`
pub fn day(date: Date) -> String {
    dated(weekday(date.weekday()), date)
}

/// `Tue 3 March 2026`
pub fn short_date(date: Date) -> String {
    dated(short_weekday(date.weekday()), date)
}

/// `Tue 3 March`
pub fn short_day(date: Date) -> String {
    tf("{weekday} {day} {month}")
        .with("weekday", short_weekday(date.weekday()))
        .with("day", date.day())
        .with("month", month(date.month()))
        .to_string()
}

/// `14:30`
pub fn clock(civil: PrimitiveDateTime) -> String {
    format!("{:02}:{:02}", civil.hour(), civil.minute())
}

/// `Tuesday 3 March 2026, 14:30`
pub fn moment(civil: PrimitiveDateTime) -> String {
    tf("{day}, {time}").with("day", day(civil.date())).with("time", clock(civil)).to_string()
}

/// `1 minute`, `50 minutes`, `1 hour`, `1 hour 15 minutes`
pub fn length(minutes: u16) -> String {
    let hours = |n: u16| tn("{n} hour", "{n} hours", n);
    let minute = |n: u16| tn("{n} minute", "{n} minutes", n);
    match (minutes / 60, minutes % 60) {
        (0, m) => minute(m).to_string(),
        (h, 0) => hours(h).to_string(),
        (h, m) => tf("{hours} {minutes}").with("hours", hours(h)).with("minutes", minute(m)).to_string(),
    }
}

/// `45 s`, `6 min`, `6 min 5 s`
pub fn stretch(length: Duration) -> String {
    match (length.whole_seconds() / 60, length.whole_seconds() % 60) {
        (0, s) => format!("{s} s"),
        (m, 0) => format!("{m} min"),
        (m, s) => format!("{m} min {s} s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    #[test]
    fn days_and_times_read_as_people_write_them() {
        let civil = datetime!(2026-03-03 09:05);
        assert_eq!(moment(civil), "Tuesday 3 March 2026, 09:05");
        assert_eq!(short_day(civil.date()), "Tue 3 March");
    }

    #[test]
    fn stretches_are_told_to_the_second() {
        assert_eq!([45, 360, 365].map(|s| stretch(Duration::seconds(s))), ["45 s", "6 min", "6 min 5 s"]);
    }

    #[test]
    fn lengths_have_their_plural() {
        for (minutes, words) in
            [(1, "1 minute"), (10, "10 minutes"), (60, "1 hour"), (75, "1 hour 15 minutes"), (121, "2 hours 1 minute")]
        {
            assert_eq!(length(minutes), words);
        }
    }
}
