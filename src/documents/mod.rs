//! Typed input to bytes: PDF, calendar, CSV and the export package. No clock; every time is given.

pub mod csv;
pub mod digest;
mod fhir;
pub mod ics;
pub mod package;
pub mod pdf;
pub mod record;
pub mod sheet;
pub mod svg;
pub mod tables;
pub mod upload;
pub mod verify;
