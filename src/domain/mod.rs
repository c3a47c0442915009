//! The rules: no IO, no clock, no randomness.

pub mod catalogue;
pub mod growth;
pub mod hours;
pub mod ids;
pub mod money;
pub mod person;
pub mod questionnaire;
pub mod readiness;
pub mod schedule;
pub mod screening;
pub mod skin_test;
pub mod visit;
pub mod window;
pub mod zone;
