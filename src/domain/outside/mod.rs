//! A calendar elsewhere (RFC 5545), of which only the busy times are wanted.

mod address;
mod file;
mod repeat;
mod value;

pub use address::{Address, AddressRefused};
pub use file::{Unreadable, busy_times};
pub use repeat::Repeat;
