//! What leaves: the month's list of records whose time is over, and taking them away once the owner has confirmed it.

use time::{Date, OffsetDateTime};
use tokio::sync::Semaphore;

use super::{export, ledger};
use crate::app::App;
use crate::domain::ids::{MailId, RetentionListId};
use crate::domain::retention::{self, Fate, Terms};
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::erasure::{self, Ground};
use crate::store::retention::Standing;
use crate::store::retention_lists::{self, Line, List, Outcome, Part};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, audit, retention as kept, studio};

/// One list at a time.
static TURN: Semaphore = Semaphore::const_new(1);

/// What is done about one client: her whole record, or what is old of the rest.
fn due(standing: &Standing, studio: &Studio, terms: &Terms, today: Date) -> Option<Line> {
    let line = |part, fate| match fate {
        Fate::Goes { kept_to, why } => {
            Some(Line { client: standing.client.clone(), part, kept_to, why, outcome: None })
        }
        Fate::Stays { .. } | Fate::Blocked(_) => None,
    };
    let record = line(Part::Record, retention::of_record(&standing.records, terms, today));
    record.or_else(|| {
        let written = studio.zone.date_at(standing.oldest_invitation?);
        line(Part::Invitations, retention::of_invitation(&standing.records, written, terms, today))
    })
}

/// The moment before which letters left whose term is over.
fn letters_until(studio: &Studio, terms: &Terms, today: Date) -> OffsetDateTime {
    studio.zone.day_start(terms.letters.kept_since(today))
}

/// Makes a list of what may leave now, in the place of one that nobody confirmed. One that is being done is waited for: its
/// lines tell what is gone.
///
/// # Errors
/// When the database can't.
pub async fn make_list(app: &App, actor: &Actor) -> Stored<Option<RetentionListId>> {
    let _turn = TURN.acquire().await;
    let now = app.clock.now();
    // A long look over everybody, during which others go on writing: the rule is asked anew before anything leaves.
    let mut c = app.db.snapshot().await?;
    let Some(studio) = studio::get(&mut c).await? else { return Ok(None) };
    let (terms, today) = (kept::terms(&mut c).await?, studio.zone.date_at(now));
    let all = kept::standing(&mut c, None, &studio.zone, now).await?;
    let lines: Vec<Line> = all.iter().filter_map(|one| due(one, &studio, &terms, today)).collect();
    let list = List {
        id: RetentionListId::from_random(app.random.id()),
        month: month(today),
        letters: erasure::letters_before(&mut c, letters_until(&studio, &terms, today)).await?,
        made_at: now,
        done: None,
    };
    drop(c);
    let mut tx = app.db.write().await?;
    retention_lists::put(&mut tx, &list, &lines).await?;
    let detail = format!("{} records, {} letters", lines.len(), list.letters);
    let event = Event { action: "retention.listed", client: None, object: list.id.as_str(), detail: &detail };
    audit::append(&mut tx, actor, event, now).await?;
    tx.commit().await?;
    Ok(Some(list.id))
}

fn month(today: Date) -> String {
    format!("{:04}-{:02}", today.year(), u8::from(today.month()))
}

/// Makes the list of this month, if there is none yet.
///
/// # Errors
/// When the database can't.
pub async fn monthly(app: &App) -> Stored<()> {
    let mut c = app.db.read().await?;
    let Some(studio) = studio::get(&mut c).await? else { return Ok(()) };
    let made = retention_lists::has_month(&mut c, &month(studio.zone.date_at(app.clock.now()))).await?;
    drop(c);
    if !made {
        make_list(app, &Actor::Program).await?;
    }
    Ok(())
}

/// Takes away what is on a list, each client in a transaction of her own. The rule is asked anew for each: what came in
/// between, such as a hold or a visit, keeps her record. What was cut off goes on when it is confirmed again. `false` when
/// there is no such list that waits.
///
/// # Errors
/// When the database can't; what is gone by then stays gone.
pub async fn carry_out(app: &App, member: &Member, id: &RetentionListId) -> Stored<bool> {
    let _turn = TURN.acquire().await;
    let mut c = app.db.read().await?;
    let Some(studio) = studio::get(&mut c).await? else { return Ok(false) };
    let newest = retention_lists::newest(&mut c, 1).await?;
    if !newest.iter().any(|list| list.id == *id && list.done.is_none()) {
        return Ok(false);
    }
    let lines = retention_lists::lines(&mut c, id).await?;
    drop(c);
    let actor = Actor::Member(member.clone());
    for line in lines.iter().filter(|line| line.outcome.is_none()) {
        one(app, &studio, &actor, id, line).await?;
    }
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let terms = kept::terms(&mut tx).await?;
    let until = letters_until(&studio, &terms, studio.zone.date_at(now));
    let letters = erasure::forget_letters_before(&mut tx, until).await?;
    retention_lists::close(&mut tx, id, &member.name, now).await?;
    let (gone, stayed) = retention_lists::counts(&mut tx, id).await?;
    let detail = format!("{gone} gone, {stayed} stayed, {} letters", letters.len());
    let event = Event { action: "retention.done", client: None, object: id.as_str(), detail: &detail };
    audit::append(&mut tx, &actor, event, now).await?;
    app.db.owe_scrub();
    tx.commit().await?;
    clear_up(app, &letters).await;
    Ok(true)
}

/// What is left to do once it is committed that somebody left. What of it fails undoes nothing, and is made up for later.
pub(super) async fn clear_up(app: &App, letters: &[MailId]) {
    forget_files(app, letters);
    export::forget_kept(app);
    ledger::keep_up(app).await;
    app.db.scrub_if_owed().await;
}

async fn one(app: &App, studio: &Studio, actor: &Actor, list: &RetentionListId, line: &Line) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (terms, today) = (kept::terms(&mut tx).await?, studio.zone.date_at(now));
    let standing = kept::standing(&mut tx, Some(&line.client), &studio.zone, now).await?;
    let found = standing.first().and_then(|one| due(one, studio, &terms, today)).filter(|now| now.part == line.part);
    let mut letters = Vec::new();
    let outcome = match found {
        Some(due) => {
            letters = take(&mut tx, studio, actor, list, &due, &terms, now).await?;
            app.db.owe_scrub();
            Outcome::Gone
        }
        None => Outcome::Stayed,
    };
    retention_lists::note(&mut tx, list, line, outcome).await?;
    tx.commit().await?;
    forget_files(app, &letters);
    Ok(())
}

async fn take(
    tx: &mut Connection,
    studio: &Studio,
    actor: &Actor,
    list: &RetentionListId,
    due: &Line,
    terms: &Terms,
    now: OffsetDateTime,
) -> Stored<Vec<MailId>> {
    let detail = format!("kept to {}", due.kept_to);
    match due.part {
        Part::Record => {
            let ground = Ground { actor, object: list.as_str(), detail: &detail };
            erasure::erase(tx, &due.client, erasure::Part::Record, &ground, now).await
        }
        Part::Invitations => {
            let until = studio.zone.day_start(terms.invitations.kept_since(studio.zone.date_at(now)));
            erasure::forget_invitations_before(tx, &due.client, until).await?;
            let event = Event {
                action: "invitations.erased",
                client: Some(&due.client),
                object: list.as_str(),
                detail: &detail,
            };
            audit::append(tx, actor, event, now).await?;
            Ok(Vec::new())
        }
    }
}

/// Deletes letters that lie in a folder since none leaves this computer.
pub(super) fn forget_files(app: &App, letters: &[MailId]) {
    let Some(folder) = app.transport.folder() else { return };
    for id in letters {
        match std::fs::remove_file(folder.join(format!("{id}.eml"))) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                tracing::error!(%error, mail = %id, "a letter to somebody who left can't be deleted");
            }
            _ => {}
        }
    }
}
