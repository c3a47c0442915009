//! Reaction reports: written, asked after, told of, settled.

use std::collections::BTreeSet;

use time::{Duration, OffsetDateTime};

use super::treating::may_see;
use crate::app::App;
use crate::domain::ids::{ClientId, ProductId, ReactionId, SkinTestId, VisitId};
use crate::domain::reaction::{EventRefused, Lasted, Level, Sign, State, level, level_of_test};
use crate::domain::role::{Actor, Member};
use crate::domain::skin_test::TestResult;
use crate::store::audit::Event;
use crate::store::reactions::{self, Body, Due, Entry, Reaction};
use crate::store::skin_tests::StoredTest;
use crate::store::{Connection, StoreError, Stored, audit, chair, treatments, visits};
use crate::tf;

/// Why nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such client, treatment or report, or none of this member's.
    #[error("not there")]
    NotFound,
    /// It began in the future.
    #[error("it can't have begun in the future")]
    Future,
    /// It began before the treatment.
    #[error("it can't have begun before the treatment")]
    BeforeTreatment,
    /// The signs are graver than the level that was chosen.
    #[error("the signs stand for at least {0}")]
    TooMild(Level),
    /// The report stands where this can't happen.
    #[error(transparent)]
    Event(#[from] EventRefused),
}

/// A report as the form gives it.
pub struct Report {
    /// The id that the form brought along: the same form sent twice is one report.
    pub id: ReactionId,
    /// At or after which visit, where there was a treatment.
    pub visit: Option<VisitId>,
    /// When it began.
    pub began_at: OffsetDateTime,
    /// What was seen or felt.
    pub signs: BTreeSet<Sign>,
    /// How long it lasted, where somebody said.
    pub lasted: Option<Lasted>,
    /// How grave, where somebody sets it higher than the signs do.
    pub level: Option<Level>,
    /// How long an eye was rinsed, in minutes.
    pub rinsed: Option<u16>,
    /// What was done at once, and advised.
    pub first_aid: String,
    /// Medical care that was sought, and what was said there.
    pub care: String,
    /// Anything else.
    pub note: String,
}

/// The level that signs stand for, raised where somebody says so.
fn judged(signs: &BTreeSet<Sign>, long: bool, said: Option<Level>) -> Result<Level, Refused> {
    let signs: Vec<Sign> = signs.iter().copied().collect();
    let least = level(&signs, long);
    match said {
        Some(said) if said < least => Err(Refused::TooMild(least)),
        said => Ok(said.unwrap_or(least)),
    }
}

/// Writes a report.
///
/// # Errors
/// [`Refused`]; nothing is written then.
pub async fn report(app: &App, member: &Member, client: &ClientId, said: Report) -> Result<ReactionId, Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !may_see(&mut tx, member, client).await? {
        return Err(Refused::NotFound);
    }
    if let Some(written) = reactions::get(&mut tx, &said.id).await? {
        return if written.client == *client { Ok(said.id) } else { Err(Refused::NotFound) };
    }
    if said.began_at > now {
        return Err(Refused::Future);
    }
    let mut products = Vec::new();
    if let Some(id) = &said.visit {
        let (begun, used) = used_at(&mut tx, client, id).await?.ok_or(Refused::NotFound)?;
        // A form gives minutes: what begins in the first minute is not before it.
        if said.began_at < begun - Duration::seconds(begun.second().into()) {
            return Err(Refused::BeforeTreatment);
        }
        products = used;
    }
    let level = judged(&said.signs, Lasted::is_long(said.lasted, now - said.began_at), said.level)?;
    let Report { id, visit, began_at, signs, lasted, rinsed, first_aid, care, note, .. } = said;
    let body = Body::Report { signs, lasted, level, rinsed, first_aid, care, note };
    let by = By::member(member);
    let id = open(app, &mut tx, &by, New { id, client, visit, test: None, products, began_at, level, body }).await?;
    tx.commit().await?;
    Ok(id)
}

/// When a treatment of hers began and what was used: what its record says, or the bottles that were taken so far.
async fn used_at(
    c: &mut Connection,
    client: &ClientId,
    id: &VisitId,
) -> Stored<Option<(OffsetDateTime, Vec<(ProductId, String)>)>> {
    if visits::get(c, id).await?.is_none_or(|visit| visit.client.as_ref() != Some(client)) {
        return Ok(None);
    }
    if let Some(record) = treatments::of_visit(c, id).await? {
        return Ok(record.current().map(|version| (version.started_at, version.products.clone())));
    }
    let Some(begun) = treatments::start(c, id).await? else { return Ok(None) };
    Ok(Some((begun.started_at, chair::bottles(c, id).await?)))
}

struct New<'a> {
    id: ReactionId,
    client: &'a ClientId,
    visit: Option<VisitId>,
    test: Option<SkinTestId>,
    products: Vec<(ProductId, String)>,
    began_at: OffsetDateTime,
    level: Level,
    body: Body,
}

/// Who writes: as the audit names them, and as the report does.
struct By {
    actor: Actor,
    name: String,
}

impl By {
    fn member(member: &Member) -> Self {
        Self { actor: Actor::Member(member.clone()), name: member.name.clone() }
    }
}

async fn open(app: &App, c: &mut Connection, by: &By, new: New<'_>) -> Stored<ReactionId> {
    let now = app.clock.now();
    let reaction = Reaction {
        id: new.id,
        client: new.client.clone(),
        visit: new.visit,
        skin_test: new.test,
        state: State::Reported,
        level: new.level,
        began_at: new.began_at,
        reported_at: now,
        due_at: new.level.next_follow_up(now, now),
        products: new.products,
        entries: Vec::new(),
    };
    reactions::insert(c, &reaction).await?;
    let entry = Entry { body: new.body, written_by: by.name.clone(), written_at: now };
    reactions::add(c, &reaction, &entry).await?;
    log(c, by, "reaction.reported", &reaction, now).await?;
    Ok(reaction.id)
}

/// A failed reading of a skin test, by the team or by the client herself, opens a report, once for each test; a later
/// and graver reading is added to it.
///
/// # Errors
/// When the file can't be read or written.
pub async fn after_test(
    app: &App,
    c: &mut Connection,
    actor: &Actor,
    stored: &StoredTest,
    result: TestResult,
    seen_at: OffsetDateTime,
) -> Stored<()> {
    let Some(level) = level_of_test(result) else { return Ok(()) };
    let by = match actor {
        Actor::Member(member) => By::member(member),
        other => By { actor: other.clone(), name: "client".to_owned() },
    };
    let note = tf("The skin test was read: {result}.").with("result", result).to_string();
    if let Some(mut known) = reactions::of_skin_test(c, &stored.test.id).await? {
        if level > known.level {
            graver(app, c, &by, &mut known, level, note).await?;
        }
        return Ok(());
    }
    let body = Body::Report {
        signs: BTreeSet::new(),
        lasted: None,
        level,
        rinsed: None,
        first_aid: String::new(),
        care: String::new(),
        note,
    };
    let products = vec![(stored.test.product.clone(), stored.batch.clone())];
    let (client, test) = (&stored.client, Some(stored.test.id.clone()));
    let id = ReactionId::from_random(app.random.id());
    open(app, c, &by, New { id, client, visit: None, test, products, began_at: seen_at, level, body }).await?;
    Ok(())
}

/// A report turns out graver than it was; one that was settled is open again.
async fn graver(
    app: &App,
    c: &mut Connection,
    by: &By,
    known: &mut Reaction,
    level: Level,
    note: String,
) -> Stored<()> {
    let now = app.clock.now();
    // Asked after only once somebody of the team has been in touch: so it stands as reported.
    known.state = State::Reported;
    known.level = level;
    known.due_at = level.next_follow_up(now, now);
    let body = Body::FollowUp { signs: BTreeSet::new(), level, care: String::new(), note };
    let entry = Entry { body, written_by: by.name.clone(), written_at: now };
    reactions::add(c, known, &entry).await?;
    log(c, by, "reaction.graver", known, now).await
}

/// A report, if this member may see it.
///
/// # Errors
/// When the file can't be read.
pub async fn for_member(c: &mut Connection, member: &Member, id: &ReactionId) -> Stored<Option<Reaction>> {
    match reactions::get(c, id).await? {
        Some(found) if may_see(c, member, &found.client).await? => Ok(Some(found)),
        _ => Ok(None),
    }
}

/// What is added to a report.
pub enum Added {
    /// She was asked again; the level where somebody sets it higher than the signs do.
    FollowUp {
        /// What is seen or felt now.
        signs: BTreeSet<Sign>,
        /// How grave, where it is graver than the signs say.
        level: Option<Level>,
        /// Medical care.
        care: String,
        /// Anything else.
        note: String,
    },
    /// Somebody was told: who, and their reference.
    Told(String, String),
    /// It is over: how it ended, and what is done so that it doesn't happen again.
    Settled(String, String),
    /// It is not over after all: why.
    Reopened(String),
}

/// Adds to a report.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn add(app: &App, member: &Member, id: &ReactionId, added: Added) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let mut reaction = for_member(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    let (body, action) = match added {
        Added::FollowUp { signs, level, care, note } => {
            // What is gone by now stays as grave as it was.
            let long = Lasted::is_long(Some(Lasted::Still), now - reaction.began_at);
            let now_is = judged(&signs, long, level)?.max(reaction.level);
            reaction.state = reaction.state.ask_again(reaction.level, now_is)?;
            reaction.level = now_is;
            (Body::FollowUp { signs, level: now_is, care, note }, "reaction.asked-again")
        }
        Added::Told(whom, reference) => {
            reaction.state = reaction.state.tell()?;
            (Body::Told { whom, reference }, "reaction.told")
        }
        Added::Settled(outcome, corrective) => {
            reaction.state = reaction.state.settle(reaction.level)?;
            (Body::Settled { outcome, corrective }, "reaction.settled")
        }
        Added::Reopened(why) => {
            reaction.state = reaction.state.reopen()?;
            (Body::Reopened { why }, "reaction.reopened")
        }
    };
    let reopened = reaction.entries.iter().rev().find(|entry| matches!(entry.body, Body::Reopened { .. }));
    let since = match &body {
        Body::Reopened { .. } => now,
        _ => reopened.map_or(reaction.reported_at, |entry| entry.written_at),
    };
    reaction.due_at = match &body {
        Body::Told { .. } => reaction.due_at,
        _ if !reaction.state.is_open() => None,
        _ => reaction.level.next_follow_up(since, now),
    };
    let entry = Entry { body, written_by: member.name.clone(), written_at: now };
    reactions::add(&mut tx, &reaction, &entry).await?;
    log(&mut tx, &By::member(member), action, &reaction, now).await?;
    Ok(tx.commit().await?)
}

/// The reports on which a member should ask again by the end of a day.
///
/// # Errors
/// When the file can't be read.
pub async fn due(c: &mut Connection, member: &Member, by: OffsetDateTime) -> Stored<Vec<Due>> {
    let mut hers = Vec::new();
    for reaction in reactions::due(c, by).await? {
        if may_see(c, member, &reaction.client).await? {
            hers.push(reaction);
        }
    }
    Ok(hers)
}

async fn log(
    c: &mut Connection,
    by: &By,
    action: &'static str,
    reaction: &Reaction,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, client: Some(&reaction.client), object: reaction.id.as_str(), detail: "" };
    audit::append(c, &by.actor, event, now).await
}
