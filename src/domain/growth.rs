//! The lash growth cycle: how much of a past lift is still there on a day.
//!
//! A follicle bears one lash after another. Lifetimes are independent gamma variables with mean μ
//! and coefficient of variation cv; seen long after the start, the age and the remaining life of a
//! lash that is present both survive t days with `S(t) = (1/μ) ∫ₜ^∞ P(X > u) du`
//! (Cox, Renewal Theory, 1962, ch. 5). Every share below is an `S` of some span of days.
//!
//! The published cycle lengths disagree (90 days observed, 4 to 11 months in reviews), so a cycle is
//! a named [`CycleSet`] and each result says which one it used.

mod cycle;
mod disturbed;
mod fit;
mod history;
mod lifetimes;

pub use cycle::{CycleFigures, CycleName, CycleRefused, CycleSet};
pub use fit::{Count, CountRefused, Disturbance, NotFitted, PersonalFit, Prior, PriorRefused, Range};
pub use history::{HistoryRefused, LiftHistory};
pub use lifetimes::{Lifetimes, LifetimesRefused};

/// What stands beside every share and window.
pub const CAUTION: &str = crate::msg(
    "Shares are averages of a model whose sources disagree, not a promise. The product's label, the \
                           insurer, local rules and what the lashes look like come first.",
);

/// A share of lashes, 0 to 1, never NaN.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, serde::Serialize, serde::Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Share(f64);

/// Why a number is not a share: it is not from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("a share is from 0 to 1")]
pub struct ShareRefused;

impl Share {
    /// Reads a share.
    ///
    /// # Errors
    /// [`ShareRefused`] unless `0 ≤ value ≤ 1`.
    pub fn parse(value: f64) -> Result<Self, ShareRefused> {
        if (0.0..=1.0).contains(&value) { Ok(Self(value.abs())) } else { Err(ShareRefused) }
    }

    /// For values that the model has made, where only rounding could leave the range.
    pub(crate) fn clamped(value: f64) -> Self {
        Self(if value > 0.0 { value.min(1.0) } else { 0.0 })
    }

    /// The number, 0 to 1.
    pub fn get(self) -> f64 {
        self.0
    }
}

// NaN is refused and -0 is stored as 0, so equality is total and agrees with the bits.
impl Eq for Share {}

impl std::hash::Hash for Share {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.0.to_bits().hash(state);
    }
}

impl TryFrom<f64> for Share {
    type Error = ShareRefused;
    fn try_from(value: f64) -> Result<Self, ShareRefused> {
        Self::parse(value)
    }
}

impl From<Share> for f64 {
    fn from(share: Share) -> f64 {
        share.0
    }
}

/// Whole days from `from` to `to`, as a number; negative when `to` is earlier.
pub(crate) fn days_between(from: time::Date, to: time::Date) -> f64 {
    f64::from(to.to_julian_day().saturating_sub(from.to_julian_day()))
}

#[cfg(test)]
mod tests;
