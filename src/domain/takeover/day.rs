//! Days as spreadsheets write them.

use serde::{Deserialize, Serialize};
use time::{Date, Month};

use crate::t;

/// What comes first where a day is written with the year at its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DayOrder {
    /// 30.5.1994
    DayFirst,
    /// 5/30/1994
    MonthFirst,
}

/// Why a text is no day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DayRefused {
    /// Nothing there.
    #[error("{}", t("is missing"))]
    Missing,
    /// Two digits for a year can mean two centuries.
    #[error("{}", t("has a year of two digits, which could be of either century"))]
    ShortYear,
    /// Anything else that is no day.
    #[error("{}", t("is no day of the calendar"))]
    NotADay,
}

/// Reads `1994-05-30`, `30.5.1994`, `30/05/1994` or, the month first, `5/30/1994`; a time of day after it is passed over.
///
/// # Errors
/// [`DayRefused`]
pub fn read_day(text: &str, order: DayOrder) -> Result<Date, DayRefused> {
    let text = text.trim();
    if text.is_empty() {
        return Err(DayRefused::Missing);
    }
    let text = text.split([' ', 'T', '\u{A0}']).next().unwrap_or_default();
    let parts: Vec<&str> = text.split(['-', '.', '/']).collect();
    let all_digits = |part: &&str| part.bytes().all(|b| b.is_ascii_digit());
    let &[first, second, third] = parts.as_slice() else { return Err(DayRefused::NotADay) };
    if ![first, second, third].iter().all(all_digits) {
        return Err(DayRefused::NotADay);
    }
    let (year, month, day) = match (first.len(), second.len(), third.len(), order) {
        (4, 1..=2, 1..=2, _) => (first, second, third),
        (1..=2, 1..=2, 4, DayOrder::DayFirst) => (third, second, first),
        (1..=2, 1..=2, 4, DayOrder::MonthFirst) => (third, first, second),
        (1..=2, 1..=2, 1..=2, _) => return Err(DayRefused::ShortYear),
        _ => return Err(DayRefused::NotADay),
    };
    let number = |part: &str| part.parse::<u16>().map_err(|_| DayRefused::NotADay);
    let month = u8::try_from(number(month)?).ok().and_then(|month| Month::try_from(month).ok());
    let day = u8::try_from(number(day)?).map_err(|_| DayRefused::NotADay)?;
    let month = month.ok_or(DayRefused::NotADay)?;
    Date::from_calendar_date(i32::from(number(year)?), month, day).map_err(|_| DayRefused::NotADay)
}
