//! What a studio takes over from its papers and spreadsheets: who her clients are, when they were treated, and which skin
//! tests they had.
//!
//! What was done elsewhere is told, not recorded: a visit moves the retouch window and a reaction blocks its product, but
//! no test from elsewhere clears anybody. Nobody here saw which batch was used, how long it was on or who looked, and a
//! wrong *clear* ends at somebody's eye, while a test too many costs a few days.

mod column;
mod day;
mod plan;
mod row;

pub use column::{Column, Mapping, MappingRefused};
pub use day::{DayOrder, DayRefused, read_day};
pub use plan::{Fate, Gathered, Planned, plan};
pub use row::{Catalogue, PastTest, PastVisit, Person, Row, Told, Wrong};

#[cfg(test)]
mod tests;
