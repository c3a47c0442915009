//! Skin tests, applied and read, and who looked at health data.

use time::{Date, OffsetDateTime};

use super::case::Known;
use super::reactions;
use super::shelf::Shelf;
use super::treating::{may_see, visit_for};
use crate::app::App;
use crate::domain::bottle::Unfit;
use crate::domain::consent::ConsentStanding;
use crate::domain::ids::{ClientId, ProductId, ServiceId, SkinTestId, VisitId};
use crate::domain::role::{Actor, Member};
use crate::domain::screening::TestPermission;
use crate::domain::skin_test::{ReadBy, Reading, ReadingRefused, SkinTest, TestResult};
use crate::domain::visit::{EventRefused, VisitEvent, VisitState};
use crate::store::audit::Event;
use crate::store::skin_tests::{self, StoredTest};
use crate::store::studio::Studio;
use crate::store::visits::{self, Purpose, Visit};
use crate::store::{Connection, StoreError, Stored, audit, catalogue};

/// Why a skin test was not stored.
#[derive(Debug, thiserror::Error)]
pub enum TestRefused {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such visit, client or test, or none of this member's.
    #[error("not there")]
    NotFound,
    /// The visit stands where no test can be applied.
    #[error(transparent)]
    Event(#[from] EventRefused),
    /// The service doesn't want this product tested.
    #[error("this service wants another product tested")]
    OtherProduct,
    /// A visit's test is applied on its own day.
    #[error("the visit is on {0}")]
    OtherDay(Date),
    /// Not before this day.
    #[error("no skin test before {0}")]
    NotBefore(Date),
    /// She is too young for one.
    #[error("no skin test at this age")]
    Age,
    /// Her answers are missing.
    #[error("no skin test without answers to the health questions")]
    NoAnswers,
    /// An answer that decides on it is open.
    #[error("no skin test before she was asked")]
    AskFirst,
    /// A letter has to be there before.
    #[error("no skin test before the letter is there")]
    LetterFirst,
    /// A reaction of hers is not settled.
    #[error("no skin test while a reaction is open")]
    ReactionOpen,
    /// Her parent or guardian has not signed for this service.
    #[error("no skin test before a guardian has signed")]
    Guardian,
    /// Her answers forbid one.
    #[error("her answers forbid a skin test")]
    Forbidden,
    /// The product did her harm, or her tests of it weren't clear.
    #[error("the product is not put on her skin again")]
    Harmed,
    /// She does not agree.
    #[error("she refused, or withdrew her consent")]
    NoConsent,
    /// The register doesn't know the batch.
    #[error("the register doesn't know this batch")]
    UnknownBatch,
    /// The batch had ended.
    #[error("the batch had ended on {0}")]
    Expired(Date),
    /// It is dated after now.
    #[error("it is dated in the future")]
    Future,
    /// The reading is dated where it can't be.
    #[error(transparent)]
    Reading(#[from] ReadingRefused),
}

/// A skin test as the form gives it.
#[derive(Clone)]
pub struct Applied {
    /// The id that the form brought along: the same form sent twice is one test.
    pub id: SkinTestId,
    /// The service that it is for.
    pub service: ServiceId,
    /// The product.
    pub product: ProductId,
    /// Its batch.
    pub batch: String,
    /// Where on the skin.
    pub site: String,
    /// When.
    pub at: OffsetDateTime,
}

/// Whether a test may be applied, as the refusal of it; `false` when a clear result can't be trusted.
///
/// # Errors
/// [`TestRefused`]
pub fn permission(known: &Known, on: Date, now: OffsetDateTime) -> Result<bool, TestRefused> {
    if !known.products.is_empty() && known.products.iter().all(|product| known.test_barred(&product.id, now)) {
        return Err(TestRefused::Harmed);
    }
    match known.may_test(on) {
        TestPermission::Yes | TestPermission::Unreliable if known.lacks_guardian(on) => Err(TestRefused::Guardian),
        TestPermission::Yes => Ok(true),
        TestPermission::Unreliable => Ok(false),
        TestPermission::LetterFirst => Err(TestRefused::LetterFirst),
        TestPermission::ReactionOpen => Err(TestRefused::ReactionOpen),
        TestPermission::NotBefore(day) => Err(TestRefused::NotBefore(day)),
        TestPermission::AskFirst => Err(TestRefused::AskFirst),
        TestPermission::No { rule } => Err(match rule.as_str() {
            TestPermission::AGE => TestRefused::Age,
            super::case::NO_ANSWERS => TestRefused::NoAnswers,
            _ => TestRefused::Forbidden,
        }),
    }
}

/// A test is applied at its visit. The visit is done once every product that the service wants was applied.
///
/// # Errors
/// [`TestRefused`]; nothing is changed then.
pub async fn apply_at_visit(
    app: &App,
    studio: &Studio,
    member: &Member,
    id: &VisitId,
    applied: Applied,
) -> Result<SkinTestId, TestRefused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (mut visit, client) = visit_for(&mut tx, member, id).await?.ok_or(TestRefused::NotFound)?;
    if visit.purpose != Purpose::SkinTest || visit.service != applied.service {
        return Err(TestRefused::NotFound);
    }
    let test = apply(app, &mut tx, studio, member, &client, Some(&visit), applied).await?;
    let wanted = catalogue::tests_for(&mut tx, &visit.service).await?;
    let tests = skin_tests::of_client(&mut tx, &client).await?;
    let here = |product: &ProductId| tests.iter().any(|t| t.visit.as_ref() == Some(id) && t.test.product == *product);
    let all = wanted.iter().all(|product| here(&product.id));
    if let Some(next) = after_applying(visit.state, all)? {
        visit.state = next;
        visits::update(&mut tx, &visit, now).await?;
    }
    tx.commit().await?;
    Ok(test)
}

/// Where the visit stands after a test: whoever is tested has come, and a visit that is done may see a further test.
fn after_applying(state: VisitState, all: bool) -> Result<Option<VisitState>, EventRefused> {
    let begun = match state {
        VisitState::Done => return Ok(None),
        VisitState::Booked => state.arrive()?.start()?,
        VisitState::Arrived => state.start()?,
        VisitState::InTreatment => state,
        _ => return Err(EventRefused::State { state, event: VisitEvent::Start }),
    };
    Ok(Some(if all { begun.finish()? } else { begun }))
}

/// The day on which a visit's tests are applied: its own. One that was begun can only be finished, so what it still lacks is
/// applied on the day that it is.
pub fn day_of(visit: &Visit, studio: &Studio, now: OffsetDateTime) -> Date {
    if visit.state == VisitState::InTreatment { studio.zone.date_at(now) } else { visit.civil.date() }
}

/// A test is applied to a client who walked in.
///
/// # Errors
/// [`TestRefused`]; nothing is changed then.
pub async fn apply_walk_in(
    app: &App,
    studio: &Studio,
    member: &Member,
    client: &ClientId,
    applied: Applied,
) -> Result<SkinTestId, TestRefused> {
    let mut tx = app.db.write().await?;
    if !may_see(&mut tx, member, client).await? {
        return Err(TestRefused::NotFound);
    }
    let test = apply(app, &mut tx, studio, member, client, None, applied).await?;
    tx.commit().await?;
    Ok(test)
}

async fn apply(
    app: &App,
    c: &mut Connection,
    studio: &Studio,
    member: &Member,
    client: &ClientId,
    visit: Option<&Visit>,
    applied: Applied,
) -> Result<SkinTestId, TestRefused> {
    let now = app.clock.now();
    if let Some(whose) = skin_tests::client_of(c, &applied.id).await? {
        return if whose == *client { Ok(applied.id) } else { Err(TestRefused::NotFound) };
    }
    if applied.at > now {
        return Err(TestRefused::Future);
    }
    let on = studio.zone.date_at(applied.at);
    if let Some(day) = visit.map(|visit| day_of(visit, studio, now))
        && (day != studio.zone.date_at(now) || day != on)
    {
        return Err(TestRefused::OtherDay(day));
    }
    let known = Known::load(c, studio, Some(client), &applied.service).await?;
    if !known.products.iter().any(|product| product.id == applied.product) {
        return Err(TestRefused::OtherProduct);
    }
    let reliable = permission(&known, on, now)?;
    if known.test_barred(&applied.product, now) {
        return Err(TestRefused::Harmed);
    }
    if matches!(known.consent_standing(), ConsentStanding::Refused | ConsentStanding::Withdrawn) {
        return Err(TestRefused::NoConsent);
    }
    let shelf = Shelf::load(c, on).await?;
    let batch = shelf.typed(&applied.product, &applied.batch).ok_or(TestRefused::UnknownBatch)?;
    if let Some(Unfit::Expired(ended) | Unfit::Discarded(ended)) = batch.days.over(on) {
        return Err(TestRefused::Expired(ended));
    }
    let id = applied.id;
    let test = SkinTest {
        id: id.clone(),
        product: applied.product,
        applied_at: applied.at,
        reliable,
        voided: None,
        readings: Vec::new(),
    };
    let stored = StoredTest {
        test: test.clone(),
        client: client.clone(),
        visit: visit.map(|visit| visit.id.clone()),
        practitioner: member.practitioner.clone().or_else(|| visit.map(|visit| visit.practitioner.clone())),
        batch: batch.number.clone(),
        site: applied.site,
        voiding: None,
        notes: Vec::new(),
    };
    skin_tests::insert(c, &stored, now).await?;
    super::test_reports::ask(app, c, client, &test, now).await?;
    log(c, member, "skin-test.applied", client, id.as_str(), now).await?;
    Ok(id)
}

/// A test with its client, if this member may see it.
///
/// # Errors
/// When the file can't be read.
pub async fn test_for(c: &mut Connection, member: &Member, id: &SkinTestId) -> Stored<Option<StoredTest>> {
    let Some(client) = skin_tests::client_of(c, id).await? else { return Ok(None) };
    if !may_see(c, member, &client).await? {
        return Ok(None);
    }
    Ok(skin_tests::of_client(c, &client).await?.into_iter().find(|stored| stored.test.id == *id))
}

/// Somebody looked at a test.
///
/// # Errors
/// [`TestRefused`]; nothing is changed then.
pub async fn read_test(
    app: &App,
    member: &Member,
    id: &SkinTestId,
    result: TestResult,
    at: OffsetDateTime,
    note: &str,
) -> Result<ClientId, TestRefused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let mut stored = test_for(&mut tx, member, id).await?.ok_or(TestRefused::NotFound)?;
    let reading = Reading { at, result, by: ReadBy::Practitioner };
    stored.test.read(reading, now)?;
    skin_tests::add_reading(&mut tx, id, &reading, note, &member.name, now).await?;
    log(&mut tx, member, "skin-test.read", &stored.client, id.as_str(), now).await?;
    reactions::after_test(app, &mut tx, &Actor::Member(member.clone()), &stored, result, at).await?;
    tx.commit().await?;
    Ok(stored.client)
}

/// Writes down that somebody of the team looked at health data: of one client, or of several on one page.
///
/// # Errors
/// When the file can't be written: then the page must not be shown.
pub async fn looked(
    app: &App,
    member: &Member,
    action: &'static str,
    client: Option<&ClientId>,
    detail: &str,
) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let event = Event { action, client, object: "", detail };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await
}

async fn log(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    client: &ClientId,
    object: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, client: Some(client), object, detail: "" };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
