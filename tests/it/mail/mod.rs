//! Mail: what is written when, and what arrives at a real mail server.
#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a test may fail where it stands")]

mod held_up;
mod reminders;
mod server;
