//! At the desk: the team books, moves and cancels for a client, and notes deposits.

use time::{Duration, OffsetDateTime};

use super::book::{Person, find_or_add};
use super::booking::{Choice, Spot};
use super::case::Known;
use super::diary::{Between, Diary};
use super::hours::may_arrange;
use super::own_visits::{Change, Own, put_at, take_off};
use super::treating::{Refused, mark, visit_for};
use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::ids::{ClientId, VisitId};
use crate::domain::mark::Mark;
use crate::domain::money::Money;
use crate::domain::role::{Actor, Member};
use crate::domain::schedule::still_free;
use crate::domain::visit::{VisitState, may_client_change};
use crate::store::audit::Event;
use crate::store::catalogue::Service;
use crate::store::deposits::{self, Deposit, Fate, How};
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, audit, catalogue, studio, takings, visits};

/// How booking at the desk ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Placed {
    /// It is booked.
    Booked(VisitId),
    /// The time is not free, or too early for her.
    Taken,
    /// Not hers to book with.
    NotHers,
}

/// When a visit may lie for her.
#[derive(Debug, Clone, Default)]
pub struct Fit {
    /// On which days.
    pub between: Between,
    /// Not before this moment: a skin test that is booked, or could be made now, has its wait over then.
    pub not_before: Option<OffsetDateTime>,
    /// The skin test that is booked and goes before it.
    pub test: Option<VisitId>,
    /// A skin test is needed, and none is made or booked.
    pub lacks_test: bool,
}

impl Fit {
    /// Loads it for a service, or for the skin test before it.
    ///
    /// # Errors
    /// When the database can't.
    pub async fn load(
        c: &mut Connection,
        studio: &Studio,
        client: Option<&ClientId>,
        (service, purpose): (&Service, Purpose),
        now: OffsetDateTime,
    ) -> Stored<Self> {
        let known = Known::load(c, studio, client, &service.id).await?;
        if purpose == Purpose::SkinTest {
            return Ok(Self { between: known.test_between(now), ..Self::default() });
        }
        let mut fit = Self { between: known.between(now), ..Self::default() };
        if known.products.is_empty() || !known.needs_test(now, now) {
            return Ok(fit);
        }
        let label = known.products.iter().filter_map(|product| product.label_test_hours).max().unwrap_or(0);
        let floor = Duration::hours(studio.skin_test_floor_hours.max(i64::from(label)));
        let test = known.test_ahead(now);
        fit.not_before = Some(test.map_or(now, |test| test.ends_at) + floor);
        fit.lacks_test = test.is_none();
        fit.test = test.map(|test| test.id.clone());
        Ok(fit)
    }

    /// Whether a visit may start then.
    pub fn allows(&self, starts_at: OffsetDateTime) -> bool {
        self.not_before.is_none_or(|first| starts_at >= first)
    }
}

/// Books a visit for somebody who is here or on the phone. Her answers and her signature come when she comes: the check
/// before starting asks for them.
///
/// # Errors
/// When the database can't.
pub async fn book(
    app: &App,
    studio: &Studio,
    member: &Member,
    (service, purpose): (&Service, Purpose),
    person: Person,
    choice: &Choice,
) -> Stored<Placed> {
    if !may_arrange(member, &choice.practitioner) {
        return Ok(Placed::NotHers);
    }
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let client = find_or_add(app, &mut tx, person, &Actor::Member(member.clone()), now).await?;
    visits::expire_holds(&mut tx, now).await?;
    let fit = Fit::load(&mut tx, studio, Some(&client.id), (service, purpose), now).await?;
    let day = studio.zone.date_at(choice.starts_at);
    let diary = Diary::of_days(&mut tx, (studio, service), now, None, (day, day)).await?.at_the_desk();
    let length = if purpose == Purpose::SkinTest { diary.test } else { diary.service };
    let spot = diary
        .search(length, &fit.between, |search| Spot::of(&still_free(search, choice.starts_at, &choice.practitioner)?));
    let Some(spot) = spot.filter(|spot| fit.allows(spot.starts_at)) else { return Ok(Placed::Taken) };
    let visit = Visit {
        id: VisitId::from_random(app.random.id()),
        purpose,
        state: VisitState::Booked,
        service: service.id.clone(),
        practitioner: spot.practitioner,
        room: spot.room,
        client: Some(client.id.clone()),
        draft: None,
        paired_test: fit.test,
        starts_at: spot.starts_at,
        ends_at: spot.ends_at,
        busy_until: spot.busy_until,
        civil: spot.civil,
        zone: studio.zone.name().to_owned(),
        hold_until: None,
        price_minor: if purpose == Purpose::Treatment { service.price_minor } else { 0 },
        currency: studio.currency.as_str().to_owned(),
        sequence: 0,
    };
    match visits::insert(&mut tx, &visit, now).await {
        Ok(()) => {}
        Err(error) if error.is_overlap() => return Ok(Placed::Taken),
        Err(error) => return Err(error),
    }
    log(&mut tx, member, "visit.booked", &client.id, &visit.id, "at the desk", now).await?;
    enqueue(app, &mut tx, &client.mail, &Pending::Booked { visits: vec![visit.id.clone()] }, now).await?;
    tx.commit().await?;
    Ok(Placed::Booked(visit.id))
}

/// Moves a visit, as it was shown, to another time. The old time is given up only with the new one taken, in one step.
///
/// # Errors
/// [`Refused`]
pub async fn relocate(
    app: &App,
    studio: &Studio,
    member: &Member,
    id: &VisitId,
    (to, shown): (&Choice, &Mark),
) -> Result<Change, Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (visit, client) = visit_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    if !may_arrange(member, &visit.practitioner) {
        return Err(Refused::NotFound);
    }
    shown.holds(&mark(&visit))?;
    let own = Own::load(&mut tx, &client, id).await?.ok_or(Refused::NotFound)?;
    visits::expire_holds(&mut tx, now).await?;
    let service = catalogue::service(&mut tx, &visit.service).await?.ok_or(Refused::NotFound)?;
    let between = own.between(&own.known(&mut tx, studio).await?, now);
    let day = studio.zone.date_at(to.starts_at);
    let diary = Diary::of_days(&mut tx, (studio, &service), now, Some(id), (day, day)).await?.at_the_desk();
    let spot = diary.search(own.length(&diary), &between, |search| {
        let time = still_free(search, to.starts_at, &to.practitioner)?;
        if own.fits_partners(&diary, &time) { Spot::of(&time) } else { None }
    });
    let Some(spot) = spot else { return Ok(Change::Taken) };
    let actor = Actor::Member(member.clone());
    let change = put_at(app, &mut tx, studio, &actor, own.visit, spot, now).await?;
    if change == Change::Done {
        tx.commit().await?;
    }
    Ok(change)
}

/// The client called: she can't come to the visit as it was shown, nor to what makes no sense without it. After the studio's
/// limit it is noted as late.
///
/// # Errors
/// [`Refused`]
pub async fn cancel_for_client(app: &App, member: &Member, id: &VisitId, shown: &Mark) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (visit, client) = visit_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    let studio = studio::get(&mut tx).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    shown.holds(&mark(&visit))?;
    let own = Own::load(&mut tx, &client, id).await?.ok_or(Refused::NotFound)?;
    let hours = u16::try_from(studio.cancel_limit_hours).unwrap_or(u16::MAX);
    let late = !may_client_change(now, visit.starts_at, hours);
    if late {
        visits::mark_late(&mut tx, id).await?;
    }
    let actor = Actor::Member(member.clone());
    for visit in std::iter::once(&own.visit).chain(own.go_along()).cloned() {
        // What goes along is not what she calls off late.
        let detail = if late && visit.id == *id { "for the client, late" } else { "for the client" };
        let state = visit.state.cancel_by_client()?;
        take_off(app, &mut tx, &actor, Visit { state, ..visit }, detail, now).await?;
    }
    Ok(tx.commit().await?)
}

/// Notes a deposit, or what becomes of it; what is counted towards the price is only changed with it. Nothing is charged or paid here.
///
/// # Errors
/// [`Refused`]
pub async fn note_deposit(
    app: &App,
    member: &Member,
    id: &VisitId,
    (amount, how, fate): (&Money, How, Fate),
) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (_, client) = visit_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    let counted = takings::of_visit(&mut tx, id).await?.is_some_and(|taking| taking.price.counted_minor > 0);
    let stored = deposits::of_visit(&mut tx, id).await?;
    let same = stored.as_ref().is_some_and(|old| {
        let money = (old.amount_minor, old.currency.as_str()) == (amount.minor(), amount.currency().as_str());
        money && (old.how, old.fate) == (how, fate)
    });
    if !same && (counted || fate == Fate::Counted) {
        return Err(Refused::Counted);
    }
    let deposit = Deposit {
        amount_minor: amount.minor(),
        currency: amount.currency().as_str().to_owned(),
        how,
        fate,
        noted_by: member.name.clone(),
        noted_at: now,
    };
    deposits::put(&mut tx, id, &deposit).await?;
    let detail = format!("{} {}, {}, {}", amount.plain(), deposit.currency, how.as_str(), fate.as_str());
    log(&mut tx, member, "deposit.noted", &client, id, &detail, now).await?;
    Ok(tx.commit().await?)
}

async fn log(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    client: &ClientId,
    object: &VisitId,
    detail: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, client: Some(client), object: object.as_str(), detail };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
