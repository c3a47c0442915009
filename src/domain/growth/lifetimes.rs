//! Gamma lifetimes and the equilibrium survival `S`.

use statrs::function::gamma::{checked_gamma_ur, ln_gamma};

/// The law of a lash's lifetime: gamma with this mean and coefficient of variation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lifetimes {
    mean_days: f64,
    shape: f64,
}

/// Why a mean and a spread make no law.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LifetimesRefused {
    /// The mean is not from 1 to 10000 days.
    #[error("the mean cycle must be from 1 to 10000 days")]
    Mean,
    /// The coefficient of variation is not from 0.001 to 1.
    #[error("the coefficient of variation must be from 0.001 to 1")]
    Spread,
}

impl Lifetimes {
    /// A law from the mean in days (1 to 10000) and the coefficient of variation (0.001 to 1; 1 is
    /// the exponential law).
    ///
    /// # Errors
    /// [`LifetimesRefused`] when one of them is out of its range.
    pub fn parse(mean_days: f64, cv: f64) -> Result<Self, LifetimesRefused> {
        if !(1.0..=10_000.0).contains(&mean_days) {
            return Err(LifetimesRefused::Mean);
        }
        if !(0.001..=1.0).contains(&cv) {
            return Err(LifetimesRefused::Spread);
        }
        Ok(Self { mean_days, shape: (cv * cv).recip() })
    }

    /// The same shape about another mean, in days.
    pub(super) fn with_mean(self, mean_days: f64) -> Self {
        Self { mean_days, ..self }
    }

    /// The mean lifetime μ, in days.
    pub fn mean_days(self) -> f64 {
        self.mean_days
    }

    /// `S(days)`: the share of today's lashes that are still there so many days later, which is also
    /// the share that is at least so many days old. 1 for no days or fewer.
    ///
    /// With shape k and `x = k·days/μ` the integral is `Q(k+1, x) − (x/k)·Q(k, x)`, Q the regularised
    /// upper incomplete gamma; by the recurrence of Q (DLMF 8.8.6) that is
    /// `(1 − x/k)·Q(k, x) + xᵏe⁻ˣ/Γ(k+1)`, which needs one Q.
    pub fn survival(self, days: f64) -> f64 {
        if days <= 0.0 {
            return 1.0;
        }
        let ratio = days / self.mean_days;
        let x = self.shape * ratio;
        let upper = checked_gamma_ur(self.shape, x).unwrap_or(0.0);
        ((1.0 - ratio) * upper + poisson_density(self.shape, ratio)).clamp(0.0, 1.0)
    }
}

/// `xᵏe⁻ˣ/Γ(k+1)` for `x = k·ratio`.
///
/// Written as `exp(−k·(r − 1 − ln r)) / (√(2πk)·e^δ)` with δ the error of Stirling's formula
/// (DLMF 5.11.1), so that a large k loses no digits to the difference of large logarithms.
fn poisson_density(k: f64, ratio: f64) -> f64 {
    let deviance = k * (ratio - 1.0 - ratio.ln());
    (-deviance - stirling_error(k)).exp() / (std::f64::consts::TAU * k).sqrt()
}

/// `ln Γ(k+1) − (k ln k − k + ½ ln 2πk)`.
fn stirling_error(k: f64) -> f64 {
    if k < 16.0 {
        return ln_gamma(k + 1.0) - (k * k.ln() - k + 0.5 * (std::f64::consts::TAU * k).ln());
    }
    let inverse = k.recip();
    let square = inverse * inverse;
    // The asymptotic series of DLMF 5.11.1; from k = 16 on the first term left out is below 1e-15.
    inverse
        * (1.0 / 12.0 - square * (1.0 / 360.0 - square * (1.0 / 1260.0 - square * (1.0 / 1680.0 - square / 1188.0))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 16! and 18! are whole numbers that a double holds exactly, so their logarithms are right to the last digits.
    #[test]
    fn the_error_of_stirlings_formula_is_that_of_a_factorial() {
        for (k, factorial) in [(16.0, 20_922_789_888_000.0), (18.0, 6_402_373_705_728_000.0_f64)] {
            let formula = k * f64::ln(k) - k + 0.5 * (std::f64::consts::TAU * k).ln();
            assert!((stirling_error(k) - (factorial.ln() - formula)).abs() < 1e-13, "{k}");
        }
    }
}
