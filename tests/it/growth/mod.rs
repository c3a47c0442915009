//! The growth cycle against the outside world: published values, an independent numerical library, a
//! simulation that knows nothing of the formula, and the properties that every parameter set has.

#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on says where")]
#![expect(clippy::cast_precision_loss, reason = "the numbers of days and lashes are small")]

mod calibration;
mod check_values;
mod command;
mod pictures;
mod properties;
mod reference;
mod simulation;
mod trade;

use palpebra::domain::growth::{CycleFigures, CycleName, CycleSet};
use time::{Date, Duration, macros::date};

const ORIGIN: Date = date!(2020 - 01 - 01);

/// So many days after a fixed day.
fn day(n: i64) -> Date {
    ORIGIN + Duration::days(n)
}

/// A set with these figures; `liftable_age` is τ in days.
fn set(mean_days: f64, cv: f64, liftable_age: f64) -> CycleSet {
    let figures = CycleFigures {
        mean_days,
        cv,
        growth_mm_per_day: 0.12,
        growing_days: mean_days.min(34.0),
        liftable_mm: liftable_age * 0.12,
    };
    CycleSet::parse(CycleName::Own, "made up for a test", figures).unwrap()
}
