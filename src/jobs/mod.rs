//! What the program does by itself, one drainable step at a time.

pub mod housekeeping;
pub mod outbox;
pub mod outside;
