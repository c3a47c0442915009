//! Pages of the owner.

pub mod home;
