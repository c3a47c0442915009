//! Bookings that are being filled in. Only the browser that began one can open it.
//!
//! Whoever fills one in may have no record yet, so what is typed is sealed under the key of the day, which is destroyed
//! when no draft needs it any more.

use time::{OffsetDateTime, UtcOffset};

use super::clients::Client;
use super::types::{day_text, impossible, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, DraftId, ServiceId};
use crate::domain::mark::Mark;
use crate::domain::person::PersonName;

/// What the keys of days are called, before the day.
const KEYS: &str = "drafts ";

/// The day of a moment, and what its key is called.
pub(super) fn key_of(moment: OffsetDateTime) -> (String, String) {
    let day = day_text(moment.to_offset(UtcOffset::UTC).date());
    let who = key_of_day(&day);
    (day, who)
}

/// What a day's key is called.
pub(super) fn key_of_day(day: &str) -> String {
    format!("{KEYS}{day}")
}

/// Whether a key is of a day.
pub(super) fn is_key(who: &str) -> bool {
    who.starts_with(KEYS)
}

/// The keys that drafts are sealed under, and files that are being taken over.
pub(super) async fn keys_in_use(c: &mut Connection) -> Stored<Vec<String>> {
    let days = sqlx::query_scalar!(
        r#"SELECT key_day AS "day!" FROM draft WHERE key_day <> '' UNION SELECT key_day FROM takeover WHERE key_day <> ''"#
    );
    let days = days.fetch_all(c).await?;
    Ok(days.into_iter().map(|day| key_of_day(&day)).collect())
}

/// A booking that is being filled in.
#[derive(Debug, Clone)]
pub struct Draft {
    /// Its id.
    pub id: DraftId,
    /// What it is for.
    pub service: ServiceId,
    /// Who fills it in, when she is signed in.
    pub client: Option<ClientId>,
    /// Whether it has become a booking.
    pub booked: bool,
    /// Name, mail, phone and birth date as typed: JSON pairs.
    pub details: Option<String>,
    /// Health answers so far, as JSON.
    pub answers: String,
    /// Keys of the sections that are answered, as a JSON list.
    pub sections: String,
    /// Ticks, typed name and drawing, as JSON pairs.
    pub consent: Option<String>,
}

impl Draft {
    /// What was typed into one of the fields of her details.
    pub fn typed(&self, field: &str) -> String {
        let pairs: Vec<(String, String)> =
            self.details.as_deref().and_then(|json| serde_json::from_str(json).ok()).unwrap_or_default();
        pairs.into_iter().find(|(name, _)| name == field).map(|(_, value)| value).unwrap_or_default()
    }
}

impl Draft {
    /// What is filled in, as a mark: what is saved is saved over what was read.
    pub fn mark(&self) -> Mark {
        Mark::of(&(&self.details, &self.answers, &self.sections, &self.consent))
    }

    /// Whether it can be this client's own: nothing is typed yet, or her name and date of birth are.
    fn can_be_of(&self, client: &Client) -> bool {
        if self.details.is_none() {
            return self.answers == NOTHING;
        }
        let born = client.born.date();
        let typed = |part: &str| self.typed(&format!("born_{part}")).trim().parse::<i32>().ok();
        let parts = [typed("day"), typed("month"), typed("year")];
        let name = PersonName::parse(&self.typed("name"));
        parts == [Some(born.day().into()), Some(u8::from(born.month()).into()), Some(born.year())]
            && name.is_ok_and(|name| name.key() == client.name.key())
    }
}

/// Who may open a draft.
#[derive(Clone, Copy)]
pub enum By<'a> {
    /// The browser with this token's hash, as long as nobody had signed in for it; else the client who is signed in.
    Browser(&'a str, Option<&'a ClientId>),
    /// A form that was posted by the browser with this token's hash, to add to it and see nothing of it.
    Form(&'a str),
    /// Whoever followed the link in the mail.
    Link,
}

/// A draft, if it may be opened so.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &DraftId, by: By<'_>) -> Stored<Option<Draft>> {
    let key = id.as_str();
    let (any, form, owner_hash, client) = match by {
        By::Browser(hash, client) => (false, false, hash, client.map(ClientId::as_str)),
        By::Form(hash) => (false, true, hash, None),
        By::Link => (true, false, "", None),
    };
    let row = sqlx::query!(
        "SELECT service_id, client_id, state, details, answers, sections, consent, key_day FROM draft
         WHERE id = ?1 AND (?2 OR (owner_hash = ?3 AND (client_id IS NULL OR ?5)) OR client_id = ?4)",
        key,
        any,
        owner_hash,
        client,
        form
    )
    .fetch_optional(&mut *c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let (answers, consent) = if row.key_day.is_empty() {
        (NOTHING.to_owned(), None)
    } else {
        let opener = c.opener(&key_of_day(&row.key_day)).await?;
        let consent = row.consent.map(|consent| opener.text("draft", "consent", key, &consent));
        (opener.text("draft", "answers", key, &row.answers)?, consent.transpose()?)
    };
    Ok(Some(Draft {
        id: id.clone(),
        service: read("draft", "service_id", key, ServiceId::parse(&row.service_id))?,
        client: row.client_id.map(|text| read("draft", "client_id", key, ClientId::parse(&text))).transpose()?,
        booked: row.state == "booked",
        details: row.details,
        answers,
        sections: row.sections,
        consent,
    }))
}

/// Whether an unfinished booking was begun in the browser with this token's hash, whoever may open it now.
///
/// # Errors
/// When the file can't be read.
pub async fn is_of_browser(c: &mut Connection, id: &DraftId, owner_hash: &str) -> Stored<bool> {
    let id = id.as_str();
    let found = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT 1 FROM draft WHERE id = ? AND owner_hash = ? AND state = 'open') AS "found!: bool""#,
        id,
        owner_hash
    );
    Ok(found.fetch_one(c).await?)
}

/// The unfinished bookings of a browser that hold times, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn holding(c: &mut Connection, owner_hash: &str) -> Stored<Vec<DraftId>> {
    let rows = sqlx::query_scalar!(
        "SELECT d.id FROM draft d WHERE d.owner_hash = ? AND d.state = 'open'
           AND EXISTS (SELECT 1 FROM visit v WHERE v.draft_id = d.id AND v.state = 'held')
         ORDER BY d.created_at DESC, d.rowid DESC",
        owner_hash
    )
    .fetch_all(c)
    .await?;
    rows.iter().map(|id| read("draft", "id", id, DraftId::parse(id))).collect()
}

/// The bookings that a client has not finished, the one she touched last first: with their service's name.
///
/// # Errors
/// When the file can't be read.
pub async fn open_of(c: &mut Connection, client: &ClientId) -> Stored<Vec<(DraftId, String)>> {
    let client = client.as_str();
    let rows = sqlx::query!(
        "SELECT d.id, s.name FROM draft d JOIN service s ON s.id = d.service_id
         WHERE d.client_id = ? AND d.state = 'open' ORDER BY d.touched_at DESC, d.rowid DESC",
        client
    )
    .fetch_all(c)
    .await?;
    rows.into_iter().map(|row| Ok((read("draft", "id", &row.id, DraftId::parse(&row.id))?, row.name))).collect()
}

/// No answers.
const NOTHING: &str = "{}";

/// Answers and consent of a draft as they are stored, and the day of their key.
async fn sealed(c: &Connection, draft: &Draft, now: OffsetDateTime) -> Stored<(String, Option<String>, String)> {
    if draft.answers == NOTHING && draft.consent.is_none() {
        return Ok((NOTHING.to_owned(), None, String::new()));
    }
    let ((day, who), id) = (key_of(now), draft.id.as_str());
    let key = c.sealer(&who).await?;
    let consent = draft.consent.as_deref().map(|consent| key.text("draft", "consent", id, consent));
    Ok((key.text("draft", "answers", id, &draft.answers)?, consent.transpose()?, day))
}

/// Begins one.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, draft: &Draft, owner_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let (answers, _, key_day) = sealed(c, &Draft { consent: None, ..draft.clone() }, now).await?;
    let (id, service, now) = (draft.id.as_str(), draft.service.as_str(), now.unix_timestamp());
    let client = draft.client.as_ref().map(ClientId::as_str);
    sqlx::query!(
        "INSERT INTO draft (id, owner_hash, service_id, client_id, answers, key_day, created_at, touched_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        owner_hash,
        service,
        client,
        answers,
        key_day,
        now,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Keeps what was filled in.
///
/// # Errors
/// When the file can't be written.
pub async fn save(c: &mut Connection, draft: &Draft, now: OffsetDateTime) -> Stored<()> {
    let (answers, consent, key_day) = sealed(c, draft, now).await?;
    let (id, now) = (draft.id.as_str(), now.unix_timestamp());
    sqlx::query!(
        "UPDATE draft SET details = ?, answers = ?, sections = ?, consent = ?, key_day = ?, touched_at = ?
         WHERE id = ? AND state = 'open'",
        draft.details,
        answers,
        draft.sections,
        consent,
        key_day,
        now,
        id
    )
    .execute(c)
    .await?;
    Ok(())
}

/// It has become a booking; what was typed has gone into the records and goes from here.
///
/// # Errors
/// When the file can't be written, or it was one already.
pub async fn booked(c: &mut Connection, id: &DraftId, now: OffsetDateTime) -> Stored<()> {
    let (key, now) = (id.as_str(), now.unix_timestamp());
    let changed = sqlx::query!(
        "UPDATE draft SET state = 'booked', details = NULL, answers = '{}', sections = '[]', consent = NULL, key_day = '', touched_at = ?
         WHERE id = ? AND state = 'open'",
        now,
        key
    )
    .execute(c)
    .await?;
    if changed.rows_affected() == 1 { Ok(()) } else { Err(impossible("draft", "state", key)) }
}

/// Everything that one browser was filling in goes over to its new token, and to the client who has signed in there: but
/// for what was begun for somebody else, which stays nobody's.
///
/// # Errors
/// When the file can't be written.
pub async fn hand_over(c: &mut Connection, old_hash: &str, new_hash: &str, client: &Client) -> Stored<()> {
    move_all(c, old_hash, new_hash).await?;
    let nobodys = sqlx::query_scalar!(
        "SELECT id FROM draft WHERE owner_hash = ? AND client_id IS NULL AND state = 'open'",
        new_hash
    );
    for id in nobodys.fetch_all(&mut *c).await? {
        let id = read("draft", "id", &id, DraftId::parse(&id))?;
        let draft = get(c, &id, By::Form(new_hash)).await?;
        if draft.is_some_and(|draft| draft.can_be_of(client)) {
            let (id, client) = (id.as_str(), client.id.as_str());
            sqlx::query!("UPDATE draft SET client_id = ? WHERE id = ?", client, id).execute(&mut *c).await?;
        }
    }
    Ok(())
}

/// Everything that one browser was filling in goes over to its new token.
///
/// # Errors
/// When the file can't be written.
pub async fn move_all(c: &mut Connection, old_hash: &str, new_hash: &str) -> Stored<()> {
    sqlx::query!("UPDATE draft SET owner_hash = ? WHERE owner_hash = ? AND state = 'open'", new_hash, old_hash)
        .execute(c)
        .await?;
    Ok(())
}

/// One draft goes over to another browser.
///
/// # Errors
/// When the file can't be written.
pub async fn give_to(c: &mut Connection, id: &DraftId, owner_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!("UPDATE draft SET owner_hash = ?, touched_at = ? WHERE id = ?", owner_hash, now, id)
        .execute(c)
        .await?;
    Ok(())
}

/// Stores the link of a mail with which a draft is gone on with; links before it end.
///
/// # Errors
/// When the file can't be written.
pub async fn add_link(c: &mut Connection, token_hash: &str, id: &DraftId, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!("UPDATE draft_link SET used_at = ?1 WHERE draft_id = ?2 AND used_at IS NULL", now, id)
        .execute(&mut *c)
        .await?;
    sqlx::query!("INSERT INTO draft_link (token_hash, draft_id, created_at) VALUES (?, ?, ?)", token_hash, id, now)
        .execute(c)
        .await?;
    Ok(())
}

/// A link in a mail.
pub struct Link {
    /// The draft that it leads to.
    pub draft: DraftId,
    /// Whether it can still be used.
    pub good: bool,
}

/// A link, as long as its draft is there and unfinished, and wrong dates of birth weren't given too often with any of its
/// links.
///
/// # Errors
/// When the file can't be read.
pub async fn link(c: &mut Connection, token_hash: &str) -> Stored<Option<Link>> {
    let row = sqlx::query!(
        r#"SELECT l.draft_id, l.used_at IS NULL AS "good!: bool" FROM draft_link l
           JOIN draft d ON d.id = l.draft_id WHERE l.token_hash = ?2 AND d.state = 'open'
               AND (SELECT sum(tries) FROM draft_link o WHERE o.draft_id = l.draft_id) < ?1"#,
        MOST_TRIES,
        token_hash
    )
    .fetch_optional(c)
    .await?;
    row.map(|row| {
        let draft = read("draft_link", "draft_id", "", DraftId::parse(&row.draft_id))?;
        Ok(Link { draft, good: row.good })
    })
    .transpose()
}

/// How many wrong dates of birth end the links of a draft, the next ones too.
const MOST_TRIES: i64 = 5;

/// A wrong date of birth was given with a link.
///
/// # Errors
/// When the file can't be written.
pub async fn tried(c: &mut Connection, token_hash: &str) -> Stored<()> {
    sqlx::query!("UPDATE draft_link SET tries = tries + 1 WHERE token_hash = ?", token_hash).execute(c).await?;
    Ok(())
}

/// Uses a link up; `false` when somebody was quicker, or others tried too often at the same moment.
///
/// # Errors
/// When the file can't be written.
pub async fn use_link(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<bool> {
    let now = now.unix_timestamp();
    let used = sqlx::query!(
        "UPDATE draft_link SET used_at = ? WHERE token_hash = ? AND used_at IS NULL
             AND (SELECT sum(tries) FROM draft_link o WHERE o.draft_id = draft_link.draft_id) < ?",
        now,
        token_hash,
        MOST_TRIES
    );
    Ok(used.execute(c).await?.rows_affected() == 1)
}

/// Deletes what nobody has touched since.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, untouched_since: OffsetDateTime) -> Stored<u64> {
    let since = untouched_since.unix_timestamp();
    let gone = sqlx::query!("DELETE FROM draft WHERE touched_at < ?", since).execute(c).await?;
    Ok(gone.rows_affected())
}
