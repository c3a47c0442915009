//! Pages for everybody.

mod book;
mod go_on;
mod holds;
mod meanwhile;
mod set_up;
mod sign_in;
mod tested;
