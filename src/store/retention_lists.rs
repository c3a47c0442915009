//! Lists of what may leave, as they were found.

use time::{Date, OffsetDateTime};

use super::types::{day, day_text, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, RetentionListId};
use crate::domain::retention::Keeps;

/// What of a client's a line is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Her whole record.
    Record,
    /// Her older invitations and wishes.
    Invitations,
}

impl Part {
    fn as_str(self) -> &'static str {
        match self {
            Self::Record => "record",
            Self::Invitations => "invitations",
        }
    }
}

/// What became of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// It was taken away.
    Gone,
    /// Something came in between, so it stayed.
    Stayed,
}

/// A line.
#[derive(Debug, Clone)]
pub struct Line {
    /// Whose.
    pub client: ClientId,
    /// What.
    pub part: Part,
    /// The last day on which it had to be kept.
    pub kept_to: Date,
    /// Why to that day.
    pub why: Keeps,
    /// What became of it, once it was its turn.
    pub outcome: Option<Outcome>,
}

/// A list.
#[derive(Debug, Clone)]
pub struct List {
    /// Its id.
    pub id: RetentionListId,
    /// The month it was made for, such as `2026-03`.
    pub month: String,
    /// How many letters' addresses may go too.
    pub letters: i64,
    /// When it was made.
    pub made_at: OffsetDateTime,
    /// Who confirmed it, and when all of it was done.
    pub done: Option<(String, OffsetDateTime)>,
}

/// The word of a reason as the database holds it.
fn why_word(why: Keeps) -> &'static str {
    match why {
        Keeps::Treatment => "treatment",
        Keeps::Reaction => "reaction",
        Keeps::SkinTest => "skin_test",
        Keeps::Contact => "contact",
        Keeps::Minor => "minor",
        Keeps::Visit => "visit",
        Keeps::Written => "written",
    }
}

fn why(word: &str) -> Option<Keeps> {
    let all = [
        Keeps::Treatment,
        Keeps::Reaction,
        Keeps::SkinTest,
        Keeps::Contact,
        Keeps::Minor,
        Keeps::Visit,
        Keeps::Written,
    ];
    all.into_iter().find(|why| why_word(*why) == word)
}

/// Keeps a list that is not done, in the place of one that was not done either.
///
/// # Errors
/// When the file can't be written.
pub async fn put(c: &mut Connection, list: &List, lines: &[Line]) -> Stored<()> {
    sqlx::query!("DELETE FROM retention_list WHERE done_at IS NULL").execute(&mut *c).await?;
    let (id, at) = (list.id.as_str(), list.made_at.unix_timestamp());
    sqlx::query!(
        "INSERT INTO retention_list (id, month, letters, made_at) VALUES (?, ?, ?, ?)",
        id,
        list.month,
        list.letters,
        at
    )
    .execute(&mut *c)
    .await?;
    for line in lines {
        let (client, part, to, why) =
            (line.client.as_str(), line.part.as_str(), day_text(line.kept_to), why_word(line.why));
        sqlx::query!(
            "INSERT INTO retention_line (list_id, client_id, part, kept_to, why) VALUES (?, ?, ?, ?, ?)",
            id,
            client,
            part,
            to,
            why
        )
        .execute(&mut *c)
        .await?;
    }
    Ok(())
}

/// Lists, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn newest(c: &mut Connection, most: i64) -> Stored<Vec<List>> {
    let rows = sqlx::query!(
        "SELECT id, month, letters, made_at, done_by, done_at FROM retention_list ORDER BY made_at DESC, id LIMIT ?",
        most
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let done = match row.done_by.zip(row.done_at) {
                Some((by, at)) => Some((by, instant("retention_list", "done_at", id, at)?)),
                None => None,
            };
            Ok(List {
                made_at: instant("retention_list", "made_at", id, row.made_at)?,
                done,
                id: read("retention_list", "id", id, RetentionListId::parse(id))?,
                month: row.month,
                letters: row.letters,
            })
        })
        .collect()
}

/// The lines of a list, what has to be kept longest ago first.
///
/// # Errors
/// When the file can't be read.
pub async fn lines(c: &mut Connection, list: &RetentionListId) -> Stored<Vec<Line>> {
    let key = list.as_str();
    let rows = sqlx::query!(
        "SELECT client_id, part, kept_to, why, outcome FROM retention_line WHERE list_id = ? ORDER BY kept_to, client_id",
        key
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let bad = |column| impossible("retention_line", column, key);
            Ok(Line {
                client: read("retention_line", "client_id", key, ClientId::parse(&row.client_id))?,
                part: match row.part.as_str() {
                    "record" => Part::Record,
                    "invitations" => Part::Invitations,
                    _ => return Err(bad("part")),
                },
                kept_to: day("retention_line", "kept_to", key, &row.kept_to)?,
                why: why(&row.why).ok_or_else(|| bad("why"))?,
                outcome: match row.outcome.as_deref() {
                    None => None,
                    Some("gone") => Some(Outcome::Gone),
                    Some("stayed") => Some(Outcome::Stayed),
                    Some(_) => return Err(bad("outcome")),
                },
            })
        })
        .collect()
}

/// How many clients' records of a list went and stayed.
///
/// # Errors
/// When the file can't be read.
pub async fn counts(c: &mut Connection, list: &RetentionListId) -> Stored<(u64, u64)> {
    let key = list.as_str();
    let row = sqlx::query!(
        r#"SELECT count(*) FILTER (WHERE outcome = 'gone') AS "gone!: i64",
                  count(*) FILTER (WHERE outcome = 'stayed') AS "stayed!: i64" FROM retention_line WHERE list_id = ?"#,
        key
    );
    let row = row.fetch_one(c).await?;
    Ok((small("retention_line", "outcome", key, row.gone)?, small("retention_line", "outcome", key, row.stayed)?))
}

/// Whether a list was made for a month.
///
/// # Errors
/// When the file can't be read.
pub async fn has_month(c: &mut Connection, month: &str) -> Stored<bool> {
    let found = sqlx::query_scalar!("SELECT count(*) FROM retention_list WHERE month = ?", month);
    Ok(found.fetch_one(c).await? > 0)
}

/// Notes what became of a line.
///
/// # Errors
/// When the file can't be written.
pub async fn note(c: &mut Connection, list: &RetentionListId, line: &Line, outcome: Outcome) -> Stored<()> {
    let (list, client, part) = (list.as_str(), line.client.as_str(), line.part.as_str());
    let outcome = match outcome {
        Outcome::Gone => "gone",
        Outcome::Stayed => "stayed",
    };
    sqlx::query!(
        "UPDATE retention_line SET outcome = ? WHERE list_id = ? AND client_id = ? AND part = ?",
        outcome,
        list,
        client,
        part
    )
    .execute(c)
    .await?;
    Ok(())
}

/// All of it is done.
///
/// # Errors
/// When the file can't be written.
pub async fn close(c: &mut Connection, list: &RetentionListId, by: &str, now: OffsetDateTime) -> Stored<()> {
    let (list, now) = (list.as_str(), now.unix_timestamp());
    sqlx::query!("UPDATE retention_list SET done_by = ?, done_at = ? WHERE id = ? AND done_at IS NULL", by, now, list)
        .execute(c)
        .await?;
    Ok(())
}
