//! The client reports what she sees of her skin test: asked by mail after 48 and 96 hours, with a link that does nothing
//! else. Silence is not a pass.

use time::{Duration, OffsetDateTime};

use super::files::{self, Belongs};
use super::{Pending, enqueue_at, reactions};
use crate::app::App;
use crate::documents::upload::Checked;
use crate::domain::file::Purpose;
use crate::domain::ids::{ClientId, SkinTestId};
use crate::domain::role::{Actor, Member};
use crate::domain::skin_test::{ReadBy, Reading, SkinTest, TestResult, VoidCause, VoidRefused};
use crate::store::audit::Event;
use crate::store::skin_tests::{self, StoredTest};
use crate::store::types::sha256_hex;
use crate::store::{Connection, StoreError, Stored, audit, clients, outbox, reactions as reports, readable, studio};

/// Tests applied so close together are asked about in one mail and on one page.
pub const TOGETHER: Duration = Duration::hours(12);
/// How long the link of a mail works: a report is expected until day 7 and taken after it.
pub const LINK_LASTS: Duration = Duration::days(14);

/// Puts the mails that ask in the outbox, each to leave when it is due; none for a test that was applied along with
/// another, and none that would come late.
pub(super) async fn ask(
    app: &App,
    c: &mut Connection,
    client: &ClientId,
    test: &SkinTest,
    now: OffsetDateTime,
) -> Stored<()> {
    let together =
        |other: &StoredTest| other.test.id != test.id && (other.test.applied_at - test.applied_at).abs() <= TOGETHER;
    if skin_tests::of_client(c, client).await?.iter().any(together) {
        return Ok(());
    }
    let Some(known) = clients::get(c, client).await? else { return Ok(()) };
    for due in test.prompts_at().into_iter().filter(|due| *due > now) {
        let pending = Pending::SkinTestPrompt { client: client.clone(), test: test.id.clone() };
        enqueue_at(app, c, &known.mail, &pending, due, now).await?;
    }
    Ok(())
}

/// Makes the link of a mail that is being written, and stores its hash.
///
/// # Errors
/// When the database can't.
pub async fn mint_link(app: &App, test: &SkinTestId) -> Stored<String> {
    let (token, now) = (app.random.token(), app.clock.now());
    let mut tx = app.db.write().await?;
    skin_tests::add_link(&mut tx, &sha256_hex(&token), test, now, now + LINK_LASTS).await?;
    tx.commit().await?;
    Ok(format!("{}/tell-us/{token}", app.address.base_url))
}

/// The tests that are asked about together with one: applied about the same time, and still of use.
///
/// # Errors
/// When the file can't be read.
pub async fn together(c: &mut Connection, client: &ClientId, id: &SkinTestId) -> Stored<Vec<StoredTest>> {
    let all = skin_tests::of_client(c, client).await?;
    let Some(at) = all.iter().find(|one| one.test.id == *id).map(|one| one.test.applied_at) else {
        return Ok(Vec::new());
    };
    let near = |one: &StoredTest| (one.test.applied_at - at).abs() <= TOGETHER && one.test.voided.is_none();
    Ok(all.into_iter().filter(near).collect())
}

/// What she saw of one test.
#[derive(Clone)]
pub struct Report {
    /// Which test.
    pub test: SkinTestId,
    /// What she saw.
    pub result: TestResult,
    /// In her own words, or nothing.
    pub note: String,
}

/// Stores what she saw, unless she has just said the same. After a reaction no further mail asks, and the studio is told to
/// look. `false` when she has told so much that nothing was taken; whatever is graver than before is.
///
/// # Errors
/// When the database can't.
pub async fn report(app: &App, client: &ClientId, reports: &[Report]) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (tests, she) = (skin_tests::of_client(&mut tx, client).await?, Actor::Client(client.clone()));
    let stored = |one: &Report| tests.iter().find(|stored| stored.test.id == one.test);
    let was_said = |one: &&Report| {
        stored(one).is_some_and(|known| {
            let said = known.notes.last().is_some_and(|(note, _)| one.note.is_empty() || one.note == *note);
            said && known.test.was_just_told(one.result, now)
        })
    };
    let reports: Vec<&Report> = reports.iter().filter(|one| !was_said(one)).collect();
    if reports.is_empty() {
        return Ok(true);
    }
    // What was filled in together is taken together.
    if !reports.iter().any(|one| stored(one).is_none_or(|known| known.test.takes_report(one.result, now))) {
        return Ok(false);
    }
    for one in &reports {
        let reading = Reading { at: now, result: one.result, by: ReadBy::Client };
        skin_tests::add_reading(&mut tx, &one.test, &reading, &one.note, "client", now).await?;
        let event = Event { action: "skin-test.reported", client: Some(client), object: one.test.as_str(), detail: "" };
        audit::append(&mut tx, &she, event, now).await?;
        if let Some(stored) = stored(one) {
            reactions::after_test(app, &mut tx, &she, stored, one.result, now).await?;
        }
    }
    if reports.iter().any(|one| one.result != TestResult::NoVisibleChange) {
        for one in reports.iter().filter(|one| one.result.fails()) {
            outbox::cancel_prompts(&mut tx, &one.test).await?;
        }
        tell_studio(app, &mut tx, client, now).await?;
    }
    tx.commit().await?;
    Ok(true)
}

/// Keeps a photo of what she sees, without any data on where and when it was taken, and tells the studio to look.
/// `false` when she has sent as much as she may.
///
/// # Errors
/// When the database can't.
pub async fn add_photo(app: &App, client: &ClientId, test: &SkinTestId, photo: &Checked) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !files::has_room(&mut tx, client, photo).await? {
        return Ok(false);
    }
    let to = Belongs { client, purpose: Purpose::SkinTest, about: test.as_str(), by: "client" };
    files::keep(app, &mut tx, &to, photo, now).await?;
    let event = Event { action: "skin-test.photo-added", client: Some(client), object: test.as_str(), detail: "" };
    audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    tell_studio(app, &mut tx, client, now).await?;
    tx.commit().await?;
    Ok(true)
}

async fn tell_studio(app: &App, c: &mut Connection, client: &ClientId, now: OffsetDateTime) -> Stored<()> {
    let studio = studio::get(c).await?;
    if let Some(mail) = studio.and_then(|studio| crate::domain::person::Mail::parse(&studio.mail).ok()) {
        enqueue_at(app, c, &mail, &Pending::LookAtReport { client: client.clone() }, now, now).await?;
    }
    Ok(())
}

/// Why a test goes on counting.
#[derive(Debug, thiserror::Error)]
pub enum NotVoided {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// It was not clear, and that is not over or not explained.
    #[error(transparent)]
    Refused(#[from] VoidRefused),
}

/// A test no longer counts: what was recorded stays, and no mail asks about it any more. Where it was not clear,
/// `why` is kept.
///
/// # Errors
/// [`NotVoided`]; nothing is changed then.
pub async fn void(
    app: &App,
    member: &Member,
    client: &ClientId,
    id: &SkinTestId,
    cause: VoidCause,
    why: &str,
) -> Result<(), NotVoided> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let stored = skin_tests::of_client(&mut tx, client).await?.into_iter().find(|one| one.test.id == *id);
    let Some(stored) = stored.filter(|one| one.test.voided.is_none()) else { return Ok(()) };
    let open = reports::of_skin_test(&mut tx, id).await?.is_some_and(|report| report.state.is_open());
    stored.test.may_be_voided(open, why)?;
    let detail = if stored.test.failed() || stored.test.unclear() {
        skin_tests::void_failed(&mut tx, id, cause, (why.trim(), &member.name), now).await?;
        "with a written reason"
    } else {
        skin_tests::void(&mut tx, id, cause).await?;
        ""
    };
    outbox::cancel_prompts(&mut tx, id).await?;
    let event = Event { action: "skin-test.voided", client: Some(client), object: id.as_str(), detail };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    Ok(tx.commit().await?)
}

/// The maker changed a product's formula: none of its tests so far counts any more. How many there were.
///
/// # Errors
/// When the database can't.
pub async fn formula_changed(app: &App, member: &Member, product: &crate::domain::ids::ProductId) -> Stored<usize> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let tests = skin_tests::counting_of_product(&mut tx, product).await?;
    for (id, client) in &tests {
        // Of whoever was erased nothing is written down any more; everybody else's stops counting all the same.
        if readable(skin_tests::void(&mut tx, id, VoidCause::FormulaChange).await)?.is_err() {
            continue;
        }
        outbox::cancel_prompts(&mut tx, id).await?;
        let event = Event { action: "skin-test.voided", client: Some(client), object: id.as_str(), detail: "" };
        audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    }
    let event = Event { action: "product.formula-changed", client: None, object: product.as_str(), detail: "" };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(tests.len())
}
