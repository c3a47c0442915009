//! Consent texts by version; answers and signatures.

use time::OffsetDateTime;

use super::cells::Opener;
use super::rules::{self, Publication};
use super::types::{day, day_text, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::consent::{Agreement, ConsentRecord, ConsentText, Tick, agreement};
use crate::domain::ids::{AnswersId, ClientId, ConsentId, VisitId};
use crate::domain::questionnaire::{AnswerSet, Answers, Questionnaire, Taken, Told};
use crate::domain::screening::{Draft, RuleTable};
use crate::msg;

pub use super::rules::{InForce, in_force, questionnaire};

/// Publishes the sets that the program ships with, in an empty studio.
///
/// # Errors
/// When they are published already, or the file can't be written.
pub async fn publish_first(c: &mut Connection, now: OffsetDateTime) -> Stored<()> {
    let set = Draft {
        questionnaire: read("questionnaire", "body", "built in", Questionnaire::built_in())?,
        rules: read("rule_table", "body", "built in", RuleTable::built_in())?,
    };
    let publication = Publication {
        rules: set.rules.version(),
        questionnaire: set.questionnaire.version(),
        reviewed_by: String::new(),
        reviewed_on: None,
        reason: msg("As the program ships them.").to_owned(),
        published_by: msg("The program").to_owned(),
        published_at: now,
    };
    rules::publish(c, &set, &publication).await?;
    let now = now.unix_timestamp();
    let text = read("consent_text", "body", "built in", ConsentText::built_in())?;
    let (version, body, hash) = (text.version(), text.canonical(), text.fingerprint().to_string());
    sqlx::query!(
        "INSERT INTO consent_text (version, body, sha256, published_at) VALUES (?, ?, ?, ?)",
        version,
        body,
        hash,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// One version of the consent text, to show what was signed.
///
/// # Errors
/// When there is no such version, or the file can't be read.
pub async fn consent_text(c: &mut Connection, version: u32) -> Stored<ConsentText> {
    let body = sqlx::query_scalar!("SELECT body FROM consent_text WHERE version = ?", version).fetch_one(c).await?;
    read("consent_text", "body", "", ConsentText::parse(&body))
}

/// A set of answers with where it stands in the records.
#[derive(Debug, Clone)]
pub struct StoredAnswers {
    /// Its id.
    pub id: AnswersId,
    /// The answers.
    pub set: AnswerSet,
    /// Who took them down; nobody when the client filled them in.
    pub taken: Option<Taken>,
    /// When.
    pub given_at: OffsetDateTime,
}

/// All sets of answers of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn answers(c: &mut Connection, client: &ClientId) -> Stored<Vec<StoredAnswers>> {
    let client = client.as_str();
    let key = c.opener(client).await?;
    let rows = sqlx::query!(
        "SELECT id, questionnaire_version, body, given_on, is_return, given_at, taken_by, told FROM answers
         WHERE client_id = ? ORDER BY given_at DESC, rowid DESC",
        client
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let body = key.text("answers", "body", id, &row.body)?;
            let set = AnswerSet {
                questionnaire: small("answers", "questionnaire_version", id, row.questionnaire_version)?,
                given_on: day("answers", "given_on", id, &row.given_on)?,
                returning: row.is_return == 1,
                answers: read("answers", "body", id, serde_json::from_str::<Answers>(&body))?,
            };
            let given_at = instant("answers", "given_at", id, row.given_at)?;
            let told = |word: &str| Told::parse(word).ok_or_else(|| impossible("answers", "told", id));
            let taken = match (row.taken_by, row.told) {
                (Some(by), Some(word)) => Some(Taken { by, told: told(&word)? }),
                _ => None,
            };
            Ok(StoredAnswers { set, given_at, taken, id: read("answers", "id", id, AnswersId::parse(id))? })
        })
        .collect()
}

/// Whose answers these are.
///
/// # Errors
/// When the file can't be read.
pub async fn answered_by(c: &mut Connection, id: &AnswersId) -> Stored<Option<ClientId>> {
    let text = id.as_str();
    let client = sqlx::query_scalar!("SELECT client_id FROM answers WHERE id = ?", text).fetch_optional(c).await?;
    client.map(|client| read("answers", "client_id", text, ClientId::parse(&client))).transpose()
}

/// Adds a set of answers.
///
/// # Errors
/// When the file can't be written.
pub async fn add_answers(c: &mut Connection, client: &ClientId, given: &StoredAnswers) -> Stored<()> {
    let (id, client, version) = (given.id.as_str(), client.as_str(), given.set.questionnaire);
    let body = read("answers", "body", id, serde_json::to_string(&given.set.answers))?;
    let body = c.sealer(client).await?.text("answers", "body", id, &body)?;
    let on = day_text(given.set.given_on);
    let at = given.given_at.unix_timestamp();
    let taken_by = given.taken.as_ref().map(|taken| &taken.by);
    let told = given.taken.as_ref().map(|taken| taken.told.as_str());
    let given_by = if told.is_some() { "practitioner" } else { "client" };
    sqlx::query!(
        "INSERT INTO answers (id, client_id, questionnaire_version, body, sha256, given_by, given_on, is_return, given_at, taken_by, told)
         VALUES (?, ?, ?, ?, '', ?, ?, ?, ?, ?, ?)",
        id,
        client,
        version,
        body,
        given_by,
        on,
        given.set.returning,
        at,
        taken_by,
        told
    )
    .execute(c)
    .await?;
    Ok(())
}

/// A consent with where it stands in the records.
#[derive(Debug, Clone)]
pub struct StoredConsent {
    /// Its id.
    pub id: ConsentId,
    /// Whose.
    pub client: ClientId,
    /// The visit it was signed for.
    pub visit: Option<VisitId>,
    /// Which text.
    pub text_version: u32,
    /// Which answers.
    pub answers: Option<AnswersId>,
    /// The signature or the refusal.
    pub record: ConsentRecord,
    /// When.
    pub given_at: OffsetDateTime,
}

struct ConsentRow {
    id: String,
    client_id: String,
    visit_id: Option<String>,
    text_version: i64,
    answers_id: Option<String>,
    body: String,
    given_at: i64,
    withdrawn_at: Option<i64>,
}

impl ConsentRow {
    fn consent(self, key: &Opener) -> Stored<StoredConsent> {
        let id = &self.id;
        let body = key.text("consent", "body", id, &self.body)?;
        let mut record: ConsentRecord = read("consent", "body", id, serde_json::from_str(&body))?;
        if let (ConsentRecord::Signed(signed), Some(at)) = (&mut record, self.withdrawn_at) {
            signed.withdrawn_at = Some(instant("consent", "withdrawn_at", id, at)?);
        }
        Ok(StoredConsent {
            client: read("consent", "client_id", id, ClientId::parse(&self.client_id))?,
            visit: self.visit_id.map(|text| read("consent", "visit_id", id, VisitId::parse(&text))).transpose()?,
            text_version: small("consent", "text_version", id, self.text_version)?,
            answers: self
                .answers_id
                .map(|text| read("consent", "answers_id", id, AnswersId::parse(&text)))
                .transpose()?,
            record,
            given_at: instant("consent", "given_at", id, self.given_at)?,
            id: read("consent", "id", id, ConsentId::parse(id))?,
        })
    }
}

/// All consents of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn consents(c: &mut Connection, client: &ClientId) -> Stored<Vec<StoredConsent>> {
    let client = client.as_str();
    let key = c.opener(client).await?;
    let rows = sqlx::query_as!(
        ConsentRow,
        "SELECT id, client_id, visit_id, text_version, answers_id, body, given_at, withdrawn_at FROM consent
         WHERE client_id = ? ORDER BY given_at DESC, rowid DESC",
        client
    );
    rows.fetch_all(c).await?.into_iter().map(|row| row.consent(&key)).collect()
}

/// Adds a signature or a refusal.
///
/// # Errors
/// When the file can't be written.
pub async fn add_consent(c: &mut Connection, consent: &StoredConsent) -> Stored<()> {
    let (id, client, visit) =
        (consent.id.as_str(), consent.client.as_str(), consent.visit.as_ref().map(VisitId::as_str));
    let (version, answers) = (consent.text_version, consent.answers.as_ref().map(AnswersId::as_str));
    let body = read("consent", "body", id, serde_json::to_string(&consent.record))?;
    let body = c.sealer(client).await?.text("consent", "body", id, &body)?;
    let (signed, invitations) = match &consent.record {
        ConsentRecord::Signed(signed) => (true, signed.ticks.contains(&Tick::Marketing)),
        ConsentRecord::Refused { .. } => (false, false),
    };
    let at = consent.given_at.unix_timestamp();
    sqlx::query!(
        "INSERT INTO consent (id, client_id, visit_id, text_version, answers_id, body, signed, invitations, given_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        visit,
        version,
        answers,
        body,
        signed,
        invitations,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// What a client took back, and when.
///
/// # Errors
/// When the file can't be read.
pub async fn withdrawals(c: &mut Connection, client: &ClientId) -> Stored<Vec<(Tick, OffsetDateTime)>> {
    let client = client.as_str();
    let rows =
        sqlx::query!("SELECT tick, withdrawn_at FROM consent_withdrawal WHERE client_id = ? ORDER BY id", client)
            .fetch_all(c)
            .await?;
    rows.into_iter()
        .map(|row| {
            let tick = Tick::parse(&row.tick).ok_or_else(|| impossible("consent_withdrawal", "tick", client))?;
            Ok((tick, instant("consent_withdrawal", "withdrawn_at", client, row.withdrawn_at)?))
        })
        .collect()
}

/// Where each agreement of a client stands.
///
/// # Errors
/// When the file can't be read.
pub async fn agreements(c: &mut Connection, client: &ClientId) -> Stored<Vec<(Tick, Agreement)>> {
    let records: Vec<ConsentRecord> = consents(c, client).await?.into_iter().map(|consent| consent.record).collect();
    let back = withdrawals(c, client).await?;
    Ok(Tick::ALL.into_iter().map(|tick| (tick, agreement(&records, &back, tick))).collect())
}

/// A client takes an agreement back. Without one that a visit needs, all that she signed so far ends with it.
///
/// # Errors
/// When the file can't be written.
pub async fn withdraw(c: &mut Connection, client: &ClientId, tick: Tick, now: OffsetDateTime) -> Stored<()> {
    let (client, word, now) = (client.as_str(), tick.as_str(), now.unix_timestamp());
    sqlx::query!("INSERT INTO consent_withdrawal (client_id, tick, withdrawn_at) VALUES (?, ?, ?)", client, word, now)
        .execute(&mut *c)
        .await?;
    if tick.is_needed() {
        sqlx::query!(
            "UPDATE consent SET withdrawn_at = ? WHERE client_id = ? AND withdrawn_at IS NULL AND signed = 1",
            now,
            client
        )
        .execute(c)
        .await?;
    }
    Ok(())
}

/// Who published a text, and why.
#[derive(Debug, Clone)]
pub struct PublishedBy {
    /// Who published it.
    pub name: String,
    /// Who looked at it before.
    pub reviewed_by: String,
    /// Why there is a new one.
    pub reason: String,
}

/// Publishes a consent text.
///
/// # Errors
/// When its version is there already, or the file can't be written.
pub async fn publish_consent_text(
    c: &mut Connection,
    text: &ConsentText,
    by: &PublishedBy,
    now: OffsetDateTime,
) -> Stored<()> {
    let (version, body, hash) = (text.version(), text.canonical(), text.fingerprint().to_string());
    let now = now.unix_timestamp();
    sqlx::query!(
        "INSERT INTO consent_text (version, body, sha256, published_at, published_by, reviewed_by, reason) VALUES (?, ?, ?, ?, ?, ?, ?)",
        version,
        body,
        hash,
        now,
        by.name,
        by.reviewed_by,
        by.reason
    )
    .execute(c)
    .await?;
    Ok(())
}

/// All versions of the consent text, the newest first: number, when it was published, by whom and why.
///
/// # Errors
/// When the file can't be read.
pub async fn consent_texts(c: &mut Connection) -> Stored<Vec<(u32, OffsetDateTime, PublishedBy)>> {
    let rows = sqlx::query!(
        "SELECT version, published_at, published_by, reviewed_by, reason FROM consent_text ORDER BY version DESC"
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let by = PublishedBy { name: row.published_by, reviewed_by: row.reviewed_by, reason: row.reason };
            let version = small("consent_text", "version", "", row.version)?;
            Ok((version, instant("consent_text", "published_at", "", row.published_at)?, by))
        })
        .collect()
}
