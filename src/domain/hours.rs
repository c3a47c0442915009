//! Weekly hours, breaks, days with other hours, days off.
//!
//! Hours are civil: minutes from midnight of a day in the studio's zone. What they mean as instants, also on a day
//! that lacks or repeats an hour, is `schedule`'s business.

use std::{collections::BTreeMap, fmt};

use time::{Date, Weekday};

/// Midnight at the end of a day, in minutes.
pub const DAY_MINUTES: u16 = 24 * 60;

/// A stretch of work on one day: from `opens` up to `closes`, in minutes from midnight, 0 to 1440.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OpenSpan {
    opens: u16,
    closes: u16,
}

/// Why hours are refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum HoursRefused {
    /// Not a time of day like `9:30`; `24:00` ends a day.
    #[error("a time of day is written like 9:30")]
    NotATime,
    /// Not two times with a dash between.
    #[error("hours are written like 9:00-12:30")]
    NotASpan,
    /// It closes before or when it opens, or after midnight.
    #[error("hours from {} to {} do not fit a day", clock(*opens), clock(*closes))]
    Reversed {
        /// In minutes from midnight.
        opens: u16,
        /// In minutes from midnight.
        closes: u16,
    },
    /// Two stretches of a day share time, the later of which opens at `opens`.
    #[error("hours overlap at {}", clock(*opens))]
    Overlap {
        /// In minutes from midnight.
        opens: u16,
    },
    /// More stretches a day than `most`.
    #[error("a day has at most {most} stretches of work")]
    TooMany {
        /// The limit.
        most: usize,
    },
    /// Not 1 (Monday) to 7.
    #[error("a week has the days 1 to 7, not {weekday}")]
    Weekday {
        /// What was given.
        weekday: u8,
    },
    /// Two sets of hours for one date.
    #[error("{date} has its hours twice")]
    SameDate {
        /// The date.
        date: Date,
    },
}

impl OpenSpan {
    /// Takes minutes from midnight.
    ///
    /// # Errors
    /// [`HoursRefused::Reversed`] unless `opens < closes <= 1440`.
    pub fn parse(opens: u16, closes: u16) -> Result<Self, HoursRefused> {
        if opens < closes && closes <= DAY_MINUTES {
            Ok(Self { opens, closes })
        } else {
            Err(HoursRefused::Reversed { opens, closes })
        }
    }

    /// The first minute of work, from midnight.
    pub fn opens(self) -> u16 {
        self.opens
    }

    /// The minute at which work is over, from midnight.
    pub fn closes(self) -> u16 {
        self.closes
    }
}

/// The hours of one day in order, with breaks between them; none means closed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DayHours(Vec<OpenSpan>);

impl DayHours {
    /// The most stretches of work a day has.
    pub const MOST: usize = 8;

    /// Takes stretches in any order; those that touch become one.
    ///
    /// # Errors
    /// [`HoursRefused::Overlap`] or [`HoursRefused::TooMany`].
    pub fn parse(spans: impl IntoIterator<Item = OpenSpan>) -> Result<Self, HoursRefused> {
        let mut sorted: Vec<_> = spans.into_iter().collect();
        sorted.sort_unstable();
        let mut day: Vec<OpenSpan> = Vec::with_capacity(sorted.len());
        for span in sorted {
            match day.last_mut() {
                Some(last) if span.opens < last.closes => return Err(HoursRefused::Overlap { opens: span.opens }),
                Some(last) if span.opens == last.closes => last.closes = span.closes,
                _ => day.push(span),
            }
        }
        if day.len() > Self::MOST { Err(HoursRefused::TooMany { most: Self::MOST }) } else { Ok(Self(day)) }
    }

    /// Reads one form field: `9:00-12:30, 13:15-18:00`; nothing means closed.
    ///
    /// # Errors
    /// See [`HoursRefused`].
    pub fn parse_text(text: &str) -> Result<Self, HoursRefused> {
        let mut spans = Vec::new();
        for part in text.split([',', ';']).map(str::trim).filter(|part| !part.is_empty()) {
            let (opens, closes) = part.split_once(['-', '–']).ok_or(HoursRefused::NotASpan)?;
            spans.push(OpenSpan::parse(parse_clock(opens)?, parse_clock(closes)?)?);
        }
        Self::parse(spans)
    }

    /// The stretches in order.
    pub fn spans(&self) -> &[OpenSpan] {
        &self.0
    }

    /// What lies within both.
    #[must_use]
    pub fn within(&self, other: &Self) -> Self {
        let both =
            self.0.iter().flat_map(|a| other.0.iter().map(move |b| (a.opens.max(b.opens), a.closes.min(b.closes))));
        Self(both.filter(|(opens, closes)| opens < closes).map(|(opens, closes)| OpenSpan { opens, closes }).collect())
    }
}

impl fmt::Display for DayHours {
    /// What [`DayHours::parse_text`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, span) in self.0.iter().enumerate() {
            let comma = if index == 0 { "" } else { ", " };
            write!(f, "{comma}{}-{}", clock(span.opens), clock(span.closes))?;
        }
        Ok(())
    }
}

/// Reads a time of day as minutes from midnight: `9:30`, `09:30`, `24:00`.
///
/// # Errors
/// [`HoursRefused::NotATime`]
pub fn parse_clock(text: &str) -> Result<u16, HoursRefused> {
    let (hour, minute) = text.trim().split_once(':').ok_or(HoursRefused::NotATime)?;
    let number = |part: &str, lengths: &[usize], below: u16| {
        let digits = lengths.contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        part.parse::<u16>().ok().filter(|n| digits && *n < below).ok_or(HoursRefused::NotATime)
    };
    let minutes = number(hour, &[1, 2], 25)? * 60 + number(minute, &[2], 60)?;
    if minutes <= DAY_MINUTES { Ok(minutes) } else { Err(HoursRefused::NotATime) }
}

/// Minutes from midnight as `09:30`.
pub fn clock(minutes: u16) -> String {
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

/// Hours for each day of the week.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WeeklyHours([DayHours; 7]);

impl WeeklyHours {
    /// Takes rows of weekday (1 Monday to 7 Sunday), opening and closing minute.
    ///
    /// # Errors
    /// See [`HoursRefused`].
    pub fn parse(rows: impl IntoIterator<Item = (u8, u16, u16)>) -> Result<Self, HoursRefused> {
        let mut days: [Vec<OpenSpan>; 7] = Default::default();
        for (weekday, opens, closes) in rows {
            let day = usize::from(weekday).checked_sub(1).and_then(|index| days.get_mut(index));
            day.ok_or(HoursRefused::Weekday { weekday })?.push(OpenSpan::parse(opens, closes)?);
        }
        let mut week = Self::default();
        for (day, spans) in week.0.iter_mut().zip(days) {
            *day = DayHours::parse(spans)?;
        }
        Ok(week)
    }

    /// Takes the days from Monday to Sunday.
    pub fn of(days: [DayHours; 7]) -> Self {
        Self(days)
    }

    /// The hours of a day of the week.
    pub fn on(&self, weekday: Weekday) -> &DayHours {
        let [monday, tuesday, wednesday, thursday, friday, saturday, sunday] = &self.0;
        match weekday {
            Weekday::Monday => monday,
            Weekday::Tuesday => tuesday,
            Weekday::Wednesday => wednesday,
            Weekday::Thursday => thursday,
            Weekday::Friday => friday,
            Weekday::Saturday => saturday,
            Weekday::Sunday => sunday,
        }
    }

    /// The rows that [`WeeklyHours::parse`] takes.
    pub fn rows(&self) -> impl Iterator<Item = (u8, u16, u16)> + '_ {
        (1u8..).zip(&self.0).flat_map(|(weekday, day)| day.0.iter().map(move |span| (weekday, span.opens, span.closes)))
    }
}

/// Whole days from `first` to `last`, both included: time off, a holiday of the studio.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DateRange {
    first: Date,
    last: Date,
}

impl From<Date> for DateRange {
    fn from(day: Date) -> Self {
        Self { first: day, last: day }
    }
}

/// Why days are not a range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DateRangeRefused {
    /// The last day comes before the first.
    #[error("{last} comes before {first}")]
    Reversed {
        /// The first day.
        first: Date,
        /// The last day.
        last: Date,
    },
    /// More days than `most`.
    #[error("at most {most} days at once")]
    TooLong {
        /// The limit.
        most: u16,
    },
}

impl DateRange {
    /// The most days of a range: a little over a year.
    pub const MOST: u16 = 400;

    /// Takes the first and the last day.
    ///
    /// # Errors
    /// See [`DateRangeRefused`].
    pub fn parse(first: Date, last: Date) -> Result<Self, DateRangeRefused> {
        if last < first {
            Err(DateRangeRefused::Reversed { first, last })
        } else if (last - first).whole_days() >= i64::from(Self::MOST) {
            Err(DateRangeRefused::TooLong { most: Self::MOST })
        } else {
            Ok(Self { first, last })
        }
    }

    /// The first day.
    pub fn first(self) -> Date {
        self.first
    }

    /// The last day.
    pub fn last(self) -> Date {
        self.last
    }

    /// Whether a day is among them.
    pub fn contains(self, date: Date) -> bool {
        (self.first..=self.last).contains(&date)
    }
}

/// When one practitioner works: her week, dates with other hours, days off.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WorkingHours {
    week: WeeklyHours,
    exceptions: BTreeMap<Date, DayHours>,
    off: Vec<DateRange>,
}

impl WorkingHours {
    /// Joins the three.
    ///
    /// # Errors
    /// [`HoursRefused::SameDate`] when a date has two exceptions.
    pub fn parse(
        week: WeeklyHours,
        exceptions: impl IntoIterator<Item = (Date, DayHours)>,
        off: Vec<DateRange>,
    ) -> Result<Self, HoursRefused> {
        let mut by_date = BTreeMap::new();
        for (date, hours) in exceptions {
            if by_date.insert(date, hours).is_some() {
                return Err(HoursRefused::SameDate { date });
            }
        }
        Ok(Self { week, exceptions: by_date, off })
    }

    /// The same, cut on some dates to the hours in which the studio is open at all.
    #[must_use]
    pub fn limited_by(mut self, limits: impl IntoIterator<Item = (Date, DayHours)>) -> Self {
        for (date, limit) in limits {
            let usual = self.exceptions.get(&date).unwrap_or_else(|| self.week.on(date.weekday()));
            let cut = usual.within(&limit);
            self.exceptions.insert(date, cut);
        }
        self
    }

    /// The hours on a date: none on a day off, else those of the date, else those of the week.
    pub fn on(&self, date: Date) -> &[OpenSpan] {
        if self.off.iter().any(|range| range.contains(date)) {
            return &[];
        }
        self.exceptions.get(&date).unwrap_or_else(|| self.week.on(date.weekday())).spans()
    }
}

#[cfg(test)]
mod tests;
