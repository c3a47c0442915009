//! Commands of the program, each from its arguments to what it prints.

pub mod window;
