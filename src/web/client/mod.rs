//! A client's own pages.

pub mod agreements;
pub mod calendar;
pub mod cancel;
pub mod copy;
pub mod data;
pub mod earlier;
pub mod letters;
pub mod needs;
pub mod paper;
pub mod relocate;
pub mod return_again;
pub mod sign;
pub mod visits;
