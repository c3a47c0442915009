//! The posterior of ln μ on a grid, and its quantiles.

use super::{Count, CycleSet, Prior, Range};

/// Belief lower than the mode's by more than e⁻³⁶ is nothing beside the 1e-6 asked of the quantiles.
const NEGLIGIBLE: f64 = -36.0;
/// The first look reaches so many prior standard deviations to each side.
const REACH: f64 = 20.0;
const LOOK: u16 = 80;
/// Even, for Simpson's rule. Over the about 17 standard deviations left after two looks, one step is
/// about a twentieth of one.
const GRID: u16 = 320;

/// Median and 90 % interval of μ in days; `None` when the counts cannot be under any μ in reach.
pub(super) fn mean_days(cycle: &CycleSet, prior: Prior, counts: &[Count]) -> Option<Range<f64>> {
    let density = |shift: f64| log_density(cycle, prior, counts, shift);
    let reach = REACH * prior.log_sd();
    let (mut low, mut high) = (-reach, reach);
    for _ in 0..2 {
        (low, high) = bulk(low, high, density)?;
    }
    let grid = Grid::new(low, high, density)?;
    let centre = cycle.figures().mean_days;
    let quantile = |share: f64| grid.quantile(share).map(|shift| centre * shift.exp());
    Some(Range { median: quantile(0.5)?, low: quantile(0.05)?, high: quantile(0.95)? })
}

/// The unnormalised log posterior density of `shift = ln μ − ln(mean of the set)`.
fn log_density(cycle: &CycleSet, prior: Prior, counts: &[Count], shift: f64) -> f64 {
    let lifetimes = cycle.lifetimes().with_mean(cycle.figures().mean_days * shift.exp());
    let liftable_age = cycle.liftable_age_days();
    let liftable = lifetimes.survival(liftable_age);
    let score = shift / prior.log_sd();
    let mut sum = -0.5 * score * score;
    for count in counts {
        let share = lifetimes.survival(count.days + liftable_age) / liftable;
        let lifted = f64::from(count.lifted);
        sum += times_log(lifted, share) + times_log(f64::from(count.seen) - lifted, 1.0 - share);
    }
    if sum.is_nan() { f64::NEG_INFINITY } else { sum }
}

/// `n·ln p`, where none of an impossible thing is no surprise.
fn times_log(n: f64, p: f64) -> f64 {
    if n == 0.0 { 0.0 } else { n * p.ln() }
}

/// The part of an interval that holds all belief worth counting, one step wider on each side.
fn bulk(low: f64, high: f64, density: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
    let step = (high - low) / f64::from(LOOK);
    let look: Vec<(f64, f64)> =
        (0..=LOOK).map(|i| low + step * f64::from(i)).map(|shift| (shift, density(shift))).collect();
    let top = look.iter().map(|&(_, d)| d).fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return None;
    }
    let counts = |&&(_, d): &&(f64, f64)| d > top + NEGLIGIBLE;
    let first = look.iter().find(counts)?.0;
    let last = look.iter().rev().find(counts)?.0;
    Some(((first - step).max(low), (last + step).min(high)))
}

/// Belief on pairs of steps, each pair taken as a parabola (Simpson's rule).
struct Grid {
    pairs: Vec<Pair>,
    step: f64,
    total: f64,
}

struct Pair {
    start: f64,
    density: [f64; 3],
}

impl Pair {
    /// Belief from the start of the pair over `u` steps, `0 ≤ u ≤ 2`.
    fn mass(&self, u: f64, step: f64) -> f64 {
        let [a, b, c] = self.density;
        let slope = (4.0 * b - 3.0 * a - c) / 2.0;
        let bend = (a - 2.0 * b + c) / 2.0;
        step * u * (a + u * (slope / 2.0 + u * bend / 3.0))
    }
}

impl Grid {
    fn new(low: f64, high: f64, density: impl Fn(f64) -> f64) -> Option<Self> {
        let step = (high - low) / f64::from(GRID);
        let logs: Vec<f64> = (0..=GRID).map(|i| density(low + step * f64::from(i))).collect();
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let belief: Vec<f64> = logs.into_iter().map(|log| (log - top).exp()).collect();
        let pairs: Vec<Pair> = (0..GRID)
            .step_by(2)
            .zip(belief.windows(3).step_by(2))
            .filter_map(|(i, of)| Some(Pair { start: low + step * f64::from(i), density: of.try_into().ok()? }))
            .collect();
        let total: f64 = pairs.iter().map(|pair| pair.mass(2.0, step)).sum();
        (total > 0.0 && total.is_finite()).then_some(Self { pairs, step, total })
    }

    /// The shift below which `share` of the belief lies.
    fn quantile(&self, share: f64) -> Option<f64> {
        let mut wanted = share * self.total;
        for pair in &self.pairs {
            let mass = pair.mass(2.0, self.step);
            if wanted <= mass {
                let (mut low, mut high) = (0.0, 2.0);
                for _ in 0..50 {
                    let middle = f64::midpoint(low, high);
                    if pair.mass(middle, self.step) < wanted { low = middle } else { high = middle }
                }
                return Some(pair.start + self.step * low);
            }
            wanted -= mass;
        }
        None
    }
}
