//! How long each class of records is kept, and what the rule asks of a client's records.

use time::{Date, OffsetDateTime};

use super::types::{day, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::ClientId;
use crate::domain::person::BirthDate;
use crate::domain::retention::{Class, Records, Term, Terms};
use crate::domain::zone::Zone;

/// A version of a class's term.
#[derive(Debug, Clone)]
pub struct Version {
    /// Its number, from 1.
    pub version: u32,
    /// How long.
    pub term: Term,
    /// What it rests on.
    pub basis: String,
    /// Why it took the place of the one before.
    pub reason: String,
    /// Who wrote it.
    pub written_by: String,
    /// When; the program's own have no date.
    pub written_at: Option<OffsetDateTime>,
}

/// The versions of a class, the newest first: that one holds.
///
/// # Errors
/// When the file can't be read.
pub async fn versions(c: &mut Connection, class: Class) -> Stored<Vec<Version>> {
    let word = class.as_str();
    let rows = sqlx::query!(
        "SELECT version, months, until_age, basis, reason, written_by, written_at FROM retention
         WHERE class = ? ORDER BY version DESC",
        word
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let age = row.until_age.map(|age| small("retention", "until_age", word, age)).transpose()?;
            let at = Some(row.written_at).filter(|at| *at > 0);
            Ok(Version {
                version: small("retention", "version", word, row.version)?,
                term: Term { months: small("retention", "months", word, row.months)?, until_age: age },
                basis: row.basis,
                reason: row.reason,
                written_by: row.written_by,
                written_at: at.map(|at| instant("retention", "written_at", word, at)).transpose()?,
            })
        })
        .collect()
}

/// The version of a class that holds.
///
/// # Errors
/// When there is none, or the file can't be read.
pub async fn newest(c: &mut Connection, class: Class) -> Stored<Version> {
    let all = versions(c, class).await?;
    all.into_iter().next().ok_or_else(|| impossible("retention", "class", class.as_str()))
}

/// How long each class is kept.
///
/// # Errors
/// When the file can't be read.
pub async fn terms(c: &mut Connection) -> Stored<Terms> {
    Ok(Terms {
        treated: newest(c, Class::Treated).await?.term,
        contact: newest(c, Class::Contact).await?.term,
        invitations: newest(c, Class::Invitations).await?.term,
        letters: newest(c, Class::Letters).await?.term,
    })
}

/// Adds a version.
///
/// # Errors
/// When there is one of that number, or the file can't be written.
pub async fn add(c: &mut Connection, class: Class, v: &Version, now: OffsetDateTime) -> Stored<()> {
    let (class, now) = (class.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO retention (class, version, months, until_age, basis, reason, written_by, written_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        class,
        v.version,
        v.term.months,
        v.term.until_age,
        v.basis,
        v.reason,
        v.written_by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// A client with what of her records bears on how long they are kept.
#[derive(Debug, Clone)]
pub struct Standing {
    /// Who.
    pub client: ClientId,
    /// What she is called.
    pub name: String,
    /// What the rule asks.
    pub records: Records,
    /// When the oldest invitation or wish of hers was written.
    pub oldest_invitation: Option<OffsetDateTime>,
}

struct Row {
    id: String,
    name: String,
    born_on: String,
    created_at: i64,
    last_contact: i64,
    first_treated: Option<i64>,
    last_treated: Option<i64>,
    first_reacted: Option<i64>,
    last_reacted: Option<i64>,
    ahead: Option<i64>,
    invited: Option<i64>,
    reaction_open: i64,
    held: i64,
    first_tested: Option<i64>,
    last_tested: Option<i64>,
    restricted_at: Option<i64>,
}

impl Row {
    fn standing(self, zone: &Zone) -> Stored<Standing> {
        let id = self.id.clone();
        let on =
            |column: &'static str, at: i64| -> Stored<Date> { Ok(zone.date_at(instant("client", column, &id, at)?)) };
        let both = |column: &'static str, first: Option<i64>, last: Option<i64>| -> Stored<Option<(Date, Date)>> {
            first.zip(last).map(|(first, last)| Ok((on(column, first)?, on(column, last)?))).transpose()
        };
        let born = day("client", "born_on", &id, &self.born_on)?;
        let records = Records {
            born: read("client", "born_on", &id, BirthDate::of(born, born))?,
            treated: both("treated", self.first_treated, self.last_treated)?,
            reacted: both("reacted", self.first_reacted, self.last_reacted)?,
            contact: (on("created_at", self.created_at)?, on("last_contact", self.last_contact)?),
            ahead: self.ahead.map(|at| on("ahead", at)).transpose()?,
            reaction_open: self.reaction_open == 1,
            held: self.held == 1,
            tested: both("tested", self.first_tested, self.last_tested)?,
            restricted: self.restricted_at.is_some(),
        };
        Ok(Standing {
            records,
            oldest_invitation: self.invited.map(|at| instant("invitation", "created_at", &id, at)).transpose()?,
            client: read("client", "id", &id, ClientId::parse(&id))?,
            name: self.name,
        })
    }
}

/// How the records of every client stand on a day, or those of one; by name.
///
/// # Errors
/// When the file can't be read.
pub async fn standing(
    c: &mut Connection,
    one: Option<&ClientId>,
    zone: &Zone,
    now: OffsetDateTime,
) -> Stored<Vec<Standing>> {
    let (one, now) = (one.map(ClientId::as_str), now.unix_timestamp());
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT c.id AS "id!", c.name AS "name!", c.born_on AS "born_on!", c.created_at AS "created_at!",
              max(c.created_at,
                  coalesce((SELECT max(min(starts_at, ?2)) FROM visit WHERE client_id = c.id
                            AND state NOT IN ('held', 'hold_expired')), 0),
                  coalesce((SELECT max(given_at) FROM answers WHERE client_id = c.id), 0),
                  coalesce((SELECT max(given_at) FROM consent WHERE client_id = c.id), 0),
                  coalesce((SELECT max(recorded_at) FROM skin_test WHERE client_id = c.id), 0),
                  coalesce((SELECT max(added_at) FROM letter WHERE client_id = c.id), 0)) AS "last_contact!: i64",
              (SELECT min(at) FROM (SELECT v.starts_at AS at FROM treatment t JOIN visit v ON v.id = t.visit_id
                  WHERE t.client_id = c.id UNION ALL SELECT starts_at FROM past_visit WHERE client_id = c.id
                  UNION ALL SELECT v.starts_at FROM visit_start s JOIN visit v ON v.id = s.visit_id
                  WHERE v.client_id = c.id))
                  AS "first_treated?: i64",
              (SELECT max(at) FROM (SELECT v.starts_at AS at FROM treatment t JOIN visit v ON v.id = t.visit_id
                  WHERE t.client_id = c.id UNION ALL SELECT starts_at FROM past_visit WHERE client_id = c.id
                  UNION ALL SELECT v.starts_at FROM visit_start s JOIN visit v ON v.id = s.visit_id
                  WHERE v.client_id = c.id))
                  AS "last_treated?: i64",
              (SELECT min(reported_at) FROM reaction WHERE client_id = c.id) AS "first_reacted?: i64",
              (SELECT max(e.written_at) FROM reaction r JOIN reaction_entry e ON e.reaction_id = r.id
               WHERE r.client_id = c.id) AS "last_reacted?: i64",
              (SELECT max(ends_at) FROM visit WHERE client_id = c.id AND ends_at > ?2
               AND state IN ('booked', 'arrived', 'in_treatment')) AS "ahead?: i64",
              (SELECT min(at) FROM (SELECT created_at AS at FROM invitation WHERE client_id = c.id
                                    UNION ALL SELECT created_at FROM wish WHERE client_id = c.id AND state <> 'open'))
                  AS "invited?: i64",
              EXISTS (SELECT 1 FROM reaction WHERE client_id = c.id AND state <> 'settled') AS "reaction_open!: i64",
              EXISTS (SELECT 1 FROM hold WHERE client_id = c.id AND lifted_at IS NULL) AS "held!: i64",
              (SELECT min(applied_at) FROM skin_test WHERE client_id = c.id) AS "first_tested?: i64",
              (SELECT max(applied_at) FROM skin_test WHERE client_id = c.id) AS "last_tested?: i64",
              c.restricted_at AS "restricted_at?: i64"
           FROM client c WHERE ?1 IS NULL OR c.id = ?1 ORDER BY c.name COLLATE NOCASE, c.id"#,
        one,
        now
    );
    rows.fetch_all(c).await?.into_iter().map(|row| row.standing(zone)).collect()
}
