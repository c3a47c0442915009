//! The integration tests: one binary, filed like the program.

mod documents;
mod face;
mod growth;
mod health;
mod practitioner;
mod public;
mod schedule;
mod support;
mod tidy;
