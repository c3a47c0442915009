//! Pages for everybody.

mod book;
mod go_on;
mod set_up;
mod sign_in;
