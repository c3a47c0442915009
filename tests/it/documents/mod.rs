//! What leaves the studio: papers, tables, packages.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first surprise")]

mod package;
mod pdf;
mod sample;
mod tables;
