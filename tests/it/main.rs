//! The integration tests: one binary, filed like the program.

mod calendars;
mod client;
mod demo;
mod documents;
mod face;
mod failure;
mod growth;
mod health;
mod lifecycle;
mod owner;
mod practitioner;
mod public;
mod race;
mod routes;
mod schedule;
mod support;
mod tidy;
mod zones_taken_up;
