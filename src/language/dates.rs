//! Names of days and months, and the mark in a number: what every module writes in the same way.

use time::{Date, Month, Weekday};

use super::{t, tc, tf};

/// `Tuesday`
pub fn weekday(day: Weekday) -> &'static str {
    match day {
        Weekday::Monday => t("Monday"),
        Weekday::Tuesday => t("Tuesday"),
        Weekday::Wednesday => t("Wednesday"),
        Weekday::Thursday => t("Thursday"),
        Weekday::Friday => t("Friday"),
        Weekday::Saturday => t("Saturday"),
        Weekday::Sunday => t("Sunday"),
    }
}

/// `Tue`
pub fn short_weekday(day: Weekday) -> &'static str {
    match day {
        Weekday::Monday => tc("short", "Mon"),
        Weekday::Tuesday => tc("short", "Tue"),
        Weekday::Wednesday => tc("short", "Wed"),
        Weekday::Thursday => tc("short", "Thu"),
        Weekday::Friday => tc("short", "Fri"),
        Weekday::Saturday => tc("short", "Sat"),
        Weekday::Sunday => tc("short", "Sun"),
    }
}

/// `March`
pub fn month(month: Month) -> &'static str {
    match month {
        Month::January => t("January"),
        Month::February => t("February"),
        Month::March => t("March"),
        Month::April => t("April"),
        Month::May => tc("month", "May"),
        Month::June => t("June"),
        Month::July => t("July"),
        Month::August => t("August"),
        Month::September => t("September"),
        Month::October => t("October"),
        Month::November => t("November"),
        Month::December => t("December"),
    }
}

/// `Mar`
pub fn short_month(name: Month) -> String {
    month(name).chars().take(3).collect()
}

/// `3 March 2026`
pub fn date(day: Date) -> String {
    let said = tf("{day} {month} {year}").with("day", day.day());
    said.with("month", month(day.month())).with("year", day.year()).to_string()
}

/// A plain number such as `8.5` with its decimal mark, to be read and not to be typed.
pub fn decimal(plain: &str) -> String {
    plain.replace('.', tc("decimal mark", "."))
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::super::Language;
    use super::*;

    #[test]
    fn dates_and_numbers_read_as_each_language_writes_them() {
        let said = || [date(date!(2026 - 05 - 01)), short_month(Month::March), decimal("8.5")];
        assert_eq!(said(), ["1 May 2026", "Mar", "8.5"]);
        assert_eq!(Language::German.within(said), ["1. Mai 2026", "Mär", "8,5"]);
    }
}
