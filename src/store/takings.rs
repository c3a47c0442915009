//! Prices that were taken, as the studio notes them by hand.

use time::{Date, OffsetDateTime};

use super::deposits::How;
use super::types::{civil, day, day_text, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::VisitId;

/// A price that was taken.
#[derive(Debug, Clone)]
pub struct Taking {
    /// The whole price, in minor units.
    pub price_minor: u32,
    /// The part of it that a deposit had paid.
    pub counted_minor: u32,
    /// Of which currency.
    pub currency: String,
    /// How the rest was paid.
    pub how: How,
    /// The day on which it was first noted.
    pub day: Date,
    /// Who noted it last.
    pub noted_by: String,
    /// When.
    pub noted_at: OffsetDateTime,
}

impl Taking {
    /// What was paid on the day: the price less the deposit.
    pub fn paid_minor(&self) -> u32 {
        self.price_minor - self.counted_minor.min(self.price_minor)
    }
}

/// One line of a day.
#[derive(Debug, Clone)]
pub struct Line {
    /// The visit.
    pub visit: VisitId,
    /// What was done.
    pub service: String,
    /// By whom.
    pub practitioner: String,
    /// When it began, on the studio's clock.
    pub began: time::PrimitiveDateTime,
    /// The money.
    pub taking: Taking,
}

/// What was taken for a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn of_visit(c: &mut Connection, visit: &VisitId) -> Stored<Option<Taking>> {
    let id = visit.as_str();
    let row = sqlx::query!(
        "SELECT price_minor, counted_minor, currency, how, day, noted_by, noted_at FROM taking WHERE visit_id = ?",
        id
    );
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    Ok(Some(Taking {
        price_minor: small("taking", "price_minor", id, row.price_minor)?,
        counted_minor: small("taking", "counted_minor", id, row.counted_minor)?,
        currency: row.currency,
        how: How::parse(&row.how).ok_or_else(|| impossible("taking", "how", id))?,
        day: day("taking", "day", id, &row.day)?,
        noted_by: row.noted_by,
        noted_at: instant("taking", "noted_at", id, row.noted_at)?,
    }))
}

/// Notes it, in place of what was noted before, whose day stays; the audit keeps the rest.
///
/// # Errors
/// When the file can't be written.
pub async fn put(c: &mut Connection, visit: &VisitId, t: &Taking) -> Stored<()> {
    let (id, how, on, at) = (visit.as_str(), t.how.as_str(), day_text(t.day), t.noted_at.unix_timestamp());
    sqlx::query!(
        "INSERT INTO taking (visit_id, price_minor, counted_minor, currency, how, day, noted_by, noted_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
         ON CONFLICT (visit_id) DO UPDATE SET price_minor = ?2, counted_minor = ?3, currency = ?4, how = ?5, noted_by = ?7,
             noted_at = ?8",
        id,
        t.price_minor,
        t.counted_minor,
        t.currency,
        how,
        on,
        t.noted_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// What was taken from one day to another, both included, in the order of the visits.
///
/// # Errors
/// When the file can't be read.
pub async fn between(c: &mut Connection, from: Date, to: Date) -> Stored<Vec<Line>> {
    let (from, to) = (day_text(from), day_text(to));
    let rows = sqlx::query!(
        "SELECT t.visit_id, t.price_minor, t.counted_minor, t.currency, t.how, t.day, t.noted_by, t.noted_at,
                s.name AS service, p.name AS practitioner, v.civil_start
         FROM taking t JOIN visit v ON v.id = t.visit_id JOIN service s ON s.id = v.service_id
         JOIN practitioner p ON p.id = v.practitioner_id
         WHERE t.day BETWEEN ? AND ? ORDER BY t.day, v.starts_at, t.visit_id",
        from,
        to
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.visit_id;
            Ok(Line {
                visit: read("taking", "visit_id", id, VisitId::parse(id))?,
                service: row.service,
                practitioner: row.practitioner,
                began: civil("visit", "civil_start", id, &row.civil_start)?,
                taking: Taking {
                    price_minor: small("taking", "price_minor", id, row.price_minor)?,
                    counted_minor: small("taking", "counted_minor", id, row.counted_minor)?,
                    currency: row.currency,
                    how: How::parse(&row.how).ok_or_else(|| impossible("taking", "how", id))?,
                    day: day("taking", "day", id, &row.day)?,
                    noted_by: row.noted_by,
                    noted_at: instant("taking", "noted_at", id, row.noted_at)?,
                },
            })
        })
        .collect()
}
