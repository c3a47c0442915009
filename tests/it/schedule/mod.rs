//! Civil time and free times, against independent models.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod free;
mod model;
mod moves;
mod pairs;
mod zones;
