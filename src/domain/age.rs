//! Date of birth, and what a client's age allows.

use std::fmt;

use serde::{Deserialize, Serialize};
use time::Date;
use time::macros::format_description;

use super::catalogue::{Chemistry, ServiceKind};
use super::iso;

/// A date of birth: not in the future, at most 120 years ago when it was read.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BirthDate(#[serde(with = "iso::day")] Date);

/// Why a text is not a date of birth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BirthDateRefused {
    /// Nothing was given.
    #[error("a date of birth is needed")]
    Missing,
    /// It is not a day of the calendar written as year-month-day.
    #[error("write the date as year-month-day, such as 1990-04-23")]
    Malformed,
    /// It lies in the future.
    #[error("a date of birth can't be in the future")]
    Future,
    /// It lies more than 120 years back.
    #[error("a date of birth can't be more than 120 years ago")]
    TooLongAgo,
}

/// The age after which a date of birth is taken for a slip, in years.
const OLDEST: i32 = 120;
/// Oxidative tint carries the label line "not intended for use on persons under the age of 16"
/// (Regulation (EC) 1223/2009, Annex III entries 8b, 9a and 22). Fixed: no studio may lower it.
pub const TINT_FROM: i32 = 16;
/// The age from which a client consents alone by default (common practice, no source).
pub const ADULT_FROM: i32 = 18;

impl BirthDate {
    /// Reads `1990-04-23`, as a date field sends it.
    ///
    /// # Errors
    /// [`BirthDateRefused`] says which limit was crossed.
    pub fn parse(text: &str, today: Date) -> Result<Self, BirthDateRefused> {
        let text = text.trim();
        if text.is_empty() {
            return Err(BirthDateRefused::Missing);
        }
        let day =
            Date::parse(text, format_description!("[year]-[month]-[day]")).map_err(|_| BirthDateRefused::Malformed)?;
        Self::on(day, today)
    }

    /// Takes a day.
    ///
    /// # Errors
    /// [`BirthDateRefused`] when it is in the future or too long ago.
    pub fn on(day: Date, today: Date) -> Result<Self, BirthDateRefused> {
        if day > today {
            return Err(BirthDateRefused::Future);
        }
        if years_between(day, today) > OLDEST {
            return Err(BirthDateRefused::TooLongAgo);
        }
        Ok(Self(day))
    }

    /// The day.
    pub fn day(self) -> Date {
        self.0
    }

    /// Full years on `day`; somebody born on 29 February is a year older on 1 March in years
    /// without that day, the later of the two readings. Zero before the birth.
    pub fn age_on(self, day: Date) -> i32 {
        years_between(self.0, day).max(0)
    }

    /// The day on which somebody is `age` years old.
    pub fn turns(self, age: i32) -> Date {
        let year = self.0.year() + age;
        Date::from_calendar_date(year, self.0.month(), self.0.day())
            .or_else(|_| Date::from_calendar_date(year, time::Month::March, 1))
            .unwrap_or(Date::MAX)
    }
}

impl fmt::Debug for BirthDate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("BirthDate(..)")
    }
}

fn years_between(from: Date, to: Date) -> i32 {
    let whole = to.year() - from.year();
    let before_birthday = (u8::from(to.month()), to.day()) < (u8::from(from.month()), from.day());
    if before_birthday { whole - 1 } else { whole }
}

/// Whose chemistry rules the studio works under.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Jurisdiction {
    /// European Union or United Kingdom: Regulation (EC) 1223/2009 and its UK form.
    EuUk,
    /// United States.
    Us,
    /// Anywhere else: the label and local codes alone.
    Other,
}

impl Jurisdiction {
    /// Every jurisdiction.
    pub const ALL: [Self; 3] = [Self::EuUk, Self::Us, Self::Other];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::EuUk => "eu_uk",
            Self::Us => "us",
            Self::Other => "other",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|jurisdiction| jurisdiction.as_str() == word)
    }
}

/// What the studio does with clients under 16 for services without tint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Under16 {
    /// It does not treat them.
    Refuse,
    /// It treats them when a parent or guardian signs and is present.
    GuardianPresent,
}

/// The studio's choices about age. The line of 16 for tint is not among them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct AgePolicy {
    /// Clients under 16, services without tint.
    pub under_16: Under16,
    /// Whether 16- and 17-year-olds need a guardian's signature.
    pub guardian_under_18: bool,
}

impl Default for AgePolicy {
    fn default() -> Self {
        Self { under_16: Under16::Refuse, guardian_under_18: true }
    }
}

/// A parent's or guardian's part, as far as it is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct GuardianPart {
    /// The guardian has signed.
    pub signed: bool,
    /// The guardian is, or will be, present.
    pub present: bool,
}

/// What age says about a service on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum AgeStanding {
    /// Nothing stands against it.
    Clear,
    /// A date of birth was never given.
    Unknown,
    /// Tint under 16: never.
    TintUnder16,
    /// The studio does not treat clients under 16.
    Under16,
    /// Under 16, and a guardian must sign and be present.
    GuardianPresence,
    /// 16 or 17, and a guardian must sign.
    GuardianSignature,
}

/// What age says about a service on a day.
pub fn standing(
    birth: Option<BirthDate>,
    service: ServiceKind,
    on: Date,
    policy: AgePolicy,
    guardian: GuardianPart,
) -> AgeStanding {
    let Some(birth) = birth else { return AgeStanding::Unknown };
    let age = birth.age_on(on);
    if age >= ADULT_FROM {
        return AgeStanding::Clear;
    }
    if age >= TINT_FROM {
        let open = policy.guardian_under_18 && !guardian.signed;
        return if open { AgeStanding::GuardianSignature } else { AgeStanding::Clear };
    }
    if service.chemistries().contains(&Chemistry::Tint) {
        return AgeStanding::TintUnder16;
    }
    match policy.under_16 {
        Under16::Refuse => AgeStanding::Under16,
        Under16::GuardianPresent if guardian.signed && guardian.present => AgeStanding::Clear,
        Under16::GuardianPresent => AgeStanding::GuardianPresence,
    }
}

/// Whether a skin test may be applied at this age. No colour and no allergy test under 16 (advice
/// of a UK trade body for hairdressing); an unknown age is no permission.
pub fn may_test(birth: Option<BirthDate>, on: Date) -> bool {
    birth.is_some_and(|birth| birth.age_on(on) >= TINT_FROM)
}
