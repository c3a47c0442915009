//! Takes records away. Nothing but this module does: the schema refuses it unless the door of `leaving` is open, and lets
//! nothing be committed before it is shut again.

use sqlx::AssertSqlSafe;
use time::OffsetDateTime;

use super::types::read;
use super::{Connection, Stored, audit};
use crate::domain::ids::{ClientId, MailId};
use crate::domain::role::Actor;

/// What of a client's leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Everything.
    Record,
    /// Photos before and after, which no claim rests on.
    Photos,
}

impl Part {
    fn as_str(self) -> &'static str {
        match self {
            Self::Record => "record",
            Self::Photos => "photos",
        }
    }

    fn action(self) -> &'static str {
        match self {
            Self::Record => "record.erased",
            Self::Photos => "photos.erased",
        }
    }
}

/// Who takes it away, and on what ground.
pub struct Ground<'a> {
    /// Who.
    pub actor: &'a Actor,
    /// The list or the request that it stands in.
    pub object: &'a str,
    /// How long it was kept, or who asked: no health word, no name.
    pub detail: &'a str,
}

/// What hangs on treatments, skin tests, reports and visits, before what it hangs on; then what hangs on the client alone.
pub(super) const OF_CLIENT: [&str; 35] = [
    "reaction_product WHERE reaction_id IN (SELECT id FROM reaction WHERE client_id = ?)",
    "reaction_entry WHERE reaction_id IN (SELECT id FROM reaction WHERE client_id = ?)",
    "reaction WHERE client_id = ?",
    "letter WHERE client_id = ?",
    "file WHERE client_id = ?",
    "treatment_time WHERE treatment_id IN (SELECT id FROM treatment WHERE client_id = ?)",
    "treatment_product WHERE treatment_id IN (SELECT id FROM treatment WHERE client_id = ?)",
    "treatment_version WHERE treatment_id IN (SELECT id FROM treatment WHERE client_id = ?)",
    "treatment WHERE client_id = ?",
    "consent WHERE client_id = ?",
    "consent_withdrawal WHERE client_id = ?",
    "answers WHERE client_id = ?",
    "skin_test_link WHERE skin_test_id IN (SELECT id FROM skin_test WHERE client_id = ?)",
    "skin_test_reading WHERE skin_test_id IN (SELECT id FROM skin_test WHERE client_id = ?)",
    "skin_test WHERE client_id = ?",
    "offer WHERE wish_id IN (SELECT id FROM wish WHERE client_id = ?)",
    "wish WHERE client_id = ?",
    "invitation_link WHERE invitation_id IN (SELECT id FROM invitation WHERE client_id = ?)",
    "invitation WHERE client_id = ?",
    "visit_start WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "visit_check WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "visit_shield WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "visit_guardian WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "visit_verdict WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "chair_batch WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "chair_event WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "deposit WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "taking WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "past_visit WHERE client_id = ?",
    "reminder WHERE visit_id IN (SELECT id FROM visit WHERE client_id = ?)",
    "draft WHERE client_id = ?",
    "session WHERE client_id = ?",
    "sign_in_link WHERE client_id = ?",
    "visit WHERE client_id = ?",
    "hold WHERE client_id = ?",
];

/// The letters to a client: none when she shares her address with another one.
pub(super) const LETTERS: &str = "outbox WHERE to_mail = (SELECT mail FROM client WHERE id = ?1)
    AND NOT EXISTS (SELECT 1 FROM client other, client she
                    WHERE she.id = ?1 AND other.mail = she.mail AND other.id <> she.id)";

/// Takes a part of a client's records away and writes it down, in the transaction of the caller. Gives the letters to her
/// that went with the record, whose files may lie on the disk.
///
/// # Errors
/// When the records are held, a visit is ahead, or the file can't be written.
pub async fn erase(
    c: &mut Connection,
    client: &ClientId,
    part: Part,
    ground: &Ground<'_>,
    now: OffsetDateTime,
) -> Stored<Vec<MailId>> {
    let event =
        audit::Event { action: part.action(), client: Some(client), object: ground.object, detail: ground.detail };
    audit::append(c, ground.actor, event, now).await?;
    let (id, word) = (client.as_str(), part.as_str());
    sqlx::query!("INSERT INTO leaving (client_id, part, audit_seq) SELECT ?, ?, max(seq) FROM audit", id, word)
        .execute(&mut *c)
        .await?;
    let mut letters = Vec::new();
    match part {
        Part::Record => {
            letters = forget_letters(c, client).await?;
            sqlx::query!(
                "INSERT INTO past_money (what, on_day, amount_minor, counted_minor, currency, how, fate)
                 SELECT 'deposit', substr(v.civil_start, 1, 10), d.amount_minor, 0, d.currency, d.how, d.fate
                 FROM deposit d JOIN visit v ON v.id = d.visit_id WHERE v.client_id = ?1
                 UNION ALL SELECT 'price', t.day, t.price_minor, t.counted_minor, t.currency, t.how, ''
                 FROM taking t JOIN visit v ON v.id = t.visit_id WHERE v.client_id = ?1",
                id
            )
            .execute(&mut *c)
            .await?;
            for rows in OF_CLIENT {
                sqlx::query(AssertSqlSafe(format!("DELETE FROM {rows}"))).bind(id).execute(&mut *c).await?;
            }
            sqlx::query!("DELETE FROM client WHERE id = ?", id).execute(&mut *c).await?;
        }
        Part::Photos => {
            sqlx::query!("DELETE FROM file WHERE client_id = ? AND purpose IN ('before', 'after')", id)
                .execute(&mut *c)
                .await?;
        }
    }
    sqlx::query!("DELETE FROM leaving").execute(c).await?;
    Ok(letters)
}

fn mails(rows: &[String]) -> Stored<Vec<MailId>> {
    rows.iter().map(|id| read("outbox", "id", id, MailId::parse(id))).collect()
}

/// Takes out all letters to a client, unless she shares her address with another one.
///
/// # Errors
/// When the file can't be written.
pub async fn forget_letters(c: &mut Connection, client: &ClientId) -> Stored<Vec<MailId>> {
    let sql = format!("DELETE FROM {LETTERS} RETURNING id");
    let rows: Vec<String> = sqlx::query_scalar(AssertSqlSafe(sql)).bind(client.as_str()).fetch_all(c).await?;
    mails(&rows)
}

/// Takes out which letters left before a moment.
///
/// # Errors
/// When the file can't be written.
pub async fn forget_letters_before(c: &mut Connection, moment: OffsetDateTime) -> Stored<Vec<MailId>> {
    let moment = moment.unix_timestamp();
    let rows =
        sqlx::query_scalar!(r#"DELETE FROM outbox WHERE state = 'sent' AND sent_at < ? RETURNING id AS "id!""#, moment);
    mails(&rows.fetch_all(c).await?)
}

/// How many letters left before a moment.
///
/// # Errors
/// When the file can't be read.
pub async fn letters_before(c: &mut Connection, moment: OffsetDateTime) -> Stored<i64> {
    let moment = moment.unix_timestamp();
    Ok(sqlx::query_scalar!("SELECT count(*) FROM outbox WHERE state = 'sent' AND sent_at < ?", moment)
        .fetch_one(c)
        .await?)
}

/// Takes a client's invitations and ended wishes out that were written before a moment.
///
/// # Errors
/// When the file can't be written.
pub async fn forget_invitations_before(c: &mut Connection, client: &ClientId, moment: OffsetDateTime) -> Stored<()> {
    let (id, moment) = (client.as_str(), moment.unix_timestamp());
    sqlx::query!("DELETE FROM invitation WHERE client_id = ? AND created_at < ?", id, moment).execute(&mut *c).await?;
    sqlx::query!("DELETE FROM wish WHERE client_id = ? AND state <> 'open' AND created_at < ?", id, moment)
        .execute(c)
        .await?;
    Ok(())
}
