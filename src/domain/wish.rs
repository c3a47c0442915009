//! When an earlier time would suit a client: days of the week, parts of the day.

use time::{Date, PrimitiveDateTime, Weekday};

/// A part of the day, by the clock at the start of the visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Before noon.
    Morning,
    /// From noon until 17:00.
    Afternoon,
    /// From 17:00.
    Evening,
}

impl Part {
    /// All of them, in order.
    pub const ALL: [Self; 3] = [Self::Morning, Self::Afternoon, Self::Evening];

    fn of(civil: PrimitiveDateTime) -> Self {
        match civil.hour() {
            ..12 => Self::Morning,
            12..17 => Self::Afternoon,
            _ => Self::Evening,
        }
    }

    fn bit(self) -> u8 {
        match self {
            Self::Morning => 1,
            Self::Afternoon => 2,
            Self::Evening => 4,
        }
    }
}

/// The days of a week, Monday first.
pub const WEEK: [Weekday; 7] = [
    Weekday::Monday,
    Weekday::Tuesday,
    Weekday::Wednesday,
    Weekday::Thursday,
    Weekday::Friday,
    Weekday::Saturday,
    Weekday::Sunday,
];

/// What would suit her.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Suits {
    from: Date,
    weekdays: u8,
    parts: u8,
}

/// Why a wish is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SuitsRefused {
    /// No day of the week.
    #[error("no day of the week suits")]
    NoDay,
    /// No part of the day.
    #[error("no part of the day suits")]
    NoPart,
}

impl Suits {
    /// From a day on, on some days of the week, in some parts of the day.
    ///
    /// # Errors
    /// See [`SuitsRefused`].
    pub fn parse(
        from: Date,
        weekdays: impl IntoIterator<Item = Weekday>,
        parts: impl IntoIterator<Item = Part>,
    ) -> Result<Self, SuitsRefused> {
        let weekdays = weekdays.into_iter().fold(0, |bits, day| bits | 1 << day.number_days_from_monday());
        let parts = parts.into_iter().fold(0, |bits, part| bits | part.bit());
        Self::from_bits(from, weekdays, parts)
    }

    /// From the bits that [`Self::bits`] gives.
    ///
    /// # Errors
    /// See [`SuitsRefused`].
    pub fn from_bits(from: Date, weekdays: u8, parts: u8) -> Result<Self, SuitsRefused> {
        if weekdays & 127 == 0 {
            Err(SuitsRefused::NoDay)
        } else if parts & 7 == 0 {
            Err(SuitsRefused::NoPart)
        } else {
            Ok(Self { from, weekdays: weekdays & 127, parts: parts & 7 })
        }
    }

    /// Days of the week (Monday 1, Tuesday 2, Wednesday 4 …) and parts of the day (1, 2, 4).
    pub fn bits(self) -> (u8, u8) {
        (self.weekdays, self.parts)
    }

    /// The first day that suits.
    pub fn from(self) -> Date {
        self.from
    }

    /// Whether a day of the week suits.
    pub fn on(self, day: Weekday) -> bool {
        self.weekdays >> day.number_days_from_monday() & 1 == 1
    }

    /// Whether a part of the day suits.
    pub fn at(self, part: Part) -> bool {
        self.parts & part.bit() != 0
    }

    /// Whether a visit that starts then would suit.
    pub fn fits(self, civil: PrimitiveDateTime) -> bool {
        civil.date() >= self.from && self.on(civil.weekday()) && self.at(Part::of(civil))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::{date, datetime};

    #[test]
    fn a_time_suits_by_its_day_and_its_part() {
        let suits =
            Suits::parse(date!(2026 - 03 - 03), [Weekday::Tuesday, Weekday::Sunday], [Part::Afternoon]).unwrap();
        assert!(suits.fits(datetime!(2026-03-03 12:00)) && suits.fits(datetime!(2026-03-08 16:59)));
        for no in [
            datetime!(2026-03-03 11:59),
            datetime!(2026-03-03 17:00),
            datetime!(2026-03-04 13:00),
            datetime!(2026-03-01 13:00),
        ] {
            assert!(!suits.fits(no), "{no}");
        }
        let (weekdays, parts) = suits.bits();
        assert_eq!((weekdays, parts), (0b100_0010, 2));
        assert_eq!(Suits::from_bits(suits.from(), weekdays, parts), Ok(suits));
    }

    #[test]
    fn a_wish_for_never_is_refused() {
        let day = date!(2026 - 03 - 03);
        assert_eq!(Suits::parse(day, [], [Part::Evening]), Err(SuitsRefused::NoDay));
        assert_eq!(Suits::parse(day, WEEK, []), Err(SuitsRefused::NoPart));
        let always = Suits::parse(day, WEEK, Part::ALL).unwrap();
        assert_eq!(always.bits(), (127, 7));
    }

    #[test]
    fn a_part_or_a_day_named_twice_is_named_once() {
        let day = date!(2026 - 03 - 03);
        let suits = Suits::parse(day, [Weekday::Monday, Weekday::Monday], [Part::Evening, Part::Evening]).unwrap();
        assert_eq!(suits.bits(), (1, 4));
        assert!(suits.fits(datetime!(2026-03-09 17:00)) && !suits.fits(datetime!(2026-03-09 16:59)));
        let early = Suits::parse(day, [Weekday::Monday], [Part::Morning]).unwrap();
        assert!(early.fits(datetime!(2026-03-09 11:59)) && !early.fits(datetime!(2026-03-09 12:00)));
        assert_eq!(early.bits(), (1, 1));
    }
}
