//! The health questions, as versioned data, and the answers to them.
