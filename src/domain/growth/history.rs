//! The lifts of one client, oldest first.

use time::Date;

/// Days of past lifts, oldest first, no day twice, none after the day they were read for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LiftHistory(Vec<Date>);

/// Why dates are not a history.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum HistoryRefused {
    /// This date is earlier than the one before it.
    #[error("lifts are listed oldest first, and {0} is earlier than the one before it")]
    Order(Date),
    /// This date is there twice.
    #[error("the lift of {0} is listed twice")]
    Duplicate(Date),
    /// This date is later than the day asked about.
    #[error("the lift of {0} is later than the day asked about")]
    Future(Date),
}

impl LiftHistory {
    /// Reads a history as it stood on the day `on`.
    ///
    /// # Errors
    /// [`HistoryRefused`] for the first date out of order, repeated, or later than `on`.
    pub fn parse(days: Vec<Date>, on: Date) -> Result<Self, HistoryRefused> {
        let mut last = None;
        for &day in &days {
            match last {
                Some(before) if day < before => return Err(HistoryRefused::Order(day)),
                Some(before) if day == before => return Err(HistoryRefused::Duplicate(day)),
                _ if day > on => return Err(HistoryRefused::Future(day)),
                _ => last = Some(day),
            }
        }
        Ok(Self(days))
    }

    /// The days, oldest first.
    pub fn days(&self) -> &[Date] {
        &self.0
    }

    /// The `m`-th newest lift on or before `on`; `m` counts from 1.
    pub fn newest(&self, m: usize, on: Date) -> Option<Date> {
        self.0.iter().rev().filter(|&&day| day <= on).nth(m.checked_sub(1)?).copied()
    }

    /// The newest lift before the day `on`: the one that a count on that day looks back to.
    pub fn before(&self, on: Date) -> Option<Date> {
        self.0.iter().rev().find(|&&day| day < on).copied()
    }
}
