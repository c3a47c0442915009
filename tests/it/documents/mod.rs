//! What leaves the studio: papers, tables, packages.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod fhir;
mod package;
mod pdf;
pub(crate) mod sample;
mod signed;
mod tables;
pub(crate) mod upload;
