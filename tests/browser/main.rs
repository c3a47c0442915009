//! Tests in a real browser: what a person sees, does and can't do.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may fail where it stands")]

mod harness;
mod pages;
mod pictures;
mod set_up;
mod support;
mod walk;
