//! A client's own mean cycle, from counts at return visits.
//!
//! Prior: ln μ normal about the set's mean. Likelihood of each count: binomial with the share still
//! lifted at that μ. The posterior is taken on a grid in ln μ and told as a median and a 90 % interval.

use super::{CycleSet, LiftHistory, days_between};
use serde::{Deserialize, Serialize};
use time::Date;

mod posterior;

/// One count at a return visit: of the lashes in a marked stretch, those still lifted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Count {
    lifted: u32,
    seen: u32,
    days: f64,
}

/// Why numbers are not a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CountRefused {
    /// No lash was looked at, or more than a lid can bear (1000).
    #[error("a count looks at 1 to 1000 lashes")]
    Seen,
    /// More lashes lifted than looked at.
    #[error("a count cannot find more lifted lashes than it looked at")]
    Lifted,
    /// There is no lift before the day of the count.
    #[error("the count of {0} has no lift before it")]
    NoLiftBefore(Date),
}

impl Count {
    /// Reads a count of `lifted` among `seen` lashes on the day `on`, before any lift of that day. It
    /// looks back to the newest lift before that day.
    ///
    /// # Errors
    /// [`CountRefused`] when the numbers cannot be or no lift came before.
    pub fn parse(lifted: u32, seen: u32, history: &LiftHistory, on: Date) -> Result<Self, CountRefused> {
        if !(1..=1000).contains(&seen) {
            return Err(CountRefused::Seen);
        }
        if lifted > seen {
            return Err(CountRefused::Lifted);
        }
        let lift = history.before(on).ok_or(CountRefused::NoLiftBefore(on))?;
        Ok(Self { lifted, seen, days: days_between(lift, on) })
    }

    /// Lashes still lifted.
    pub fn lifted(self) -> u32 {
        self.lifted
    }

    /// Lashes looked at.
    pub fn seen(self) -> u32 {
        self.seen
    }

    /// Days since the lift it looks back to.
    pub fn days(self) -> f64 {
        self.days
    }
}

/// How far clients differ from the set's mean before anything is counted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Prior {
    log_sd: f64,
}

/// Why a number is not a prior spread: it is not from 0.01 to 0.5.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the spread between clients must be from 0.01 to 0.5")]
pub struct PriorRefused;

impl Prior {
    /// A prior from the standard deviation of ln μ, 0.01 to 0.5.
    ///
    /// # Errors
    /// [`PriorRefused`] when it is out of that range.
    pub fn parse(log_sd: f64) -> Result<Self, PriorRefused> {
        if (0.01..=0.5).contains(&log_sd) { Ok(Self { log_sd }) } else { Err(PriorRefused) }
    }

    /// The standard deviation of ln μ.
    pub fn log_sd(self) -> f64 {
        self.log_sd
    }

    /// What is believed of a client's mean under `cycle` before anything is counted, in days.
    pub fn mean_days(self, cycle: &CycleSet) -> Range<f64> {
        // The 95 % point of the standard normal law.
        let reach = (1.644_853_626_951_472_2 * self.log_sd).exp();
        let median = cycle.figures().mean_days;
        Range { median, low: median / reach, high: median * reach }
    }
}

impl Default for Prior {
    /// 0.25: an assumption, no study gives the spread between people.
    fn default() -> Self {
        Self { log_sd: 0.25 }
    }
}

impl TryFrom<f64> for Prior {
    type Error = PriorRefused;
    fn try_from(log_sd: f64) -> Result<Self, PriorRefused> {
        Self::parse(log_sd)
    }
}

impl From<Prior> for f64 {
    fn from(prior: Prior) -> f64 {
        prior.log_sd
    }
}

/// What sets the lashes' ages out of balance, so that counts say nothing of the cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Disturbance {
    /// A drug that acts on growing lashes, or one that makes hair fall.
    Drug,
    /// A serum for growth.
    Serum,
    /// Chemotherapy, now or in the past year.
    Chemotherapy,
    /// Lash extensions.
    Extensions,
    /// Lashes pulled out lately.
    Pulling,
    /// Pregnancy and the months after.
    Pregnancy,
    /// Hair that falls in patches or all over.
    HairFall,
}

impl Disturbance {
    /// Every kind.
    pub const ALL: [Self; 7] =
        [Self::Drug, Self::Serum, Self::Chemotherapy, Self::Extensions, Self::Pulling, Self::Pregnancy, Self::HairFall];

    /// The word that forms and the command line use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Drug => "drug",
            Self::Serum => "serum",
            Self::Chemotherapy => "chemotherapy",
            Self::Extensions => "extensions",
            Self::Pulling => "pulling",
            Self::Pregnancy => "pregnancy",
            Self::HairFall => "hair_fall",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// Why no fit was made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotFitted {
    /// Nothing was counted.
    #[error("no count")]
    NoCount,
    /// The steady state that the model needs is broken.
    #[error("the lashes are out of their steady state")]
    Disturbed(Vec<Disturbance>),
    /// No mean near the set's could give these counts.
    #[error("no cycle near the set's could give these counts")]
    Contradiction,
}

/// A median with the interval that holds nine tenths of the belief.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Range<T> {
    /// Half of the belief lies below.
    pub median: T,
    /// A twentieth lies below.
    pub low: T,
    /// A twentieth lies above.
    pub high: T,
}

impl<T> Range<T> {
    /// The range of a quantity that never falls when this one rises.
    pub fn map<U>(&self, of: impl Fn(&T) -> U) -> Range<U> {
        Range { median: of(&self.median), low: of(&self.low), high: of(&self.high) }
    }
}

/// What the counts say of one client's mean cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct PersonalFit {
    cycle: CycleSet,
    mean_days: Range<f64>,
    counts: usize,
}

impl PersonalFit {
    /// Fits a client's mean under `cycle`, unless something disturbs the steady state.
    ///
    /// # Errors
    /// [`NotFitted`] says why there is none.
    pub fn new(cycle: &CycleSet, prior: Prior, counts: &[Count], disturbed: &[Disturbance]) -> Result<Self, NotFitted> {
        if !disturbed.is_empty() {
            return Err(NotFitted::Disturbed(disturbed.to_vec()));
        }
        if counts.is_empty() {
            return Err(NotFitted::NoCount);
        }
        let mean_days = posterior::mean_days(cycle, prior, counts).ok_or(NotFitted::Contradiction)?;
        Ok(Self { cycle: cycle.clone(), mean_days, counts: counts.len() })
    }

    /// The set that the fit started from.
    pub fn cycle(&self) -> &CycleSet {
        &self.cycle
    }

    /// The client's mean cycle in days.
    pub fn mean_days(&self) -> Range<f64> {
        self.mean_days
    }

    /// How many counts it rests on.
    pub fn counts(&self) -> usize {
        self.counts
    }
}
