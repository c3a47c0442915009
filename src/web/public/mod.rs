//! Pages for everybody: set-up, booking, signing in and out.

pub mod book;
pub mod earlier;
pub mod feed;
pub mod go_on;
pub mod invited;
pub mod link;
pub mod privacy;
pub mod services;
pub mod set_up;
pub mod sign_in;
pub mod sign_out;
pub mod skin_test;
pub mod styleguide;
pub mod team;
pub mod unsubscribe;
