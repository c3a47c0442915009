//! Pages for everybody.

mod set_up;
mod sign_in;
