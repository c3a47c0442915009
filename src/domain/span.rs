//! A wait in days or in calendar months.

use serde::{Deserialize, Serialize};
use time::{Date, Duration, OffsetDateTime};

/// A length of time as rules state it. Months are calendar months: one month after 31 January is
/// the last day of February.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Span {
    /// Whole days.
    Days(u16),
    /// Calendar months.
    Months(u16),
}

impl Span {
    /// The day on which the span has passed since `day`; the last day that can be named when it
    /// would lie beyond.
    pub fn after(self, day: Date) -> Date {
        match self {
            Self::Days(days) => day.checked_add(Duration::days(i64::from(days))).unwrap_or(Date::MAX),
            Self::Months(months) => add_months(day, months),
        }
    }

    /// The same time of day, the span later.
    pub fn after_moment(self, moment: OffsetDateTime) -> OffsetDateTime {
        moment.replace_date(self.after(moment.date()))
    }
}

fn add_months(day: Date, months: u16) -> Date {
    let index = i32::from(u8::from(day.month())) - 1 + i32::from(months);
    let year = day.year() + index.div_euclid(12);
    let month = u8::try_from(index.rem_euclid(12) + 1).ok().and_then(|number| time::Month::try_from(number).ok());
    month
        .and_then(|month| Date::from_calendar_date(year, month, day.day().min(month.length(year))).ok())
        .unwrap_or(Date::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn months_end_on_the_last_day_when_the_day_is_missing() {
        assert_eq!(Span::Months(1).after(date!(2026 - 01 - 31)), date!(2026 - 02 - 28));
        assert_eq!(Span::Months(1).after(date!(2028 - 01 - 31)), date!(2028 - 02 - 29));
        assert_eq!(Span::Months(6).after(date!(2026 - 08 - 31)), date!(2027 - 02 - 28));
        assert_eq!(Span::Months(12).after(date!(2026 - 03 - 09)), date!(2027 - 03 - 09));
    }

    #[test]
    fn days_cross_months_and_the_far_end_stays_put() {
        assert_eq!(Span::Days(14).after(date!(2026 - 02 - 20)), date!(2026 - 03 - 06));
        assert_eq!(Span::Days(1).after(Date::MAX), Date::MAX);
        assert_eq!(Span::Months(1).after(Date::MAX), Date::MAX);
    }
}
