//! Free times.
