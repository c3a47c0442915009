//! Skin tests: applied, read, still valid, failed.
