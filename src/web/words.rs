//! What refusals are called on pages: short, kind, and how to put it right.

use crate::domain::money::MoneyRefused;
use crate::domain::person::{BirthDateRefused, MailRefused, PersonNameRefused, PhoneRefused};
use crate::password::PasswordRefused;

/// No such time zone.
pub const ZONE: &str = "Choose a time zone from the list, such as Europe/London.";
/// No such currency.
pub const CURRENCY: &str = "Write the currency in three letters, such as EUR or GBP.";
/// Nothing was chosen.
pub const CHOOSE: &str = "Please choose one.";
/// Nothing was written.
pub const MISSING: &str = "Please fill this in.";

/// About a new password.
pub fn password(refusal: &PasswordRefused) -> String {
    match refusal {
        PasswordRefused::TooShort => {
            "Use at least 15 characters. A few words in a row are easy to keep in mind.".to_owned()
        }
        PasswordRefused::TooLong => "That is longer than 1024 bytes. A shorter one does.".to_owned(),
        PasswordRefused::Guessable => "That is one of the first that somebody would try. Use other words.".to_owned(),
    }
}

/// About an amount.
pub fn money(refusal: &MoneyRefused) -> String {
    match refusal {
        MoneyRefused::NotAnAmount => "Write the amount in figures, such as 45 or 45.50.".to_owned(),
        MoneyRefused::TooFine => "That has more digits after the point than the currency knows.".to_owned(),
        MoneyRefused::TooLarge => "That is too large an amount.".to_owned(),
    }
}

/// About a name.
pub fn name(refusal: &PersonNameRefused) -> String {
    match refusal {
        PersonNameRefused::Missing => "Please write the name.".to_owned(),
        PersonNameRefused::TooLong { most, .. } => {
            format!("The name is longer than {most} characters. A shorter form does.")
        }
        PersonNameRefused::Control => {
            "There is a character in it that can't be written. Please type it again.".to_owned()
        }
        PersonNameRefused::NoLetter => "A name has at least one letter.".to_owned(),
    }
}

/// About a mail address.
pub fn mail(refusal: &MailRefused) -> String {
    match refusal {
        MailRefused::Missing => "Please write the mail address.".to_owned(),
        MailRefused::TooLong => "That is longer than a mail address can be.".to_owned(),
        MailRefused::NotAscii => "Use only plain letters, figures and signs in the mail address.".to_owned(),
        MailRefused::NoAt => "A mail address has an @ in it, such as name@example.org.".to_owned(),
        MailRefused::Name => "Something is missing or odd before the @.".to_owned(),
        MailRefused::Domain => "Something is missing or odd after the @, such as example.org.".to_owned(),
    }
}

/// About a phone number.
pub fn phone(refusal: &PhoneRefused) -> String {
    match refusal {
        PhoneRefused::Missing => "Please write the phone number.".to_owned(),
        PhoneRefused::Letter => "Use figures, spaces and a + in the phone number.".to_owned(),
        PhoneRefused::TooShort => "That is too short for a phone number.".to_owned(),
        PhoneRefused::TooLong => "That is too long for a phone number.".to_owned(),
        PhoneRefused::Country => "Write the country code as it is dialled, such as +44.".to_owned(),
    }
}

/// About a date of birth.
pub fn birth(refusal: &BirthDateRefused) -> String {
    match refusal {
        BirthDateRefused::Missing => "Please give the day, month and year of birth.".to_owned(),
        BirthDateRefused::NotADate => "That day isn't in the calendar. Write it like 27 3 1990.".to_owned(),
        BirthDateRefused::Future => "That day is still to come.".to_owned(),
        BirthDateRefused::TooOld => "That is more than 120 years ago.".to_owned(),
    }
}
