//! The health questions and the rules on their answers: every version, and the next one while it is edited.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use time::{Date, OffsetDateTime};

use super::types::{day, day_text, instant, read, small};
use super::{Connection, Stored};
use crate::domain::consent::ConsentText;
use crate::domain::ids::{ClientId, ServiceId};
use crate::domain::questionnaire::Questionnaire;
use crate::domain::screening::{Draft, RuleTable};

/// What is asked, what answers mean, and what is signed, as in force.
#[derive(Debug, Clone)]
pub struct InForce {
    /// The questions.
    pub questionnaire: Arc<Questionnaire>,
    /// The rules.
    pub rules: Arc<RuleTable>,
    /// The words that are signed.
    pub consent: Arc<ConsentText>,
}

/// Published texts by their hash: they never change, so each is parsed once.
struct Parsed<T>(Mutex<BTreeMap<String, Arc<T>>>);

impl<T> Parsed<T> {
    fn get(&self, sha256: &str) -> Option<Arc<T>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(sha256).cloned()
    }

    fn keep(&self, sha256: String, parsed: T) -> Arc<T> {
        let parsed = Arc::new(parsed);
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(sha256, parsed.clone());
        parsed
    }
}

static QUESTIONNAIRES: Parsed<Questionnaire> = Parsed(Mutex::new(BTreeMap::new()));
static RULES: Parsed<RuleTable> = Parsed(Mutex::new(BTreeMap::new()));
static CONSENTS: Parsed<ConsentText> = Parsed(Mutex::new(BTreeMap::new()));

/// The newest versions.
///
/// # Errors
/// When there are none, or the file can't be read.
pub async fn in_force(c: &mut Connection) -> Stored<InForce> {
    let questions =
        sqlx::query_scalar!("SELECT max(version) AS 'v!: i64' FROM questionnaire").fetch_one(&mut *c).await?;
    let rules = sqlx::query_scalar!("SELECT max(version) AS 'v!: i64' FROM rule_table").fetch_one(&mut *c).await?;
    let text = sqlx::query!("SELECT version, sha256 FROM consent_text ORDER BY version DESC LIMIT 1");
    let text = text.fetch_one(&mut *c).await?;
    let consent = if let Some(known) = CONSENTS.get(&text.sha256) {
        known
    } else {
        let version = small("consent_text", "version", "newest", text.version)?;
        CONSENTS.keep(text.sha256, super::health::consent_text(c, version).await?)
    };
    Ok(InForce {
        questionnaire: questionnaire(c, small("questionnaire", "version", "newest", questions)?).await?,
        rules: rule_table(c, small("rule_table", "version", "newest", rules)?).await?,
        consent,
    })
}

/// One version of the questions, to show answers as they stood.
///
/// # Errors
/// When there is no such version, or the file can't be read.
pub async fn questionnaire(c: &mut Connection, version: u32) -> Stored<Arc<Questionnaire>> {
    let sha256 = sqlx::query_scalar!("SELECT sha256 FROM questionnaire WHERE version = ?", version);
    let sha256 = sha256.fetch_one(&mut *c).await?;
    if let Some(known) = QUESTIONNAIRES.get(&sha256) {
        return Ok(known);
    }
    let body = sqlx::query_scalar!("SELECT body FROM questionnaire WHERE version = ?", version).fetch_one(c).await?;
    let parsed = read("questionnaire", "body", &version.to_string(), Questionnaire::parse(&body))?;
    Ok(QUESTIONNAIRES.keep(sha256, parsed))
}

/// One version of the rules.
///
/// # Errors
/// When there is no such version, or the file can't be read.
pub async fn rule_table(c: &mut Connection, version: u32) -> Stored<Arc<RuleTable>> {
    let sha256 = sqlx::query_scalar!("SELECT sha256 FROM rule_table WHERE version = ?", version);
    let sha256 = sha256.fetch_one(&mut *c).await?;
    if let Some(known) = RULES.get(&sha256) {
        return Ok(known);
    }
    let body = sqlx::query_scalar!("SELECT body FROM rule_table WHERE version = ?", version).fetch_one(c).await?;
    let parsed = read("rule_table", "body", &version.to_string(), RuleTable::parse(&body))?;
    Ok(RULES.keep(sha256, parsed))
}

/// The words of every question that was ever asked, by its key: those of the newest version that asks it.
///
/// # Errors
/// When the file can't be read.
pub async fn asked(c: &mut Connection) -> Stored<BTreeMap<String, String>> {
    let versions = sqlx::query_scalar!("SELECT version FROM questionnaire ORDER BY version").fetch_all(&mut *c).await?;
    let mut words = BTreeMap::new();
    for version in versions {
        let version = questionnaire(c, small("questionnaire", "version", "", version)?).await?;
        words.extend(version.questions().map(|question| (question.key.clone(), question.text.clone())));
    }
    Ok(words)
}

/// A version of the rules with its questions, and who answers for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// The version of the rules.
    pub rules: u32,
    /// The version of the questions that they are on.
    pub questionnaire: u32,
    /// Who reviewed it; nobody of the studio yet for what ships with the program.
    pub reviewed_by: String,
    /// On which day.
    pub reviewed_on: Option<Date>,
    /// Why it was published.
    pub reason: String,
    /// Who published it.
    pub published_by: String,
    /// When.
    pub published_at: OffsetDateTime,
}

/// All publications, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn publications(c: &mut Connection) -> Stored<Vec<Publication>> {
    let rows = sqlx::query!(
        "SELECT rules_version, questionnaire_version, reviewed_by, reviewed_on, reason, published_by, published_at
         FROM rule_publication ORDER BY rules_version DESC"
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let id = row.rules_version.to_string();
            let on = row.reviewed_on.map(|text| day("rule_publication", "reviewed_on", &id, &text));
            Ok(Publication {
                rules: small("rule_publication", "rules_version", &id, row.rules_version)?,
                questionnaire: small("rule_publication", "questionnaire_version", &id, row.questionnaire_version)?,
                reviewed_by: row.reviewed_by,
                reviewed_on: on.transpose()?,
                reason: row.reason,
                published_by: row.published_by,
                published_at: instant("rule_publication", "published_at", &id, row.published_at)?,
            })
        })
        .collect()
}

/// Publishes a version of the rules, with its questions where they are new too.
///
/// # Errors
/// When a version is there already, or the file can't be written.
pub async fn publish(c: &mut Connection, set: &Draft, publication: &Publication) -> Stored<()> {
    let now = publication.published_at.unix_timestamp();
    let (version, body) = (set.questionnaire.version(), set.questionnaire.canonical());
    let hash = set.questionnaire.fingerprint().to_string();
    sqlx::query!(
        "INSERT INTO questionnaire (version, body, sha256, published_at) SELECT ?1, ?2, ?3, ?4
         WHERE NOT EXISTS (SELECT 1 FROM questionnaire WHERE version = ?1 AND sha256 = ?3)",
        version,
        body,
        hash,
        now
    )
    .execute(&mut *c)
    .await?;
    let (version, body, hash) = (set.rules.version(), set.rules.canonical(), set.rules.fingerprint().to_string());
    sqlx::query!(
        "INSERT INTO rule_table (version, body, sha256, published_at) VALUES (?, ?, ?, ?)",
        version,
        body,
        hash,
        now
    )
    .execute(&mut *c)
    .await?;
    let reviewed_on = publication.reviewed_on.map(day_text);
    sqlx::query!(
        "INSERT INTO rule_publication (rules_version, questionnaire_version, reviewed_by, reviewed_on, reason, published_by, published_at)
         VALUES (?, ?, ?, ?, ?, ?, ?)",
        publication.rules,
        publication.questionnaire,
        publication.reviewed_by,
        reviewed_on,
        publication.reason,
        publication.published_by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The clients that are not locked away, with their services of treatments that were done since `from` or are booked from
/// `now` on, each once.
///
/// # Errors
/// When the file can't be read.
pub async fn current(
    c: &mut Connection,
    from: OffsetDateTime,
    now: OffsetDateTime,
) -> Stored<Vec<(ClientId, ServiceId)>> {
    let (from, now) = (from.unix_timestamp(), now.unix_timestamp());
    let rows = sqlx::query!(
        "SELECT DISTINCT v.client_id AS 'client_id!: String', v.service_id FROM visit v
         JOIN client c ON c.id = v.client_id AND c.restricted_at IS NULL
         WHERE v.purpose = 'treatment'
           AND ((v.state = 'done' AND v.starts_at >= ?1) OR (v.state IN ('booked', 'arrived') AND v.starts_at >= ?2))
         ORDER BY v.client_id, v.service_id",
        from,
        now
    );
    let rows = rows.fetch_all(c).await?;
    rows.iter()
        .map(|row| {
            let client = read("visit", "client_id", &row.client_id, ClientId::parse(&row.client_id))?;
            Ok((client, read("visit", "service_id", &row.client_id, ServiceId::parse(&row.service_id))?))
        })
        .collect()
}

/// The next version while it is edited.
#[derive(Debug, Clone)]
pub struct StoredDraft {
    /// Its questions and rules.
    pub set: Draft,
    /// The version that it started from.
    pub from: u32,
    /// Who changed it last.
    pub changed_by: String,
    /// When.
    pub changed_at: OffsetDateTime,
}

/// The draft, if there is one.
///
/// # Errors
/// When the file can't be read.
pub async fn draft(c: &mut Connection) -> Stored<Option<StoredDraft>> {
    let row =
        sqlx::query!("SELECT questionnaire, rules, from_version, changed_by, changed_at FROM rule_draft WHERE id = 1");
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    let set = Draft {
        questionnaire: read("rule_draft", "questionnaire", "1", Questionnaire::parse(&row.questionnaire))?,
        rules: read("rule_draft", "rules", "1", RuleTable::parse(&row.rules))?,
    };
    Ok(Some(StoredDraft {
        set,
        from: small("rule_draft", "from_version", "1", row.from_version)?,
        changed_by: row.changed_by,
        changed_at: instant("rule_draft", "changed_at", "1", row.changed_at)?,
    }))
}

/// Keeps the draft in place of the one before.
///
/// # Errors
/// When the file can't be written.
pub async fn keep_draft(c: &mut Connection, draft: &StoredDraft) -> Stored<()> {
    let (questions, rules) = (draft.set.questionnaire.canonical(), draft.set.rules.canonical());
    let at = draft.changed_at.unix_timestamp();
    sqlx::query!(
        "INSERT INTO rule_draft (id, questionnaire, rules, from_version, changed_by, changed_at) VALUES (1, ?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (id) DO UPDATE SET questionnaire = ?1, rules = ?2, from_version = ?3, changed_by = ?4, changed_at = ?5",
        questions,
        rules,
        draft.from,
        draft.changed_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Throws the draft away.
///
/// # Errors
/// When the file can't be written.
pub async fn discard_draft(c: &mut Connection) -> Stored<()> {
    sqlx::query!("DELETE FROM rule_draft").execute(c).await?;
    Ok(())
}
