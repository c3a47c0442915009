//! Where somebody is called.

use crate::t;

/// The country that a telephone number belongs to when it is typed without one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HomeDial(String);

/// Why a text is not a country code: 1 to 3 digits, the first not 0 (ITU-T E.164 §6.2.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{}", t("a country code is written like +49"))]
pub struct HomeDialRefused;

impl HomeDial {
    /// Reads `+49` or `49`.
    ///
    /// # Errors
    /// [`HomeDialRefused`] for any other text.
    pub fn parse(text: &str) -> Result<Self, HomeDialRefused> {
        let text = text.trim();
        let digits = text.strip_prefix('+').unwrap_or(text);
        let good =
            (1..=3).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit()) && !digits.starts_with('0');
        if good { Ok(Self(digits.to_owned())) } else { Err(HomeDialRefused) }
    }

    /// The digits of the code, without `+`.
    pub fn digits(&self) -> &str {
        &self.0
    }

    /// Most countries drop the leading 0 of a national number; Italy and San Marino keep it (from memory).
    fn keeps_zero(&self) -> bool {
        matches!(self.0.as_str(), "39" | "378")
    }
}

/// A telephone number in the form of ITU-T E.164: `+` and 7 to 15 digits.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Phone(String);

/// Why a text is not a telephone number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PhoneRefused {
    /// Nothing but spaces.
    #[error("{}", t("a telephone number is missing"))]
    Missing,
    /// Something other than digits, a leading `+`, and spaces or `-./()` between.
    #[error("{}", t("a telephone number has only digits, with a + before them"))]
    Letter,
    /// Fewer than 7 digits with the country code.
    #[error("{}", t("the telephone number is too short"))]
    TooShort,
    /// More than 15 digits with the country code.
    #[error("{}", t("the telephone number is too long"))]
    TooLong,
    /// A country code does not start with 0.
    #[error("{}", t("the country code is not right"))]
    Country,
}

impl Phone {
    /// Reads `+49 30 901820`, `0049 30 901820`, `+49 (0)30 901820`, or `030 901820` at home.
    ///
    /// # Errors
    /// See [`PhoneRefused`].
    pub fn parse(text: &str, home: &HomeDial) -> Result<Self, PhoneRefused> {
        let text = text.trim();
        if text.is_empty() {
            return Err(PhoneRefused::Missing);
        }
        if text.len() > 60 {
            return Err(PhoneRefused::TooLong);
        }
        let (typed_plus, rest) = text.strip_prefix('+').map_or((false, text), |rest| (true, rest));
        let rest = if typed_plus { rest.replacen("(0)", "", 1) } else { rest.to_owned() };
        let between = |c: char| matches!(c, ' ' | '\u{A0}' | '-' | '.' | '/' | '(' | ')');
        let digits: String = rest.chars().filter(|c| !between(*c)).collect();
        if !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(PhoneRefused::Letter);
        }
        let full = if typed_plus {
            digits
        } else if let Some(abroad) = digits.strip_prefix("00") {
            abroad.to_owned()
        } else {
            let national = if home.keeps_zero() { &digits } else { digits.strip_prefix('0').unwrap_or(&digits) };
            format!("{}{national}", home.0)
        };
        match full.len() {
            _ if full.starts_with('0') => Err(PhoneRefused::Country),
            0..=6 => Err(PhoneRefused::TooShort),
            7..=15 => Ok(Self(format!("+{full}"))),
            _ => Err(PhoneRefused::TooLong),
        }
    }

    /// Reads a number that is in the form of E.164 already.
    ///
    /// # Errors
    /// See [`PhoneRefused`].
    pub fn parse_e164(text: &str) -> Result<Self, PhoneRefused> {
        let digits = text.strip_prefix('+').ok_or(PhoneRefused::Country)?;
        // A number with its country needs no home, so any will do.
        Self::parse(&format!("+{digits}"), &HomeDial(String::new()))
    }

    /// The number with its `+`.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}
