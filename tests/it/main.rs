//! The integration tests: one binary, filed like the program.

mod face;
mod growth;
mod schedule;
mod tidy;
