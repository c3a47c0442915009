//! Pages of the practitioner.
