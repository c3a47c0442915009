//! Prices that were taken, as the studio notes them by hand.

use time::{Date, OffsetDateTime};

use super::deposits::How;
use super::types::{civil, day, day_text, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::VisitId;

/// Money that was taken.
#[derive(Debug, Clone)]
pub struct Price {
    /// The whole price, in minor units.
    pub whole_minor: u32,
    /// The part of it that a deposit had paid.
    pub counted_minor: u32,
    /// Of which currency.
    pub currency: String,
    /// How the rest was paid.
    pub how: How,
    /// The day on which it was first noted.
    pub day: Date,
}

impl Price {
    /// What was paid on the day: the price less the deposit.
    pub fn paid_minor(&self) -> u32 {
        self.whole_minor - self.counted_minor.min(self.whole_minor)
    }
}

/// What is noted of a visit's price.
#[derive(Debug, Clone)]
pub struct Taking {
    /// The money.
    pub price: Price,
    /// Who noted it last.
    pub noted_by: String,
    /// When.
    pub noted_at: OffsetDateTime,
}

/// What a line of a day is about.
#[derive(Debug, Clone)]
pub struct For {
    /// The visit.
    pub visit: VisitId,
    /// What was done.
    pub service: String,
    /// By whom.
    pub practitioner: String,
    /// When it began, on the studio's clock.
    pub began: time::PrimitiveDateTime,
    /// Who noted it last.
    pub noted_by: String,
}

/// One line of a day.
#[derive(Debug, Clone)]
pub struct Line {
    /// What it is about; nothing where the client has left, since then the money alone stays.
    pub of: Option<For>,
    /// The money.
    pub price: Price,
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
        price: Price {
            whole_minor: small("taking", "price_minor", id, row.price_minor)?,
            counted_minor: small("taking", "counted_minor", id, row.counted_minor)?,
            currency: row.currency,
            how: How::parse(&row.how).ok_or_else(|| impossible("taking", "how", id))?,
            day: day("taking", "day", id, &row.day)?,
        },
        noted_by: row.noted_by,
        noted_at: instant("taking", "noted_at", id, row.noted_at)?,
    }))
}

/// Notes it, in place of what was noted before, whose day stays; the audit keeps the rest.
///
/// # Errors
/// When the file can't be written.
pub async fn put(c: &mut Connection, visit: &VisitId, t: &Taking) -> Stored<()> {
    let (id, price, at) = (visit.as_str(), &t.price, t.noted_at.unix_timestamp());
    let (how, on) = (price.how.as_str(), day_text(price.day));
    sqlx::query!(
        "INSERT INTO taking (visit_id, price_minor, counted_minor, currency, how, day, noted_by, noted_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)
         ON CONFLICT (visit_id) DO UPDATE SET price_minor = ?2, counted_minor = ?3, currency = ?4, how = ?5, noted_by = ?7,
             noted_at = ?8",
        id,
        price.whole_minor,
        price.counted_minor,
        price.currency,
        how,
        on,
        t.noted_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// What was taken from one day to another, both included, by day: in the order of the visits, then of those who have left.
///
/// # Errors
/// When the file can't be read.
pub async fn between(c: &mut Connection, from: Date, to: Date) -> Stored<Vec<Line>> {
    let (from, to) = (day_text(from), day_text(to));
    let rows = sqlx::query!(
        r#"SELECT t.day AS "day!: String", v.starts_at AS "at?: i64", t.visit_id AS "id!: String",
                  t.price_minor AS "price_minor!: i64", t.counted_minor AS "counted_minor!: i64",
                  t.currency AS "currency!: String", t.how AS "how!: String", s.name AS "service?: String",
                  p.name AS "practitioner?: String", v.civil_start AS "began?: String", t.noted_by AS "noted_by?: String"
           FROM taking t JOIN visit v ON v.id = t.visit_id JOIN service s ON s.id = v.service_id
           JOIN practitioner p ON p.id = v.practitioner_id
           WHERE t.day BETWEEN ?1 AND ?2
           UNION ALL
           SELECT on_day, NULL, CAST(id AS TEXT), amount_minor, counted_minor, currency, how, NULL, NULL, NULL, NULL
           FROM past_money WHERE what = 'price' AND on_day BETWEEN ?1 AND ?2
           ORDER BY 1, 2 NULLS LAST, 3"#,
        from,
        to
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let of = match (row.service, row.practitioner, row.began, row.noted_by) {
                (Some(service), Some(practitioner), Some(began), Some(noted_by)) => Some(For {
                    visit: read("taking", "visit_id", id, VisitId::parse(id))?,
                    service,
                    practitioner,
                    began: civil("visit", "civil_start", id, &began)?,
                    noted_by,
                }),
                _ => None,
            };
            let table = if of.is_some() { "taking" } else { "past_money" };
            let price = Price {
                whole_minor: small(table, "price_minor", id, row.price_minor)?,
                counted_minor: small(table, "counted_minor", id, row.counted_minor)?,
                currency: row.currency,
                how: How::parse(&row.how).ok_or_else(|| impossible(table, "how", id))?,
                day: day(table, "day", id, &row.day)?,
            };
            Ok(Line { of, price })
        })
        .collect()
}
