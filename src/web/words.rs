//! What refusals are called on pages: short, kind, and how to put it right.

use time::{Date, PrimitiveDateTime};

use crate::documents::upload::UploadRefused;
use crate::domain::catalogue::{Area, Chemistry, ServiceKind};
use crate::domain::growth::CycleName;
use crate::domain::hours::{HoursRefused, clock};
use crate::domain::label::TextRefused;
use crate::domain::limits::{Ingredient, Misfit, Warning};
use crate::domain::money::{Currency, MoneyRefused};
use crate::domain::person::{BirthDateRefused, MailRefused, PersonNameRefused, PhoneRefused};
use crate::password::PasswordRefused;

/// No such time zone.
pub const ZONE: &str = "Choose a time zone from the list, such as Europe/London.";
/// Not a colour.
pub const COLOUR: &str = "Choose a colour, or write it as # and six digits, such as #1f5646.";
/// No such currency.
pub const CURRENCY: &str = "Write the currency in three letters, such as EUR or GBP.";
/// Nothing was chosen.
pub const CHOOSE: &str = "Please choose one.";
/// Nothing was written.
pub const MISSING: &str = "Please fill this in.";

/// No such country code.
pub const DIAL: &str = "Write the country code as it is dialled, such as +44.";
/// Two people would sign in with one mail.
pub const MAIL_TAKEN: &str = "Somebody signs in with this mail already. Use another one.";
/// No such day.
pub const DAY: &str = "Choose a day, or write it like 2026-03-27.";

/// A day as people say it: `Tue 4 March 2026`.
pub fn day(day: Date) -> String {
    let weekday = day.weekday().to_string();
    format!("{} {} {} {}", weekday.get(..3).unwrap_or(&weekday), day.day(), day.month(), day.year())
}

/// A moment on the studio's clock: `Tue 4 March 2026, 09:05`.
pub fn moment(civil: PrimitiveDateTime) -> String {
    format!("{}, {:02}:{:02}", day(civil.date()), civil.hour(), civil.minute())
}

/// Minor units of a currency as an amount is typed.
pub fn amount(minor: impl Into<u64>, currency: &str) -> String {
    let minor = minor.into();
    Currency::parse(currency).map_or_else(|_| minor.to_string(), |currency| currency.plain(minor))
}

/// Who the audit names, but for clients.
pub fn actor(kind: &str, name: &str) -> String {
    match kind {
        "visitor" => "Somebody not signed in".to_owned(),
        "program" => "The program".to_owned(),
        "command" => "The command line".to_owned(),
        _ => name.to_owned(),
    }
}

/// What the audit says was done: `sign-in.refused` becomes "Sign-in refused".
pub fn done(action: &str) -> String {
    let words = action.replace('.', " ");
    let (first, rest) = words.split_at_checked(1).unwrap_or_default();
    first.to_uppercase() + rest
}

/// A kind of service.
pub fn kind(kind: ServiceKind) -> &'static str {
    match kind {
        ServiceKind::LashLift => "Lash lift",
        ServiceKind::LashTint => "Lash tint",
        ServiceKind::LiftAndTint => "Lash lift and tint",
        ServiceKind::BrowLamination => "Brow lamination",
        ServiceKind::BrowTint => "Brow tint",
    }
}

/// What stands beside somebody who can't be booked.
pub fn bookable(active: bool) -> &'static str {
    if active { "" } else { "Can’t be booked just now." }
}

/// A family of chemicals.
pub fn chemistry(chemistry: Chemistry) -> &'static str {
    match chemistry {
        Chemistry::Lotion => "Lifting or laminating lotion",
        Chemistry::Tint => "Tint",
        Chemistry::Adhesive => "Glue for the shield",
    }
}

/// A flagged ingredient.
pub fn ingredient(ingredient: Ingredient) -> &'static str {
    match ingredient {
        Ingredient::Thioglycolate => "Thioglycolic acid or one of its salts",
        Ingredient::ThioglycolateEster => "An ester of thioglycolic acid, such as glyceryl thioglycolate",
        Ingredient::Cysteamine => "Cysteamine",
        Ingredient::Phenylenediamine => "p-Phenylenediamine (PPD)",
        Ingredient::Toluenediamine => "Toluene-2,5-diamine",
        Ingredient::Resorcinol => "Resorcinol",
        Ingredient::SilverNitrate => "Silver nitrate",
        Ingredient::Peroxide => "Hydrogen peroxide, present or released",
        Ingredient::Cyanoacrylate => "Cyanoacrylate",
        Ingredient::Latex => "Latex",
    }
}

/// Where on the face.
pub fn area(area: Area) -> &'static str {
    match area {
        Area::Lash => "lashes",
        Area::Brow => "brows",
    }
}

/// A number that is kept in parts of its unit, such as 1125 hundredths: `11.25`.
pub fn parts(number: u16, of: u16) -> String {
    let text = format!("{:.2}", f64::from(number) / f64::from(of));
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What on a label doesn't fit the rules of a place.
pub fn misfit(warning: &Warning) -> String {
    let (what, place) = (ingredient(warning.ingredient), area(warning.area));
    match warning.what {
        Misfit::NotAllowed => format!("{what}: not allowed on {place}."),
        Misfit::Above(most) => format!("{what}: more than the {} % that are allowed on {place}.", parts(most, 100)),
        Misfit::ShareUnknown(most) => {
            format!("{what}: at most {} % are allowed on {place}, and no share is written here.", parts(most, 100))
        }
        Misfit::Ph(least, most) => format!(
            "{what}: on {place} the pH has to lie between {} and {}.",
            parts(least.into(), 10),
            parts(most.into(), 10)
        ),
        Misfit::ProfessionalOnly => format!("{what}: on {place} only in products for professional use."),
        Misfit::Age(age) => format!("{what}: the label has to say that it is not for anyone under {age}."),
    }
}

/// A set of cycle figures.
pub fn cycle(name: CycleName, mean_days: f64) -> String {
    let from = match name {
        CycleName::Observed => "as watched in a study",
        CycleName::Textbook => "as textbooks add it up",
        CycleName::Review => "as a review gives it",
        CycleName::Own => "the studio’s own figure",
    };
    format!("About {mean_days:.0} days, {from}")
}

/// About a short text.
pub fn text(refusal: &TextRefused) -> String {
    match refusal {
        TextRefused::Missing => MISSING.to_owned(),
        TextRefused::TooLong { most } => format!("That is longer than {most} characters. A shorter form does."),
        TextRefused::Control => "There is a character in it that can't be written. Please type it again.".to_owned(),
    }
}

/// About the hours of a day.
pub fn hours(refusal: &HoursRefused) -> String {
    match refusal {
        HoursRefused::NotATime => "Write times like 9:00 or 17:30.".to_owned(),
        HoursRefused::NotASpan => "Write hours like 9:00-12:30, 13:30-18:00.".to_owned(),
        HoursRefused::Reversed { opens, closes } => {
            format!("From {} to {} isn't a stretch of one day.", clock(*opens), clock(*closes))
        }
        HoursRefused::Overlap { opens } => format!("Two stretches overlap at {}.", clock(*opens)),
        HoursRefused::TooMany { most } => format!("That is more than {most} stretches on one day."),
        HoursRefused::Weekday { .. } | HoursRefused::SameDate { .. } => "That day is there twice.".to_owned(),
    }
}

/// About a number outside its range.
pub fn range(least: i64, most: i64) -> String {
    format!("Write a whole number from {least} to {most}.")
}

/// About a price that another currency has no coins for.
pub fn price_too_fine(service: &str, currency: &str) -> String {
    format!("{currency} has no coins small enough for the price of {service}. Change that price first.")
}

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

/// About a file.
pub fn upload(refusal: &UploadRefused) -> String {
    match refusal {
        UploadRefused::Empty => "The file is empty. Choose it again.".to_owned(),
        UploadRefused::TooLarge => "The file is larger than 10 MB. Choose a smaller one.".to_owned(),
        UploadRefused::Heic => "This is a HEIC photo, which many programs can't show, so it would be of no use to an \
                                insurer. Save or send it as JPEG, or set the phone's camera to “most compatible”."
            .to_owned(),
        UploadRefused::PdfForPhoto => "This is a PDF. Choose a photo: JPEG, PNG or WebP.".to_owned(),
        UploadRefused::Unknown => {
            "This is neither a photo (JPEG, PNG, WebP) nor a PDF, whatever its name says.".to_owned()
        }
        UploadRefused::BrokenPhoto => "The photo is cut off or damaged. Choose it again, or take a new one.".to_owned(),
        UploadRefused::TooManyPixels { width, height, most } => {
            format!("The photo has {width} × {height} pixels. At most {} million are taken.", most / 1_000_000)
        }
        UploadRefused::BrokenPdf => {
            "The PDF is cut off or damaged, or can't be looked into. A photo of the paper does as well.".to_owned()
        }
        UploadRefused::LockedPdf => {
            "The PDF is locked, so it can't be checked. Save it without a password, or take a photo.".to_owned()
        }
        UploadRefused::ActivePdf => "The PDF holds a script, a form or another file, which is not kept here. Print it \
                                     as a plain PDF, or take a photo."
            .to_owned(),
    }
}

/// About a picture that was chosen as logo.
pub fn logo(refusal: &UploadRefused) -> String {
    match refusal {
        UploadRefused::Unknown | UploadRefused::PdfForPhoto => {
            "This is no JPEG, PNG or WebP picture. Save the logo as one of these: an SVG can hold scripts, so it is not \
             taken."
                .to_owned()
        }
        other => upload(other),
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
