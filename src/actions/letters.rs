//! Letters from clinicians: added by the client or the team, read, set aside.

use super::files::{self, Belongs};
use super::treating::may_see;
use crate::app::App;
use crate::documents::upload::Checked;
use crate::domain::consent::{Agreement, Tick};
use crate::domain::file::Purpose;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::{ClientId, LetterId};
use crate::domain::letter::{Letter, LetterDraft, LetterRefused};
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::letters::{self, StoredLetter};
use crate::store::studio::Studio;
use crate::store::{StoreError, audit, clients, health};

/// Why a letter was not added.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such client or letter, or none of this member's.
    #[error("not there")]
    NotFound,
    /// The letter doesn't hold together.
    #[error(transparent)]
    Letter(#[from] LetterRefused),
    /// The client took back that anything is kept about her health.
    #[error("she took back that it may be kept")]
    TakenBack,
    /// The client has sent as much as she may.
    #[error("there is no room for more of her files")]
    Full,
    /// Somebody else was there first.
    #[error("it was read or set aside meanwhile")]
    Done,
}

/// Who adds a letter.
#[derive(Clone, Copy)]
pub enum By<'a> {
    /// The client: it counts once somebody of the team has read it.
    Client,
    /// Somebody of the team, who has read it.
    Team(&'a Member),
}

/// Adds a letter. What its draft says of id and file is set here.
///
/// # Errors
/// [`Refused`]; nothing is kept then.
pub async fn add(
    app: &App,
    studio: &Studio,
    by: By<'_>,
    client: &ClientId,
    draft: LetterDraft,
    paper: &Checked,
) -> Result<LetterId, Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (actor, name) = match by {
        By::Client => (Actor::Client(client.clone()), "client"),
        By::Team(member) => (Actor::Member(member.clone()), member.name.as_str()),
    };
    let seen = match by {
        By::Client => true,
        By::Team(member) => may_see(&mut tx, member, client).await?,
    };
    if !seen || clients::get(&mut tx, client).await?.is_none() {
        return Err(Refused::NotFound);
    }
    let taken_back =
        |(tick, how): &(Tick, Agreement)| *tick == Tick::HealthData && matches!(how, Agreement::Withdrawn { .. });
    if matches!(by, By::Client) && health::agreements(&mut tx, client).await?.iter().any(taken_back) {
        return Err(Refused::TakenBack);
    }
    let id = LetterId::from_random(app.random.id());
    let draft = LetterDraft { id: id.clone(), file: Fingerprint::of(&paper.bytes), ..draft };
    let letter = Letter::parse(draft, studio.zone.date_at(now))?;
    let belongs = Belongs { client, purpose: Purpose::Letter, about: id.as_str(), by: name };
    if matches!(by, By::Client) && !files::has_room(&mut tx, client, paper).await? {
        return Err(Refused::Full);
    }
    let file = files::keep(app, &mut tx, &belongs, paper, now).await?;
    let read = matches!(by, By::Team(_)).then(|| (name.to_owned(), now));
    let added_by = name.to_owned();
    let stored =
        StoredLetter { letter, client: client.clone(), file: file.id, added_by, added_at: now, read, set_aside: None };
    letters::insert(&mut tx, &stored).await?;
    let event = Event { action: "letter.added", client: Some(client), object: id.as_str(), detail: "" };
    audit::append(&mut tx, &actor, event, now).await?;
    tx.commit().await?;
    Ok(id)
}

/// What is said of a letter that is there.
pub enum Judged<'a> {
    /// It was read, and says what was typed in.
    Read,
    /// It doesn't count, for this reason.
    SetAside(&'a str),
}

/// Somebody of the team has read a letter, or sets it aside.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn judge(app: &App, member: &Member, id: &LetterId, judged: Judged<'_>) -> Result<ClientId, Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let client = letters::client_of(&mut tx, id).await?.ok_or(Refused::NotFound)?;
    if !may_see(&mut tx, member, &client).await? {
        return Err(Refused::NotFound);
    }
    let (done, action) = match judged {
        Judged::Read => (letters::set_read(&mut tx, id, &member.name, now).await?, "letter.read"),
        Judged::SetAside(why) => (letters::set_aside(&mut tx, id, &member.name, why, now).await?, "letter.set-aside"),
    };
    if !done {
        return Err(Refused::Done);
    }
    // The reason may speak of her health: it stays with the letter.
    let event = Event { action, client: Some(&client), object: id.as_str(), detail: "" };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(client)
}
