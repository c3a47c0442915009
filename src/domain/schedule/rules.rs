//! What the studio sets for booking, and how long a service takes.

/// How the studio offers its times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BookingRules {
    grid_minutes: u16,
    notice_minutes: u16,
    horizon_days: u16,
    shortest_sellable: Option<u16>,
}

/// Why settings are refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RulesRefused {
    /// Not one of [`BookingRules::GRIDS`].
    #[error("a grid of {minutes} minutes is not on offer")]
    Grid {
        /// What was asked.
        minutes: u16,
    },
    /// More than `most` minutes.
    #[error("notice is at most {most} minutes")]
    Notice {
        /// The limit.
        most: u16,
    },
    /// Not 1 to `most` days.
    #[error("the horizon is 1 to {most} days")]
    Horizon {
        /// The limit.
        most: u16,
    },
    /// Not 5 to `most` minutes.
    #[error("the shortest gap that sells is 5 to {most} minutes")]
    Shortest {
        /// The limit.
        most: u16,
    },
}

impl BookingRules {
    /// The finest grid, in minutes.
    pub const FINEST_GRID: u16 = 5;
    /// The grids on offer, in minutes; each divides a day.
    pub const GRIDS: [u16; 6] = [Self::FINEST_GRID, 10, 15, 20, 30, 60];
    /// The longest notice, in minutes: two weeks.
    pub const MOST_NOTICE: u16 = 14 * 24 * 60;
    /// The farthest horizon, in days: two years.
    pub const MOST_HORIZON: u16 = 730;
    /// The longest gap that may count as too short to sell, in minutes.
    pub const MOST_SHORTEST: u16 = 240;

    /// Takes the step between starts in minutes; the least time from now to a start in minutes; how many days from
    /// today are on offer; and the shortest gap in minutes that sells, when the studio wishes to avoid shorter ones.
    ///
    /// # Errors
    /// See [`RulesRefused`].
    pub fn parse(
        grid_minutes: u16,
        notice_minutes: u16,
        horizon_days: u16,
        shortest_sellable: Option<u16>,
    ) -> Result<Self, RulesRefused> {
        if !Self::GRIDS.contains(&grid_minutes) {
            Err(RulesRefused::Grid { minutes: grid_minutes })
        } else if notice_minutes > Self::MOST_NOTICE {
            Err(RulesRefused::Notice { most: Self::MOST_NOTICE })
        } else if !(1..=Self::MOST_HORIZON).contains(&horizon_days) {
            Err(RulesRefused::Horizon { most: Self::MOST_HORIZON })
        } else if shortest_sellable.is_some_and(|minutes| !(5..=Self::MOST_SHORTEST).contains(&minutes)) {
            Err(RulesRefused::Shortest { most: Self::MOST_SHORTEST })
        } else {
            Ok(Self { grid_minutes, notice_minutes, horizon_days, shortest_sellable })
        }
    }

    /// The step between starts, in minutes; starts lie on it counted from midnight.
    pub fn grid_minutes(&self) -> u16 {
        self.grid_minutes
    }

    /// The least time from now to a start, in minutes.
    pub fn notice_minutes(&self) -> u16 {
        self.notice_minutes
    }

    /// How many days from today are on offer; today is always.
    pub fn horizon_days(&self) -> u16 {
        self.horizon_days
    }

    /// The shortest gap in minutes that sells, when shorter ones are avoided. Of the starts in a free stretch only
    /// those are then offered that leave the least time in shorter gaps.
    pub fn shortest_sellable(&self) -> Option<u16> {
        self.shortest_sellable
    }

    /// The same without notice, for a time that was chosen when there was enough.
    #[must_use]
    pub fn at_once(self) -> Self {
        Self { notice_minutes: 0, ..self }
    }

    /// The same as the desk goes by it: without notice, a year and more ahead, with no gap avoided.
    #[must_use]
    pub fn at_the_desk(self) -> Self {
        Self { notice_minutes: 0, horizon_days: 400, shortest_sellable: None, ..self }
    }

    /// The same with no gap avoided.
    #[must_use]
    pub fn with_any_gap(self) -> Self {
        Self { shortest_sellable: None, ..self }
    }
}

impl Default for BookingRules {
    /// A quarter of an hour, two hours, 120 days, no gap avoided: common practice, no source.
    fn default() -> Self {
        Self { grid_minutes: 15, notice_minutes: 120, horizon_days: 120, shortest_sellable: None }
    }
}

/// How long a visit takes: the service, then the turn-around in which practitioner and room get ready for the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Occupation {
    minutes: u16,
    turnaround: u16,
}

/// Why a length is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum OccupationRefused {
    /// Not 1 to `most` minutes.
    #[error("a service takes 1 to {most} minutes")]
    Minutes {
        /// The limit.
        most: u16,
    },
    /// More than `most` minutes.
    #[error("a turn-around takes at most {most} minutes")]
    Turnaround {
        /// The limit.
        most: u16,
    },
}

impl Occupation {
    /// The longest service, in minutes.
    pub const MOST_MINUTES: u16 = 720;
    /// The longest turn-around, in minutes.
    pub const MOST_TURNAROUND: u16 = 120;
    /// A skin-test visit: ten minutes (common practice, no source).
    pub const SKIN_TEST: Self = Self { minutes: 10, turnaround: 0 };

    /// Takes minutes of service and of turn-around.
    ///
    /// # Errors
    /// See [`OccupationRefused`].
    pub fn parse(minutes: u16, turnaround: u16) -> Result<Self, OccupationRefused> {
        if !(1..=Self::MOST_MINUTES).contains(&minutes) {
            Err(OccupationRefused::Minutes { most: Self::MOST_MINUTES })
        } else if turnaround > Self::MOST_TURNAROUND {
            Err(OccupationRefused::Turnaround { most: Self::MOST_TURNAROUND })
        } else {
            Ok(Self { minutes, turnaround })
        }
    }

    /// One service after the other in one visit: the minutes add up, and the longer turn-around follows.
    ///
    /// # Errors
    /// [`OccupationRefused::Minutes`] when the sum is too long.
    pub fn then(self, next: Self) -> Result<Self, OccupationRefused> {
        Self::parse(self.minutes + next.minutes, self.turnaround.max(next.turnaround))
    }

    /// Minutes of service.
    pub fn minutes(self) -> u16 {
        self.minutes
    }

    /// Minutes of turn-around.
    pub fn turnaround(self) -> u16 {
        self.turnaround
    }

    /// Both.
    pub fn total(self) -> u16 {
        self.minutes + self.turnaround
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_bounded() {
        let rules = BookingRules::default();
        assert_eq!(BookingRules::parse(15, 120, 120, None), Ok(rules));
        assert!(BookingRules::GRIDS.iter().all(|grid| 1440 % grid == 0));
        assert_eq!(BookingRules::parse(7, 0, 1, None), Err(RulesRefused::Grid { minutes: 7 }));
        assert_eq!(BookingRules::parse(5, 20_161, 1, None), Err(RulesRefused::Notice { most: 20_160 }));
        assert_eq!(BookingRules::parse(5, 0, 0, None), Err(RulesRefused::Horizon { most: 730 }));
        assert_eq!(BookingRules::parse(5, 0, 731, None), Err(RulesRefused::Horizon { most: 730 }));
        assert_eq!(BookingRules::parse(5, 0, 1, Some(4)), Err(RulesRefused::Shortest { most: 240 }));
        assert_eq!(BookingRules::parse(5, 0, 1, Some(45)).unwrap().with_any_gap().shortest_sellable(), None);
    }

    #[test]
    fn services_in_sequence_add_up() {
        let lift = Occupation::parse(60, 10).unwrap();
        let tint = Occupation::parse(20, 15).unwrap();
        assert_eq!(lift.then(tint), Occupation::parse(80, 15));
        assert_eq!(lift.then(tint).unwrap().total(), 95);
        let long = Occupation::parse(700, 0).unwrap();
        assert_eq!(long.then(lift), Err(OccupationRefused::Minutes { most: 720 }));
        assert_eq!(Occupation::parse(0, 0), Err(OccupationRefused::Minutes { most: 720 }));
        assert_eq!(Occupation::parse(1, 121), Err(OccupationRefused::Turnaround { most: 120 }));
    }

    #[test]
    fn lengths_and_settings_are_taken_up_to_their_limits() {
        assert!(
            BookingRules::parse(5, 20_160, 730, Some(5)).is_ok() && BookingRules::parse(60, 0, 1, Some(240)).is_ok()
        );
        assert_eq!(BookingRules::parse(5, 0, 1, Some(241)), Err(RulesRefused::Shortest { most: 240 }));
        let longest = Occupation::parse(720, 120).unwrap();
        assert_eq!((longest.minutes(), longest.turnaround(), longest.total()), (720, 120, 840));
        assert_eq!(Occupation::parse(1, 0).unwrap().total(), 1);
    }

    #[test]
    fn the_desk_may_book_at_once_and_more_than_a_year_ahead() {
        let rules = BookingRules::parse(20, 90, 30, Some(45)).unwrap();
        assert_eq!(rules.at_once(), BookingRules::parse(20, 0, 30, Some(45)).unwrap());
        assert_eq!(rules.at_the_desk(), BookingRules::parse(20, 0, 400, None).unwrap());
    }
}
