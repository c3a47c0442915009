//! Weekly hours, breaks, days off.
