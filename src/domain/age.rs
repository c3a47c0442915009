//! What a client's age allows.

use serde::{Deserialize, Serialize};
use time::{Date, Month};

use super::catalogue::{Chemistry, ServiceKind};
use super::person::BirthDate;

/// Oxidative tint carries the label line "not intended for use on persons under the age of 16"
/// (Regulation (EC) 1223/2009, Annex III entries 8b, 9a and 22). Fixed: no studio may lower it.
pub const TINT_FROM: u8 = 16;
/// The age from which a client consents alone by default (common practice, no source).
pub const ADULT_FROM: u8 = 18;

/// The first day on which somebody has this age; in years without her 29 February it is 1 March, as
/// [`BirthDate::age_on`] counts.
pub fn turns(birth: BirthDate, age: u8) -> Date {
    let birth = birth.date();
    let year = birth.year() + i32::from(age);
    Date::from_calendar_date(year, birth.month(), birth.day())
        .or_else(|_| Date::from_calendar_date(year, Month::March, 1))
        .unwrap_or(Date::MAX)
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

impl Under16 {
    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Refuse => "refuse",
            Self::GuardianPresent => "guardian_present",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        [Self::Refuse, Self::GuardianPresent].into_iter().find(|choice| choice.as_str() == word)
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn whoever_was_born_on_the_29th_of_february_turns_a_year_older_on_the_first_of_march() {
        let leap = BirthDate::of(date!(2008 - 02 - 29), date!(2026 - 03 - 02)).unwrap();
        assert_eq!((turns(leap, 18), turns(leap, 16)), (date!(2026 - 03 - 01), date!(2024 - 02 - 29)));
        assert_eq!((leap.age_on(date!(2026 - 02 - 28)), leap.age_on(date!(2026 - 03 - 01))), (17, 18));
    }
}
