//! Money in minor units with its currency.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::language::decimal;

/// An ISO 4217 code in capitals.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Currency(String);

/// Why a text is not a currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a currency has three capital letters")]
pub struct CurrencyRefused;

impl Currency {
    /// Reads a code of three letters, in any case.
    ///
    /// # Errors
    /// [`CurrencyRefused`] for any other text.
    pub fn parse(text: &str) -> Result<Self, CurrencyRefused> {
        let text = text.trim();
        if text.len() == 3 && text.bytes().all(|b| b.is_ascii_alphabetic()) {
            Ok(Self(text.to_ascii_uppercase()))
        } else {
            Err(CurrencyRefused)
        }
    }

    /// The code.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// A sum of minor units in the common one, without the code: 4550 is `45.50` in most currencies, `4550` in some.
    pub fn plain(&self, minor: u64) -> String {
        let digits = self.digits();
        let unit = 10u64.pow(digits);
        match usize::try_from(digits) {
            Ok(width) if width > 0 => format!("{}.{:0width$}", minor / unit, minor % unit),
            _ => minor.to_string(),
        }
    }

    /// Digits after the point: those that ISO 4217 gives the commoner currencies other than two (from memory).
    fn digits(&self) -> u32 {
        match self.0.as_str() {
            "JPY" | "KRW" | "ISK" | "CLP" | "VND" => 0,
            "KWD" | "BHD" | "OMR" | "TND" | "JOD" => 3,
            _ => 2,
        }
    }
}

/// An amount, never negative: a price or a deposit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Money {
    minor: u32,
    currency: Currency,
}

/// Why a text is not an amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MoneyRefused {
    /// Not digits with at most one point or comma.
    #[error("an amount is written like 45 or 45.50")]
    NotAnAmount,
    /// More digits after the point than the currency has.
    #[error("too many digits after the point")]
    TooFine,
    /// Above what a price can be here: 1,000,000 units.
    #[error("too large")]
    TooLarge,
}

impl Money {
    /// An amount of `minor` units.
    pub fn of(minor: u32, currency: Currency) -> Self {
        Self { minor, currency }
    }

    /// Reads `45`, `45.50` or `45,50`.
    ///
    /// # Errors
    /// See [`MoneyRefused`].
    pub fn parse(text: &str, currency: Currency) -> Result<Self, MoneyRefused> {
        let text = text.trim().replace(',', ".");
        let (whole, part) = text.split_once('.').unwrap_or((&text, ""));
        let digits = currency.digits();
        if whole.is_empty() || !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
            return Err(MoneyRefused::NotAnAmount);
        }
        let part_digits = u32::try_from(part.len()).map_err(|_| MoneyRefused::TooFine)?;
        if part_digits > digits {
            return Err(MoneyRefused::TooFine);
        }
        let whole: u32 = whole.parse().map_err(|_| MoneyRefused::TooLarge)?;
        if whole > 1_000_000 {
            return Err(MoneyRefused::TooLarge);
        }
        let fraction: u32 = if part.is_empty() { 0 } else { part.parse().map_err(|_| MoneyRefused::TooFine)? };
        let minor = whole * 10u32.pow(digits) + fraction * 10u32.pow(digits - part_digits);
        Ok(Self { minor, currency })
    }

    /// The amount in the smallest unit.
    pub fn minor(&self) -> u32 {
        self.minor
    }

    /// Its currency.
    pub fn currency(&self) -> &Currency {
        &self.currency
    }

    /// The same figure in another currency: what was 45.50 of one is 45.50 of the other.
    ///
    /// # Errors
    /// [`MoneyRefused::TooFine`] when the other has fewer digits after the point than the figure needs.
    pub fn same_figure(&self, currency: Currency) -> Result<Self, MoneyRefused> {
        let plain = self.plain();
        let short = if plain.contains('.') { plain.trim_end_matches('0').trim_end_matches('.') } else { &plain };
        Self::parse(short, currency)
    }

    /// The amount as a form field shows it, without the code.
    pub fn plain(&self) -> String {
        self.currency.plain(self.minor.into())
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", decimal(&self.plain()), self.currency.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn euro() -> Currency {
        Currency::parse("eur").unwrap()
    }

    /// A year's takings in a currency of small units.
    #[test]
    fn a_sum_may_be_larger_than_any_price() {
        let plain = |code: &str| Currency::parse(code).unwrap().plain(520_000_000_050);
        assert_eq!((plain("IDR"), plain("JPY")), ("5200000000.50".to_owned(), "520000000050".to_owned()));
    }

    #[test]
    fn amounts_are_read_in_both_notations() {
        for (text, minor) in [("45", 4500), ("45.5", 4550), ("45,50", 4550), ("0.05", 5), ("1000000", 100_000_000)] {
            assert_eq!(Money::parse(text, euro()).unwrap().minor(), minor, "{text}");
        }
        assert_eq!(Money::parse("45.505", euro()), Err(MoneyRefused::TooFine));
        assert_eq!(Money::parse("-1", euro()), Err(MoneyRefused::NotAnAmount));
        assert_eq!(Money::parse("1.000.000", euro()), Err(MoneyRefused::NotAnAmount));
        assert_eq!(Money::parse("1000001", euro()), Err(MoneyRefused::TooLarge));
    }

    #[test]
    fn a_figure_stays_when_the_currency_changes() {
        let (yen, dinar) = (Currency::parse("JPY").unwrap(), Currency::parse("KWD").unwrap());
        let moved = |minor, to: &Currency| Money::of(minor, euro()).same_figure(to.clone());
        assert_eq!(moved(4800, &yen), Ok(Money::of(48, yen.clone())));
        assert_eq!(moved(4850, &yen), Err(MoneyRefused::TooFine));
        assert_eq!(moved(4850, &dinar), Ok(Money::of(48_500, dinar.clone())));
        assert_eq!(moved(0, &yen), Ok(Money::of(0, yen)));
        assert_eq!(Money::of(1000, dinar).same_figure(euro()), Ok(Money::of(100, euro())));
    }

    #[test]
    fn an_amount_is_told_with_its_currency() {
        assert_eq!(euro().as_str(), "EUR");
        assert_eq!(Money::of(4550, euro()).to_string(), "45.50 EUR");
        for bad in ["", "eu", "euro", "e1r", "€€€", "12"] {
            assert_eq!(Currency::parse(bad), Err(CurrencyRefused), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn what_is_shown_reads_back(minor in 0u32..=100_000_000, code in "(EUR|JPY|KWD)") {
            let currency = Currency::parse(&code).unwrap();
            prop_assume!(u64::from(minor) <= 1_000_000 * 10u64.pow(currency.digits()));
            let money = Money::of(minor, currency.clone());
            prop_assert_eq!(Money::parse(&money.plain(), currency).unwrap(), money);
        }
    }
}
