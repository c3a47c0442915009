//! Pages for everybody.

mod book;
mod set_up;
mod sign_in;
