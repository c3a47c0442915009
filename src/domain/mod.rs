//! The rules: no IO, no clock, no randomness.

pub mod age;
pub mod catalogue;
pub mod consent;
pub mod fingerprint;
pub mod growth;
pub mod hours;
pub mod ids;
pub mod iso;
pub mod label;
pub mod letter;
pub mod limits;
pub mod money;
pub mod person;
pub mod questionnaire;
pub mod reaction;
pub mod readiness;
pub mod role;
pub mod schedule;
pub mod screening;
pub mod shield;
pub mod skin_test;
pub mod span;
pub mod verdict;
pub mod visit;
pub mod window;
pub mod zone;
