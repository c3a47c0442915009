//! Mail: typed messages in, letters out. No health data and no name of a treatment in any of them.

pub mod messages;
pub mod transport;
