//! The integration tests: one binary, filed like the program.

mod access;
mod bytes;
mod calendars;
mod client;
mod demo;
mod documents;
mod face;
mod failure;
mod growth;
mod health;
mod lifecycle;
mod mail;
mod owner;
mod practitioner;
mod process;
mod public;
mod race;
mod routes;
mod schedule;
mod supply;
mod support;
mod team;
mod tidy;
mod upgrade;
mod web;
mod zones_taken_up;
