//! While she treats: what was measured, which shield was used, and when each product went on and came off.

use time::{Duration, OffsetDateTime};

use super::case::Known;
use super::shelf::Shelf;
use super::steps;
use super::treating::{Refused, visit_for};
use crate::app::App;
use crate::domain::bottle::Unfit;
use crate::domain::ids::{ClientId, ProductId, VisitId};
use crate::domain::mark::Mark;
use crate::domain::role::{Actor, Member};
use crate::domain::steps::{Plan, Trait};
use crate::domain::timing::{self, Event, Press, Worn};
use crate::domain::visit::VisitState;
use crate::store::chair::{self, Check, Measured, Pressed};
use crate::store::types::impossible;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, StoreError, Stored, audit, catalogue, studio};

/// A device's clock that is no farther off is taken as it is: setting it right by less would only add the network's delay.
const TOLERANCE: i64 = 30;

/// How far the device's clock counts as being before the studio's, in whole seconds.
fn counted(ahead: i64) -> Duration {
    Duration::seconds(if ahead.abs() > TOLERANCE { ahead } else { 0 })
}

/// The steps that a visit's treatment follows: as they stood when it began.
///
/// # Errors
/// When the file can't be read.
pub async fn plan_of(c: &mut Connection, visit: &Visit) -> Stored<Plan> {
    if let Some(check) = chair::check(c, &visit.id).await? {
        return Ok(check.plan);
    }
    let service = catalogue::service(c, &visit.service).await?;
    let service = service.ok_or_else(|| impossible("visit", "service_id", visit.id.as_str()))?;
    Ok(steps::plan(c, &service, None).await?.1)
}

/// What she looked at before she starts.
#[derive(Debug, Clone)]
pub struct LookedAt {
    /// What was ticked of the day's list, in its words.
    pub on_the_day: Vec<String>,
    /// What was ticked of the hygiene list.
    pub hygiene: Vec<String>,
    /// How the lashes are.
    pub traits: Vec<Trait>,
    /// The product whose times hold, where it has some of its own.
    pub product: Option<ProductId>,
}

/// Keeps what she looked at, with the steps that the treatment follows from now on.
pub(super) async fn keep_check(
    c: &mut Connection,
    member: &Member,
    visit: &Visit,
    seen: LookedAt,
    now: OffsetDateTime,
) -> Stored<()> {
    let service = catalogue::service(c, &visit.service).await?;
    let service = service.ok_or_else(|| impossible("visit", "service_id", visit.id.as_str()))?;
    let (_, plan) = steps::plan(c, &service, seen.product.as_ref()).await?;
    let LookedAt { on_the_day, hygiene, traits, .. } = seen;
    let check = Check { on_the_day, hygiene, traits, plan, by: member.name.clone(), at: now };
    chair::add_check(c, &visit.id, &check).await
}

/// Every press of a visit on the studio's clock, and what was worn.
///
/// # Errors
/// When the file can't be read.
pub async fn worn(c: &mut Connection, visit: &VisitId) -> Stored<Vec<Worn>> {
    Ok(timing::worn(&events(c, visit, 0).await?))
}

/// Whether presses came in after a moment, such as when the record was written.
///
/// # Errors
/// When the file can't be read.
pub async fn came_after(c: &mut Connection, visit: &VisitId, moment: OffsetDateTime) -> Stored<bool> {
    Ok(chair::pressed(c, visit).await?.iter().any(|pressed| pressed.received_at > moment))
}

/// What a record's form shows of the chair: every press, the bottles and the shield.
///
/// # Errors
/// When the file can't be read.
pub async fn mark(c: &mut Connection, visit: &VisitId, client: &ClientId) -> Stored<Mark> {
    let pressed: Vec<_> = chair::pressed(c, visit).await?.into_iter().map(|pressed| pressed.event.id).collect();
    let bottles = chair::bottles(c, visit).await?;
    let shield = chair::measured(c, client, Some(visit)).await?.map(|measured| measured.used);
    Ok(Mark::of(&(pressed, bottles, shield)))
}

/// Every press, on a clock that is so many seconds before the studio's.
async fn events(c: &mut Connection, visit: &VisitId, ahead: i64) -> Stored<Vec<Event>> {
    let all = chair::pressed(c, visit).await?.into_iter();
    let shifted = all.map(|pressed| {
        let at = pressed.event.at.saturating_sub(counted(pressed.ahead)).saturating_add(counted(ahead));
        Event { at, ..pressed.event }
    });
    Ok(shifted.collect())
}

/// What a device pressed, and what it is told.
#[derive(Debug)]
pub struct Synced {
    /// Every press of the visit, on the device's clock.
    pub events: Vec<Event>,
    /// How many of the posted ones can't be: for a step without a timer, or over the label's longest time.
    pub refused: usize,
    /// Whether the record is written.
    pub over: bool,
}

/// Takes what was pressed at the chair; what is there already is left as it is. `device_now` is what the device's clock
/// showed when it sent this.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn sync(
    app: &App,
    member: &Member,
    id: &VisitId,
    device_now: OffsetDateTime,
    presses: Vec<Event>,
) -> Result<Synced, Refused> {
    let now = app.clock.now();
    let ahead = (device_now - now).whole_seconds();
    if presses.is_empty() {
        // Each chair asks every few seconds: nobody waits for that.
        let mut c = app.db.read().await?;
        let (visit, _) = timed(&mut c, member, id).await?;
        let events = events(&mut c, id, ahead).await?;
        return Ok(Synced { events, refused: 0, over: visit.state == VisitState::Done });
    }
    let mut tx = app.db.write().await?;
    let (visit, client) = timed(&mut tx, member, id).await?;
    let plan = plan_of(&mut tx, &visit).await?;
    let (mut new, mut refused) = (0, 0);
    for event in presses {
        if !can_be(&plan, &event) {
            refused += 1;
            continue;
        }
        let pressed = Pressed { event, ahead, by: member.name.clone(), received_at: now };
        new += usize::from(chair::add_pressed(&mut tx, id, &pressed).await?);
    }
    if new > 0 {
        let detail = if new == 1 { "1 press".to_owned() } else { format!("{new} presses") };
        log(&mut tx, member, "treatment.timed", &client, id, &detail, now).await?;
    }
    let events = events(&mut tx, id, ahead).await?;
    tx.commit().await?;
    Ok(Synced { events, refused, over: visit.state == VisitState::Done })
}

/// A visit whose times can come in.
async fn timed(c: &mut Connection, member: &Member, id: &VisitId) -> Result<(Visit, ClientId), Refused> {
    let (visit, client) = visit_for(c, member, id).await?.ok_or(Refused::NotFound)?;
    if visit.purpose != Purpose::Treatment {
        return Err(Refused::OtherPurpose);
    }
    if !matches!(visit.state, VisitState::InTreatment | VisitState::Done) {
        return Err(Refused::NotUnderWay);
    }
    Ok((visit, client))
}

/// Whether the step has a timer, and the time is not over the label's longest.
fn can_be(plan: &Plan, event: &Event) -> bool {
    let minutes = plan.steps().get(usize::from(event.step)).and_then(crate::domain::steps::Step::minutes);
    minutes.is_some_and(|minutes| match event.press {
        Press::On(seconds) | Press::Set(seconds) => seconds > 0 && seconds <= minutes.most * 60,
        Press::Off | Press::TakeBack(_) => true,
    })
}

/// Stores lengths with the wanted effect, or which shield was used for them.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn measure(app: &App, member: &Member, id: &VisitId, measured: &Measured) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (visit, client) = visit_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    if visit.state != VisitState::InTreatment {
        return Err(Refused::NotUnderWay);
    }
    chair::add_measured(&mut tx, id, measured, &member.name, now).await?;
    let action = if measured.used.is_empty() { "lashes.measured" } else { "shield.chosen" };
    log(&mut tx, member, action, &client, id, "", now).await?;
    Ok(tx.commit().await?)
}

/// Why a bottle is not taken.
#[derive(Debug, thiserror::Error)]
pub enum BottleRefused {
    /// The visit can't take one.
    #[error(transparent)]
    Visit(#[from] Refused),
    /// The register knows no batch with this number.
    #[error("the register doesn't know this batch")]
    Unknown,
    /// Several products have a batch with this number.
    #[error("several products have this number")]
    Several,
    /// It may not be used for this visit.
    #[error("{0} may not be used: {1}")]
    Unfit(String, Unfit),
}

impl From<StoreError> for BottleRefused {
    fn from(error: StoreError) -> Self {
        Self::Visit(error.into())
    }
}

/// Takes a bottle by the number on it, before it is used. What may not be used is refused.
///
/// # Errors
/// [`BottleRefused`]; nothing is changed then.
pub async fn take_bottle(app: &App, member: &Member, id: &VisitId, number: &str) -> Result<(), BottleRefused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (visit, client) = visit_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    if visit.state != VisitState::InTreatment {
        return Err(Refused::NotUnderWay.into());
    }
    let shelf = Shelf::load(&mut tx, visit.civil.date()).await?;
    let batch = match shelf.numbered(number, &visit.service)[..] {
        [] => return Err(BottleRefused::Unknown),
        [batch] => batch,
        _ => return Err(BottleRefused::Several),
    };
    let studio = studio::get(&mut tx).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    let known = Known::of_visit(&mut tx, &studio, &visit).await?;
    if let Some(unfit) = known.unfit(batch, shelf.on(), now, None) {
        let name = shelf.product(&batch.product).map_or_else(String::new, |product| product.name.clone());
        return Err(BottleRefused::Unfit(name, unfit));
    }
    chair::take_bottle(&mut tx, id, (&batch.product, &batch.number), &member.name, now).await?;
    log(&mut tx, member, "batch.taken", &client, id, "", now).await?;
    Ok(tx.commit().await?)
}

async fn log(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    client: &ClientId,
    visit: &VisitId,
    detail: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = audit::Event { action, client: Some(client), object: visit.as_str(), detail };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
