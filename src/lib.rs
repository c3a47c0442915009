//! Palpebra: booking and client records for a small lash and brow studio.
//!
//! A request goes from [`web`] to one function of [`actions`] (a change) or to [`store`] (a look);
//! the rules themselves are in [`domain`], which knows neither the clock nor the database.

pub mod actions;
pub mod apart;
pub mod app;
pub mod cli;
pub mod clock;
pub mod documents;
pub mod domain;
pub mod durable;
pub mod jobs;
pub mod language;
pub mod mail;
pub mod passkey;
pub mod password;
pub mod person_keys;
pub mod sealing;
pub mod second_factor;
pub mod store;
pub mod studio_key;
pub mod web;
pub mod when;

pub use language::{msg, t, tc, tf, tm, tn};
