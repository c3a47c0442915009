//! Named sets of cycle figures, and the shares they give.

use super::{Lifetimes, LifetimesRefused, LiftHistory, Share, days_between};
use serde::{Deserialize, Serialize};
use time::Date;

/// Which published figures a set comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CycleName {
    /// Lashes watched week by week.
    Observed,
    /// The phases that textbooks add up.
    Textbook,
    /// The range that reviews give.
    Review,
    /// The studio's own figures.
    Own,
}

impl CycleName {
    /// The sets that ship with the program.
    pub const SHIPPED: [Self; 3] = [Self::Observed, Self::Textbook, Self::Review];

    /// Every name.
    pub const ALL: [Self; 4] = [Self::Observed, Self::Textbook, Self::Review, Self::Own];

    /// The word that forms, JSON and the command line use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Observed => "observed",
            Self::Textbook => "textbook",
            Self::Review => "review",
            Self::Own => "own",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|name| name.as_str() == word)
    }
}

/// The figures of a set, not yet looked at.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CycleFigures {
    /// Mean life of a lash μ, in days; 1 to 10000.
    pub mean_days: f64,
    /// Coefficient of variation between lashes; 0.001 to 1. No study gives it.
    pub cv: f64,
    /// How fast a growing lash grows, in mm a day; above 0, at most 1.
    pub growth_mm_per_day: f64,
    /// How long a lash grows before it stops, in days; above 0, at most `mean_days`.
    pub growing_days: f64,
    /// Length from which a lash can be lifted, in mm; 0 counts every lash that is there.
    pub liftable_mm: f64,
}

/// A set of cycle figures with its name and its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "StoredCycle", into = "StoredCycle")]
pub struct CycleSet {
    name: CycleName,
    source: String,
    figures: CycleFigures,
    lifetimes: Lifetimes,
    liftable: f64,
}

/// Why figures make no set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CycleRefused {
    /// Mean or spread are out of range.
    #[error(transparent)]
    Lifetimes(#[from] LifetimesRefused),
    /// The growth rate is not above 0 and at most 1 mm a day.
    #[error("the growth rate must be above 0 and at most 1 mm a day")]
    GrowthRate,
    /// The growing phase is not above 0 days and at most the mean cycle.
    #[error("the growing phase must be above 0 days and at most the mean cycle")]
    GrowingDays,
    /// The shortest liftable length is negative or leaves fewer than one lash in a hundred.
    #[error("the shortest liftable length must be 0 mm or more and leave at least 1 % of the lashes")]
    LiftableLength,
    /// The source is not told.
    #[error("a cycle set names its source")]
    NoSource,
}

#[derive(Serialize, Deserialize)]
struct StoredCycle {
    name: CycleName,
    source: String,
    #[serde(flatten)]
    figures: CycleFigures,
}

impl CycleSet {
    /// Reads a set.
    ///
    /// # Errors
    /// [`CycleRefused`] names the first figure out of its range.
    pub fn parse(name: CycleName, source: &str, figures: CycleFigures) -> Result<Self, CycleRefused> {
        let lifetimes = Lifetimes::parse(figures.mean_days, figures.cv)?;
        if !(figures.growth_mm_per_day > 0.0 && figures.growth_mm_per_day <= 1.0) {
            return Err(CycleRefused::GrowthRate);
        }
        if !(figures.growing_days > 0.0 && figures.growing_days <= figures.mean_days) {
            return Err(CycleRefused::GrowingDays);
        }
        let liftable = lifetimes.survival(figures.liftable_mm / figures.growth_mm_per_day);
        if !(figures.liftable_mm >= 0.0 && liftable >= 0.01) {
            return Err(CycleRefused::LiftableLength);
        }
        let source = source.trim();
        if source.is_empty() {
            return Err(CycleRefused::NoSource);
        }
        Ok(Self { name, source: source.to_owned(), figures, lifetimes, liftable })
    }

    /// A set that ships with the program; `None` for [`CycleName::Own`].
    pub fn shipped(name: CycleName) -> Option<Self> {
        let (mean_days, growing_days, source) = match name {
            CycleName::Observed => (
                90.0,
                34.0,
                crate::msg(
                    "Whole cycle 90 ± 5 days and growing phase 34 ± 9 days, four women watched weekly (Thibaut et al., \
                 Br J Dermatol 2010;162:304–310, read at second hand). The spread between lashes is an assumption.",
                ),
            ),
            CycleName::Textbook => (
                150.0,
                45.0,
                crate::msg(
                    "Growing 30–45, transition 14–21 and rest about 100 days added up, as textbooks and clinic pages give \
                 them (common practice). The spread between lashes is an assumption.",
                ),
            ),
            CycleName::Review => (
                240.0,
                45.0,
                crate::msg(
                    "Middle of the 4–11 months that a review gives (Aumond & Bitton, J Optom 2018;11:211–222, from memory). \
                 The spread between lashes is an assumption.",
                ),
            ),
            CycleName::Own => return None,
        };
        let figures = CycleFigures { mean_days, cv: 0.3, growth_mm_per_day: 0.12, growing_days, liftable_mm: 0.0 };
        Self::parse(name, source, figures).ok()
    }

    /// The same spread and lengths about another mean, kept under the same name: a client's own
    /// mean. The growing phase is cut to the mean where it would be longer.
    ///
    /// # Errors
    /// [`CycleRefused`] when the mean is out of range, or so short that no lash can be lifted.
    pub fn with_mean(&self, mean_days: f64) -> Result<Self, CycleRefused> {
        let growing_days = self.figures.growing_days.min(mean_days);
        Self::parse(self.name, &self.source, CycleFigures { mean_days, growing_days, ..self.figures })
    }

    /// Which set it is.
    pub fn name(&self) -> CycleName {
        self.name
    }

    /// Where its figures come from, in words.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Its figures.
    pub fn figures(&self) -> CycleFigures {
        self.figures
    }

    /// The law of a lash's life.
    pub fn lifetimes(&self) -> Lifetimes {
        self.lifetimes
    }

    /// τ: the age in days from which a lash is long enough to be lifted; 0 when every lash counts.
    pub fn liftable_age_days(&self) -> f64 {
        self.figures.liftable_mm / self.figures.growth_mm_per_day
    }

    /// `S(t + τ)/S(τ)`: of the lashes long enough to be lifted, the share whose lift of `days` ago is
    /// still there. With no shortest length this is `S(t)`.
    pub fn still_lifted(&self, days: f64) -> Share {
        Share::clamped(self.survival_after_lift(days) / self.liftable)
    }

    /// `S(t + τ)`: the same among all lashes, the short ones too.
    pub fn still_lifted_of_all(&self, days: f64) -> Share {
        Share::clamped(self.survival_after_lift(days))
    }

    fn survival_after_lift(&self, days: f64) -> f64 {
        self.lifetimes.survival(days.max(0.0) + self.liftable_age_days())
    }

    /// Of the lashes that could be lifted on the day `on`, the share that carries at least `m` of the
    /// past lifts: those old enough when the `m`-th newest was done. With a lift on that day they
    /// carry `m + 1`. 1 for `m = 0`; 0 when there were fewer lifts.
    pub fn carrying(&self, history: &LiftHistory, m: usize, on: Date) -> Share {
        self.share_of_lift(history, m, on, Self::still_lifted)
    }

    /// The same among all lashes, the short ones too.
    pub fn carrying_of_all(&self, history: &LiftHistory, m: usize, on: Date) -> Share {
        self.share_of_lift(history, m, on, Self::still_lifted_of_all)
    }

    fn share_of_lift(&self, history: &LiftHistory, m: usize, on: Date, share: fn(&Self, f64) -> Share) -> Share {
        match (m, history.newest(m, on)) {
            (0, _) => Share::clamped(1.0),
            (_, Some(lift)) => share(self, days_between(lift, on)),
            (_, None) => Share::clamped(0.0),
        }
    }

    /// How far from the lid, in mm, the lifted part starts on a lash that has grown ever since a lift
    /// `days` ago: `g·t`, until its growing phase ends. Lashes that had stopped growing show none.
    pub fn grown_out_mm(&self, days: f64) -> f64 {
        self.figures.growth_mm_per_day * days.clamp(0.0, self.figures.growing_days)
    }

    /// The first whole day after a lift on which [`Self::still_lifted`] is at most `limit`, which must
    /// be above 0.
    pub(crate) fn first_day_at_most(&self, limit: Share) -> u32 {
        let reached = |days: u32| self.still_lifted(f64::from(days)) <= limit;
        let mut high = 1;
        // S(t) ≤ e^(−t/μ) for cv ≤ 1, so that any limit is met; the cap only bounds the loop.
        while !reached(high) && high < 1 << 20 {
            high *= 2;
        }
        let mut low = 0;
        if reached(low) {
            return low;
        }
        while high - low > 1 {
            let middle = low.midpoint(high);
            if reached(middle) { high = middle } else { low = middle }
        }
        high
    }
}

impl Default for CycleSet {
    /// [`CycleName::Observed`].
    fn default() -> Self {
        Self::shipped(CycleName::Observed).unwrap_or_else(|| unreachable!("the shipped figures are in range"))
    }
}

impl TryFrom<StoredCycle> for CycleSet {
    type Error = CycleRefused;
    fn try_from(stored: StoredCycle) -> Result<Self, CycleRefused> {
        Self::parse(stored.name, &stored.source, stored.figures)
    }
}

impl From<CycleSet> for StoredCycle {
    fn from(set: CycleSet) -> Self {
        Self { name: set.name, source: set.source, figures: set.figures }
    }
}
