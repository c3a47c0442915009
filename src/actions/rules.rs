//! The health questions and the rules on their answers: edited as a draft, and published.

use std::collections::BTreeMap;

use time::{Date, Duration, OffsetDateTime};

use super::case::Known;
use crate::app::App;
use crate::domain::ids::{ClientId, ServiceId};
use crate::domain::mark::Mark;
use crate::domain::role::Actor;
use crate::domain::screening::{Draft, EditRefused, RuleTable};
use crate::domain::verdict::Verdict;
use crate::language::Language;
use crate::store::audit::Event;
use crate::store::health::PublishedBy;
use crate::store::rules::{self, Publication, StoredDraft};
use crate::store::studio::Studio;
use crate::store::types::read;
use crate::store::{Connection, Stored, audit, clients, health, readable};
use crate::{msg, t};

/// For how long after her last visit somebody counts as a current client.
const CURRENT: Duration = Duration::days(365);

/// The set that is in force.
///
/// # Errors
/// When the file can't be read.
pub async fn in_force(c: &mut Connection) -> Stored<Draft> {
    let now = rules::in_force(c).await?;
    Ok(Draft { questionnaire: (*now.questionnaire).clone(), rules: (*now.rules).clone() })
}

/// The table that no studio may soften.
///
/// # Errors
/// Never in a program whose tests passed.
pub fn shipped() -> Stored<RuleTable> {
    read("rule_table", "body", "built in", RuleTable::built_in())
}

/// Starts a draft from what is in force; one that is there already goes on.
///
/// # Errors
/// When the database can't.
pub async fn start(app: &App, actor: &Actor) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if rules::draft(&mut tx).await?.is_none() {
        let set = in_force(&mut tx).await?;
        let from = set.rules.version();
        let draft = StoredDraft { set, from, changed_by: name(actor), changed_at: now };
        rules::keep_draft(&mut tx, &draft).await?;
        log(&mut tx, actor, "rules.draft-started", &format!("from version {from}"), now).await?;
    }
    tx.commit().await
}

/// Throws the draft away.
///
/// # Errors
/// When the database can't.
pub async fn discard(app: &App, actor: &Actor) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if rules::draft(&mut tx).await?.is_some() {
        rules::discard_draft(&mut tx).await?;
        log(&mut tx, actor, "rules.draft-discarded", "", now).await?;
    }
    tx.commit().await
}

/// The mark of a draft beside what is in force: of what somebody looks at before it is published.
pub fn mark_of_draft(draft: &Draft, before: &Draft) -> Mark {
    Mark::of(&[draft, before].map(|set| (set.questionnaire.canonical(), set.rules.canonical())))
}

/// Changes the draft. Nothing when there is none.
///
/// # Errors
/// When the database can't.
pub async fn edit(
    app: &App,
    actor: &Actor,
    what: &str,
    change: impl FnOnce(&Draft, &RuleTable) -> Result<Draft, EditRefused>,
) -> Stored<Option<Result<(), EditRefused>>> {
    let now = app.clock.now();
    let shipped = shipped()?;
    let mut tx = app.db.write().await?;
    let Some(draft) = rules::draft(&mut tx).await? else { return Ok(None) };
    let set = match change(&draft.set, &shipped) {
        Ok(set) => set,
        Err(refusal) => return Ok(Some(Err(refusal))),
    };
    rules::keep_draft(&mut tx, &StoredDraft { set, changed_by: name(actor), changed_at: now, ..draft }).await?;
    log(&mut tx, actor, "rules.draft-changed", what, now).await?;
    tx.commit().await?;
    Ok(Some(Ok(())))
}

/// Who looked at a draft, when and why it is published.
#[derive(Debug, Clone)]
pub struct Review {
    /// Who reviewed it.
    pub by: String,
    /// On which day.
    pub on: Date,
    /// Why it is published.
    pub reason: String,
}

/// How publishing ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Published {
    /// It is in force, as this version.
    Done(u32),
    /// There is no draft, or nothing in it differs.
    Nothing,
    /// It doesn't hold together.
    Misfits,
    /// The draft, or what is in force, is another one than was looked at.
    Overtaken,
}

/// Publishes the draft that was looked at, by its mark: from now on it is in force for everybody.
///
/// # Errors
/// When the database can't.
pub async fn publish(app: &App, actor: &Actor, seen: &Mark, review: Review) -> Stored<Published> {
    let now = app.clock.now();
    let shipped = shipped()?;
    let mut tx = app.db.write().await?;
    let Some(draft) = rules::draft(&mut tx).await? else { return Ok(Published::Nothing) };
    let before = in_force(&mut tx).await?;
    let (changed, asked) = (draft.set.changed_rules(&before), draft.set.changed_questions(&before));
    if changed.is_empty() && asked.is_empty() {
        return Ok(Published::Nothing);
    }
    if !draft.set.misfits().is_empty() || draft.set.rules.softened(&shipped).is_some() {
        return Ok(Published::Misfits);
    }
    if seen.holds(&mark_of_draft(&draft.set, &before)).is_err() {
        return Ok(Published::Overtaken);
    }
    let questions = before.questionnaire.version() + u32::from(!asked.is_empty());
    let set = Draft {
        questionnaire: read("rule_draft", "questionnaire", "1", draft.set.questionnaire.numbered(questions))?,
        rules: read("rule_draft", "rules", "1", draft.set.rules.numbered(before.rules.version() + 1))?,
    };
    let publication = Publication {
        rules: set.rules.version(),
        questionnaire: set.questionnaire.version(),
        reviewed_by: review.by,
        reviewed_on: Some(review.on),
        reason: review.reason,
        published_by: name(actor),
        published_at: now,
    };
    rules::publish(&mut tx, &set, &publication).await?;
    rules::discard_draft(&mut tx).await?;
    let keys = |keys: std::collections::BTreeSet<&str>| keys.into_iter().collect::<Vec<_>>().join(" ");
    let detail = format!(
        "version {}, reviewed by {} on {}: {}; rules {}; questions {}",
        publication.rules,
        publication.reviewed_by,
        review.on,
        publication.reason,
        keys(changed),
        keys(asked)
    );
    log(&mut tx, actor, "rules.published", &detail, now).await?;
    tx.commit().await?;
    Ok(Published::Done(publication.rules))
}

/// Whose answers would mean something else for a service that she has, or is booked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The client.
    pub client: ClientId,
    /// Her name.
    pub name: String,
    /// The service.
    pub service: String,
    /// What her answers mean now.
    pub before: Verdict,
    /// What they would mean.
    pub after: Verdict,
}

/// What a draft would change for the current clients, and how many of those there are: whoever was here within a year
/// or is booked, each with her services, judged by her newest answers as of today.
///
/// # Errors
/// When the file can't be read.
pub async fn effect(
    c: &mut Connection,
    studio: &Studio,
    set: &Draft,
    now: OffsetDateTime,
) -> Stored<(Vec<Change>, usize)> {
    let today = studio.zone.date_at(now);
    let mut services: BTreeMap<ClientId, Vec<ServiceId>> = BTreeMap::new();
    for (client, service) in rules::current(c, now - CURRENT, now).await? {
        services.entry(client).or_default().push(service);
    }
    let mut changes = Vec::new();
    for (client, services) in &services {
        for service in services {
            // Of whom nothing can be read, nothing can be said.
            let Ok(mut known) = readable(Known::load(c, studio, Some(client), service).await)? else { continue };
            let before = known.answers_mean(today);
            known.in_force.questionnaire = std::sync::Arc::new(set.questionnaire.clone());
            known.in_force.rules = std::sync::Arc::new(set.rules.clone());
            let after = known.answers_mean(today);
            if before != after {
                let name = clients::get(c, client).await?.map(|client| client.name.as_str().to_owned());
                let name = name.unwrap_or_default();
                changes.push(Change { client: client.clone(), name, service: known.service.name, before, after });
            }
        }
    }
    changes.sort_by(|one, other| (&one.name, &one.service).cmp(&(&other.name, &other.service)));
    Ok((changes, services.len()))
}

/// The studio speaks another language from now on: what ships is published anew in it, since what is stored and hashed
/// has to be what clients read. Nobody has reviewed it in this language yet. The studio's own words stay.
///
/// # Errors
/// When the database can't.
pub(super) async fn speak(
    c: &mut Connection,
    actor: &Actor,
    from: Language,
    to: Language,
    now: OffsetDateTime,
) -> Stored<()> {
    let respoken = |set: &Draft| -> Stored<Draft> {
        Ok(Draft {
            questionnaire: read("questionnaire", "body", "in force", set.questionnaire.respoken(from, to))?,
            rules: read("rule_table", "body", "in force", set.rules.respoken(from, to))?,
        })
    };
    let reason = to.within(|| t("The studio speaks another language now.").to_owned());
    let (before, text) = (in_force(c).await?, rules::in_force(c).await?.consent);
    let said = respoken(&before)?;
    let (asked, version) = (before.questionnaire.version() + 1, before.rules.version() + 1);
    if said.questionnaire.sections() != before.questionnaire.sections() || said.rules.rules() != before.rules.rules() {
        let set = Draft {
            questionnaire: read("questionnaire", "version", "next", said.questionnaire.numbered(asked))?,
            rules: read("rule_table", "version", "next", said.rules.numbered(version))?,
        };
        let publication = Publication {
            rules: version,
            questionnaire: asked,
            reviewed_by: String::new(),
            reviewed_on: None,
            reason: reason.clone(),
            published_by: name(actor),
            published_at: now,
        };
        rules::publish(c, &set, &publication).await?;
        log(c, actor, "rules.published", &format!("version {version}, in {}", to.code()), now).await?;
    }
    if let Some(draft) = rules::draft(c).await? {
        let set = respoken(&draft.set)?;
        rules::keep_draft(c, &StoredDraft { set, ..draft }).await?;
    }
    let next = read("consent_text", "body", "in force", text.respoken(from, to))?;
    if !next.same_words(&text) {
        let by = PublishedBy { name: name(actor), reviewed_by: String::new(), reason };
        health::publish_consent_text(c, &next, &by, now).await?;
        let (object, detail) = (next.version().to_string(), format!("in {}", to.code()));
        let event = Event { action: "consent-text.published", object: &object, detail: &detail, ..Event::default() };
        audit::append(c, actor, event, now).await?;
    }
    Ok(())
}

fn name(actor: &Actor) -> String {
    match actor {
        Actor::Member(member) => member.name.clone(),
        _ => msg("The program").to_owned(),
    }
}

async fn log(c: &mut Connection, actor: &Actor, action: &'static str, detail: &str, now: OffsetDateTime) -> Stored<()> {
    audit::append(c, actor, Event { action, detail, ..Event::default() }, now).await
}
