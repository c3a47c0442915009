//! When somebody was born.

use time::{Date, Month};

use crate::t;

/// A day of birth.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BirthDate(Date);

/// Why a text or day is not a day of birth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BirthDateRefused {
    /// Nothing but spaces.
    #[error("{}", t("a date of birth is missing"))]
    Missing,
    /// Not a day of the calendar, written year-month-day.
    #[error("{}", t("a date is written like 1994-05-30"))]
    NotADate,
    /// After today.
    #[error("{}", t("the date of birth lies in the future"))]
    Future,
    /// More than 120 years ago.
    #[error("{}", t("the date of birth lies more than 120 years back"))]
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
pub(in crate::domain) fn iso_date(text: &str) -> Option<Date> {
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
