//! The rules: no IO, no clock, no randomness.

/// Keeps what is in these types out of `Debug`, and so out of logs.
macro_rules! hidden {
    ($($name:ident),+) => {$(
        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(concat!(stringify!($name), "(hidden)"))
            }
        }
    )+};
}

pub mod accent;
pub mod age;
pub mod bottle;
pub mod catalogue;
pub mod checklist;
pub mod consent;
pub mod file;
pub mod fingerprint;
pub mod growth;
pub mod harm;
pub mod hours;
pub mod ids;
pub mod iso;
pub mod label;
pub mod letter;
pub mod limits;
pub mod mark;
pub mod money;
pub mod outside;
pub mod paper;
pub mod person;
pub mod questionnaire;
pub mod reaction;
pub mod readiness;
pub mod retention;
pub mod retouch;
pub mod role;
pub mod rotation;
pub mod schedule;
pub mod screening;
pub mod shield;
mod shipped;
pub mod skin_test;
pub mod span;
pub mod steps;
pub mod takeover;
pub mod timing;
pub mod verdict;
pub mod visit;
pub mod why;
pub mod window;
pub mod wish;
pub mod zone;

#[cfg(test)]
mod tests;
