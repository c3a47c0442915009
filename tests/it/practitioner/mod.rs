//! Pages of the practitioner, and the case they show.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod case;
