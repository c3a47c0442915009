//! Money handed over beforehand, as the studio notes it by hand.

use time::OffsetDateTime;

use super::types::{impossible, instant, small};
use super::{Connection, Stored};
use crate::domain::ids::VisitId;

/// How it was handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// In cash.
    Cash,
    /// By card.
    Card,
    /// By bank transfer.
    Transfer,
    /// Another way.
    Other,
}

impl How {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Cash, Self::Card, Self::Transfer, Self::Other];

    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Cash => "cash",
            Self::Card => "card",
            Self::Transfer => "transfer",
            Self::Other => "other",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|how| how.as_str() == word)
    }
}

/// What becomes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Nothing yet.
    Held,
    /// The studio keeps it.
    Kept,
    /// The client has it back.
    Returned,
    /// It was counted towards the price.
    Counted,
}

impl Fate {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Held, Self::Kept, Self::Returned, Self::Counted];

    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Kept => "kept",
            Self::Returned => "returned",
            Self::Counted => "counted",
        }
    }

    /// Whether it can be counted towards the price, or is.
    pub fn may_count(self) -> bool {
        matches!(self, Self::Held | Self::Counted)
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|fate| fate.as_str() == word)
    }
}

/// A deposit.
#[derive(Debug, Clone)]
pub struct Deposit {
    /// In minor units.
    pub amount_minor: u32,
    /// Of which currency.
    pub currency: String,
    /// How.
    pub how: How,
    /// What becomes of it.
    pub fate: Fate,
    /// Who noted it last.
    pub noted_by: String,
    /// When.
    pub noted_at: OffsetDateTime,
}

/// The deposit for a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn of_visit(c: &mut Connection, visit: &VisitId) -> Stored<Option<Deposit>> {
    let id = visit.as_str();
    let row = sqlx::query!(
        "SELECT amount_minor, currency, how, fate, noted_by, noted_at FROM deposit WHERE visit_id = ?",
        id
    );
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    Ok(Some(Deposit {
        amount_minor: small("deposit", "amount_minor", id, row.amount_minor)?,
        currency: row.currency,
        how: How::parse(&row.how).ok_or_else(|| impossible("deposit", "how", id))?,
        fate: Fate::parse(&row.fate).ok_or_else(|| impossible("deposit", "fate", id))?,
        noted_by: row.noted_by,
        noted_at: instant("deposit", "noted_at", id, row.noted_at)?,
    }))
}

/// Notes it, in place of what was noted before; the audit keeps that.
///
/// # Errors
/// When the file can't be written.
pub async fn put(c: &mut Connection, visit: &VisitId, d: &Deposit) -> Stored<()> {
    let (id, how, fate, at) = (visit.as_str(), d.how.as_str(), d.fate.as_str(), d.noted_at.unix_timestamp());
    sqlx::query!(
        "INSERT INTO deposit (visit_id, amount_minor, currency, how, fate, noted_by, noted_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT (visit_id) DO UPDATE SET amount_minor = ?2, currency = ?3, how = ?4, fate = ?5, noted_by = ?6, noted_at = ?7",
        id,
        d.amount_minor,
        d.currency,
        how,
        fate,
        d.noted_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}
