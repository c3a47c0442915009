//! Pages of the team between the password and everything else, and about one's own sign-in.

pub mod code;
pub mod own;
pub mod passkey;
pub mod password;
pub mod proof;
pub mod second_factor;
