//! A server of its own for each test, and people who use it as a browser does.
#![expect(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test may fail where it stands")]

pub(crate) mod app;
pub(crate) mod booking;
pub(crate) mod chair;
pub(crate) mod html;
pub(crate) mod person;
pub(crate) mod studio;

pub(crate) use app::TestApp;
pub(crate) use html::Html;
pub(crate) use person::Person;
pub(crate) use studio::Studio;
