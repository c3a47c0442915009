//! Tests in a real browser: what a person sees, does and can't do.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may fail where it stands")]

mod away;
mod book;
mod chair;
mod harness;
mod keyboard;
mod pages;
mod passkeys;
mod pictures;
mod set_up;
mod support;
mod walk;
mod without_scripts;

/// People and a studio in a server of this very process, so that its clock can be moved.
#[path = "../it/support/mod.rs"]
#[expect(dead_code, reason = "these tests need a part of it")]
mod people;
