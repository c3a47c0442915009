//! What is known of a person, read and checked. `Debug` shows none of it, so that it stays out of logs.

use std::fmt;

mod birth;
mod mail;
mod name;
mod phone;

pub(super) use birth::iso_date;
pub use birth::{BirthDate, BirthDateRefused};
pub use mail::{Mail, MailRefused};
pub(super) use name::is_control;
pub use name::{PersonName, PersonNameRefused};
pub use phone::{HomeDial, HomeDialRefused, Phone, PhoneRefused};

macro_rules! hidden {
    ($($name:ident),+) => {$(
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(concat!(stringify!($name), "(hidden)"))
            }
        }
    )+};
}

hidden!(PersonName, Mail, Phone, BirthDate);

#[cfg(test)]
mod tests;
