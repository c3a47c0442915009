//! What is known of a person, read and checked. `Debug` shows none of it, so that it stays out of logs.

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

hidden!(PersonName, Mail, Phone, BirthDate);

#[cfg(test)]
mod tests;
