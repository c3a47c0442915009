//! The team's way in, and what it is asked for once it is in.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod feed;
mod passkeys;
mod proof;
mod second_factor;
mod sign_in;
