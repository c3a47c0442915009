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
use crate::passkey::NoPlace;
use crate::password::PasswordRefused;
use crate::store::Unread;
use crate::when;
use crate::{msg, t, tf};

pub use crate::language::decimal;
pub use crate::web::deeds::done;

/// What stands in the place of what can't be read.
pub fn unread(why: Unread) -> &'static str {
    t(match why {
        Unread::Erased => msg("Was erased: it can’t be read any more"),
        Unread::NoKey => msg("Can’t be read: the key is missing"),
        Unread::Changed => msg("Can’t be read: it was changed or moved"),
    })
}

/// No such time zone.
pub const ZONE: &str = msg("Choose a time zone from the list, such as Europe/London.");
/// Not a colour.
pub const COLOUR: &str = msg("Choose a colour, or write it as # and six digits, such as #1f5646.");
/// No such currency.
pub const CURRENCY: &str = msg("Write the currency in three letters, such as EUR or GBP.");
/// Nothing was chosen.
pub const CHOOSE: &str = msg("Please choose one.");
/// Nothing was written.
pub const MISSING: &str = msg("Please fill this in.");

/// No such country code.
pub const DIAL: &str = msg("Write the country code as it is dialled, such as +44.");
/// Two people would sign in with one mail.
pub const MAIL_TAKEN: &str = msg("Somebody signs in with this mail already. Use another one.");
/// No such day.
pub const DAY: &str = msg("Choose a day, or write it like 2026-03-27.");

/// A day as people say it: `Tue 4 March 2026`.
pub fn day(day: Date) -> String {
    when::short_date(day)
}

/// A moment on the studio's clock: `Tue 4 March 2026, 09:05`.
pub fn moment(civil: PrimitiveDateTime) -> String {
    tf("{day}, {clock}").with("day", day(civil.date())).with("clock", when::clock(civil)).to_string()
}

/// Minor units of a currency as an amount is typed.
pub fn amount(minor: impl Into<u64>, currency: &str) -> String {
    let minor = minor.into();
    Currency::parse(currency).map_or_else(|_| minor.to_string(), |currency| currency.plain(minor))
}

/// Who the audit names, but for clients.
pub fn actor(kind: &str, name: &str) -> String {
    match kind {
        "visitor" => t("Somebody not signed in").to_owned(),
        "program" => t("The program").to_owned(),
        "command" => t("The command line").to_owned(),
        _ => name.to_owned(),
    }
}

/// A kind of service.
pub fn kind(kind: ServiceKind) -> &'static str {
    match kind {
        ServiceKind::LashLift => t("Lash lift"),
        ServiceKind::LashTint => t("Lash tint"),
        ServiceKind::LiftAndTint => t("Lash lift and tint"),
        ServiceKind::BrowLamination => t("Brow lamination"),
        ServiceKind::BrowTint => t("Brow tint"),
    }
}

/// What stands beside somebody who can't be booked.
pub fn bookable(active: bool) -> &'static str {
    if active { "" } else { t("Can’t be booked just now.") }
}

/// A family of chemicals.
pub fn chemistry(chemistry: Chemistry) -> &'static str {
    match chemistry {
        Chemistry::Lotion => t("Lifting or laminating lotion"),
        Chemistry::Tint => t("Tint"),
        Chemistry::Adhesive => t("Glue for the shield"),
    }
}

/// A flagged ingredient.
pub fn ingredient(ingredient: Ingredient) -> &'static str {
    match ingredient {
        Ingredient::Thioglycolate => t("Thioglycolic acid or one of its salts"),
        Ingredient::ThioglycolateEster => t("An ester of thioglycolic acid, such as glyceryl thioglycolate"),
        Ingredient::Cysteamine => t("Cysteamine"),
        Ingredient::Phenylenediamine => t("p-Phenylenediamine (PPD)"),
        Ingredient::Toluenediamine => t("Toluene-2,5-diamine"),
        Ingredient::Resorcinol => t("Resorcinol"),
        Ingredient::SilverNitrate => t("Silver nitrate"),
        Ingredient::Peroxide => t("Hydrogen peroxide, present or released"),
        Ingredient::Cyanoacrylate => t("Cyanoacrylate"),
        Ingredient::Latex => t("Latex"),
    }
}

/// Where on the face.
pub fn area(area: Area) -> &'static str {
    match area {
        Area::Lash => t("lashes"),
        Area::Brow => t("brows"),
    }
}

/// A number that is kept in parts of its unit, such as 1125 hundredths: `11.25`.
pub fn parts(number: u16, of: u16) -> String {
    let text = format!("{:.2}", f64::from(number) / f64::from(of));
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What on a label doesn't fit the rules of a place.
pub fn misfit(warning: &Warning) -> String {
    let figure = |number: u16, of| decimal(&parts(number, of));
    let said = match warning.what {
        Misfit::NotAllowed => tf("{what}: not allowed on {place}."),
        Misfit::Above(most) => {
            tf("{what}: more than the {share} % that are allowed on {place}.").with("share", figure(most, 100))
        }
        Misfit::ShareUnknown(most) => {
            tf("{what}: at most {share} % are allowed on {place}, and no share is written here.")
                .with("share", figure(most, 100))
        }
        Misfit::Ph(least, most) => tf("{what}: on {place} the pH has to lie between {least} and {most}.")
            .with("least", figure(least.into(), 10))
            .with("most", figure(most.into(), 10)),
        Misfit::ProfessionalOnly => tf("{what}: on {place} only in products for professional use."),
        Misfit::Age(age) => tf("{what}: the label has to say that it is not for anyone under {age}.").with("age", age),
    };
    said.with("what", ingredient(warning.ingredient)).with("place", area(warning.area)).to_string()
}

/// A set of cycle figures.
pub fn cycle(name: CycleName, mean_days: f64) -> String {
    let said = match name {
        CycleName::Observed => tf("About {days} days, as watched in a study"),
        CycleName::Textbook => tf("About {days} days, as textbooks add it up"),
        CycleName::Review => tf("About {days} days, as a review gives it"),
        CycleName::Own => tf("About {days} days, the studio’s own figure"),
    };
    said.with("days", format!("{mean_days:.0}")).to_string()
}

/// About a short text.
pub fn text(refusal: &TextRefused) -> String {
    match refusal {
        TextRefused::Missing => t(MISSING).to_owned(),
        TextRefused::TooLong { most } => {
            tf("That is longer than {most} characters. A shorter form does.").with("most", most).to_string()
        }
        TextRefused::Control => t("There is a character in it that can't be written. Please type it again.").to_owned(),
    }
}

/// Why there can be no passkeys here.
pub fn no_passkeys(none: NoPlace) -> &'static str {
    match none {
        NoPlace::NotSecure => t(
            "Browsers make passkeys only for an address that begins with https://, and this studio’s doesn’t yet. Whoever looks after its server can change that. An authenticator app works meanwhile.",
        ),
        NoPlace::NoName => t(
            "Passkeys are made for an address with a name, such as book.example.org, and this studio is reached by numbers. Whoever looks after its server can change that. An authenticator app works meanwhile.",
        ),
    }
}

/// A passkey's counter went back.
pub fn copied_passkey() -> &'static str {
    t(
        "This passkey was refused: its counter went back, so somebody may have a copy of it. Take another way in, and remove it.",
    )
}

/// About the hours of a day.
pub fn hours(refusal: &HoursRefused) -> String {
    match refusal {
        HoursRefused::NotATime => t("Write times like 9:00 or 17:30.").to_owned(),
        HoursRefused::NotASpan => t("Write hours like 9:00-12:30, 13:30-18:00.").to_owned(),
        HoursRefused::Reversed { opens, closes } => tf("From {from} to {to} isn't a stretch of one day.")
            .with("from", clock(*opens))
            .with("to", clock(*closes))
            .to_string(),
        HoursRefused::Overlap { opens } => {
            tf("Two stretches overlap at {time}.").with("time", clock(*opens)).to_string()
        }
        HoursRefused::TooMany { most } => {
            tf("That is more than {most} stretches on one day.").with("most", most).to_string()
        }
        HoursRefused::Weekday { .. } | HoursRefused::SameDate { .. } => t("That day is there twice.").to_owned(),
    }
}

/// About a number outside its range.
pub fn range(least: i64, most: i64) -> String {
    tf("Write a whole number from {least} to {most}.").with("least", least).with("most", most).to_string()
}

/// About a price that another currency has no coins for.
pub fn price_too_fine(service: &str, currency: &str) -> String {
    tf("{currency} has no coins small enough for the price of {service}. Change that price first.")
        .with("currency", currency)
        .with("service", service)
        .to_string()
}

/// About a new password.
pub fn password(refusal: &PasswordRefused) -> String {
    match refusal {
        PasswordRefused::TooShort => {
            t("Use at least 15 characters. A few words in a row are easy to keep in mind.").to_owned()
        }
        PasswordRefused::TooLong => t("That is longer than 1024 bytes. A shorter one does.").to_owned(),
        PasswordRefused::Guessable => {
            t("That is soon guessed: common words, your own name and the studio’s make it no harder. Use a few other words.").to_owned()
        }
    }
}

/// A client has sent as many files as she may.
pub fn no_room_for_files() -> &'static str {
    t("You have sent so many files that there is no room for more here. Please write to the studio.")
}

/// A client has sent as many files today as she may in a day.
pub fn enough_files_today() -> &'static str {
    t("You have sent many files today. Please send this one tomorrow, or write to the studio.")
}

/// About a file.
pub fn upload(refusal: &UploadRefused) -> String {
    match refusal {
        UploadRefused::Empty => t("The file is empty. Choose it again.").to_owned(),
        UploadRefused::TooLarge => t("The file is larger than 10 MB. Choose a smaller one.").to_owned(),
        UploadRefused::Heic => {
            t("This is a HEIC photo, which many programs can't show, so it would be of no use to an \
                                insurer. Save or send it as JPEG, or set the phone's camera to “most compatible”.")
            .to_owned()
        }
        UploadRefused::PdfForPhoto => t("This is a PDF. Choose a photo: JPEG, PNG or WebP.").to_owned(),
        UploadRefused::Unknown => {
            t("This is neither a photo (JPEG, PNG, WebP) nor a PDF, whatever its name says.").to_owned()
        }
        UploadRefused::BrokenPhoto => {
            t("The photo is cut off or damaged. Choose it again, or take a new one.").to_owned()
        }
        UploadRefused::TooManyPixels { width, height, most } => {
            tf("The photo has {width} × {height} pixels. At most {most} million are taken.")
                .with("width", width)
                .with("height", height)
                .with("most", most / 1_000_000)
                .to_string()
        }
        UploadRefused::BrokenPdf => {
            t("The PDF is cut off or damaged, or can't be looked into. A photo of the paper does as well.").to_owned()
        }
        UploadRefused::LockedPdf => {
            t("The PDF is locked, so it can't be checked. Save it without a password, or take a photo.").to_owned()
        }
        UploadRefused::ActivePdf => {
            t("The PDF holds a script, a form or another file, which is not kept here. Print it \
                                     as a plain PDF, or take a photo.")
            .to_owned()
        }
    }
}

/// About a picture that was chosen as logo.
pub fn logo(refusal: &UploadRefused) -> String {
    match refusal {
        UploadRefused::Unknown | UploadRefused::PdfForPhoto => {
            t("This is no JPEG, PNG or WebP picture. Save the logo as one of these: an SVG can hold scripts, so it is not \
             taken.")
                .to_owned()
        }
        other => upload(other),
    }
}

/// About an amount.
pub fn money(refusal: &MoneyRefused) -> String {
    match refusal {
        MoneyRefused::NotAnAmount => t("Write the amount in figures, such as 45 or 45.50.").to_owned(),
        MoneyRefused::TooFine => t("That has more digits after the point than the currency knows.").to_owned(),
        MoneyRefused::TooLarge => t("That is too large an amount.").to_owned(),
    }
}

/// About a name.
pub fn name(refusal: &PersonNameRefused) -> String {
    match refusal {
        PersonNameRefused::Missing => t("Please write the name.").to_owned(),
        PersonNameRefused::TooLong { most, .. } => {
            tf("The name is longer than {most} characters. A shorter form does.").with("most", most).to_string()
        }
        PersonNameRefused::Control => {
            t("There is a character in it that can't be written. Please type it again.").to_owned()
        }
        PersonNameRefused::NoLetter => t("A name has at least one letter.").to_owned(),
    }
}

/// About a mail address.
pub fn mail(refusal: &MailRefused) -> String {
    match refusal {
        MailRefused::Missing => t("Please write the mail address.").to_owned(),
        MailRefused::TooLong => t("That is longer than a mail address can be.").to_owned(),
        MailRefused::NotAscii => t("Use only plain letters, figures and signs in the mail address.").to_owned(),
        MailRefused::NoAt => t("A mail address has an @ in it, such as name@example.org.").to_owned(),
        MailRefused::Name => t("Something is missing or odd before the @.").to_owned(),
        MailRefused::Domain => t("Something is missing or odd after the @, such as example.org.").to_owned(),
    }
}

/// About a phone number.
pub fn phone(refusal: &PhoneRefused) -> String {
    match refusal {
        PhoneRefused::Missing => t("Please write the phone number.").to_owned(),
        PhoneRefused::Letter => t("Use figures, spaces and a + in the phone number.").to_owned(),
        PhoneRefused::TooShort => t("That is too short for a phone number.").to_owned(),
        PhoneRefused::TooLong => t("That is too long for a phone number.").to_owned(),
        PhoneRefused::Country => t("Write the country code as it is dialled, such as +44.").to_owned(),
    }
}

/// About a date of birth.
pub fn birth(refusal: &BirthDateRefused) -> String {
    match refusal {
        BirthDateRefused::Missing => t("Please give the day, month and year of birth.").to_owned(),
        BirthDateRefused::NotADate => t("That day isn't in the calendar. Write it like 27 3 1990.").to_owned(),
        BirthDateRefused::Future => t("That day is still to come.").to_owned(),
        BirthDateRefused::TooOld => t("That is more than 120 years ago.").to_owned(),
    }
}
