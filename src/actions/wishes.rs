//! Earlier times: a client wishes, a time opens, and those whom it suits are told one after the other.
//!
//! While one of them may claim it, the time is a held visit like any other that is being booked: nobody else is offered
//! it, and the schema keeps it. A claim moves her booked visit there in one step.

use time::{Duration, OffsetDateTime};

use super::booking::Spot;
use super::diary::{Between, Diary};
use super::own_visits::{Change, Own, put_at};
use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::ids::{ClientId, OfferId, VisitId, WishId};
use crate::domain::role::Actor;
use crate::domain::schedule::{free_times, still_free};
use crate::domain::visit::VisitState;
use crate::domain::wish::Suits;
use crate::store::audit::Event;
use crate::store::studio::Studio;
use crate::store::types::{impossible, sha256_hex};
use crate::store::visits::Visit;
use crate::store::wishes::{Offer, OfferState, Opening, Wish};
use crate::store::{Connection, Stored, Tx, audit, catalogue, clients, readable, studio, visits, wishes};

/// How much longer than the limit a time is kept, so that it goes to the next wish and not to whoever looks just then.
const HANDING_ON: Duration = Duration::minutes(2);

/// Stores what she wishes about a visit of hers. `false` when it is none that is still to come.
///
/// # Errors
/// When the database can't.
pub async fn wish(app: &App, client: &ClientId, visit: &VisitId, suits: Suits) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(own) = Own::load(&mut tx, client, visit).await? else { return Ok(false) };
    if own.visit.state != VisitState::Booked || own.visit.starts_at <= now {
        return Ok(false);
    }
    match wishes::of_visit(&mut tx, visit).await? {
        Some(before) => wishes::update(&mut tx, &before.id, suits).await?,
        None => {
            let id = WishId::from_random(app.random.id());
            wishes::insert(&mut tx, &Wish { id, client: client.clone(), visit: visit.clone(), suits }, now).await?;
        }
    }
    note(&mut tx, &Actor::Client(client.clone()), "wish.saved", client, visit, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// She wishes no longer. `false` when she didn't.
///
/// # Errors
/// When the database can't.
pub async fn withdraw(app: &App, client: &ClientId, visit: &VisitId) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(wish) = wishes::of_visit(&mut tx, visit).await?.filter(|wish| wish.client == *client) else {
        return Ok(false);
    };
    end(app, &mut tx, &wish, now).await?;
    note(&mut tx, &Actor::Client(client.clone()), "wish.withdrawn", client, visit, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// A visit is off: so is the wish about it, and what was kept for it goes to the next.
///
/// # Errors
/// When the database can't.
pub(super) async fn visit_is_off(app: &App, tx: &mut Tx, visit: &VisitId, now: OffsetDateTime) -> Stored<()> {
    match wishes::of_visit(tx, visit).await? {
        Some(wish) => end(app, tx, &wish, now).await,
        None => Ok(()),
    }
}

async fn end(app: &App, tx: &mut Tx, wish: &Wish, now: OffsetDateTime) -> Stored<()> {
    wishes::end(tx, &wish.id, false).await?;
    match wishes::kept_for(tx, &wish.id).await? {
        Some(offer) => pass_on(app, tx, &offer, OfferState::Declined, now).await,
        None => Ok(()),
    }
}

/// A stretch of time has opened: it is kept for the first wish that it suits.
///
/// # Errors
/// When the database can't.
pub(super) async fn opened(
    app: &App,
    tx: &mut Tx,
    (from, until): (OffsetDateTime, OffsetDateTime),
    now: OffsetDateTime,
) -> Stored<()> {
    let id = OfferId::from_random(app.random.id()).to_string();
    offer_next(app, tx, &Opening { id, from, until }, now).await
}

async fn offer_next(app: &App, tx: &mut Tx, opening: &Opening, now: OffsetDateTime) -> Stored<()> {
    let waiting = wishes::waiting(tx).await?;
    if waiting.is_empty() || opening.until <= now {
        return Ok(());
    }
    let studio = studio::get(tx).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    for wish in waiting {
        let asked = wishes::was_asked(tx, &wish.id, &opening.id).await?;
        if !asked && offer(app, tx, &studio, &wish, opening, now).await? {
            return Ok(());
        }
    }
    Ok(())
}

/// Keeps a time in a stretch for a wish, if one suits.
async fn offer(
    app: &App,
    tx: &mut Tx,
    studio: &Studio,
    wish: &Wish,
    opening: &Opening,
    now: OffsetDateTime,
) -> Stored<bool> {
    let own = Own::load(tx, &wish.client, &wish.visit).await?;
    let Some(own) = own.filter(|own| own.visit.state == VisitState::Booked && own.visit.starts_at > now) else {
        wishes::end(tx, &wish.id, false).await?;
        return Ok(false);
    };
    let expires_at = now + Duration::minutes(studio.claim_minutes);
    let Some(spot) = suiting(tx, studio, wish, &own, opening, expires_at, now).await? else { return Ok(false) };
    let held = Visit {
        id: VisitId::from_random(app.random.id()),
        state: VisitState::Held,
        client: None,
        draft: None,
        paired_test: None,
        practitioner: spot.practitioner,
        room: spot.room,
        starts_at: spot.starts_at,
        ends_at: spot.ends_at,
        busy_until: spot.busy_until,
        civil: spot.civil,
        zone: studio.zone.name().to_owned(),
        hold_until: Some(expires_at + HANDING_ON),
        sequence: 0,
        ..own.visit
    };
    match visits::insert(tx, &held, now).await {
        Ok(()) => {}
        Err(error) if error.is_overlap() => return Ok(false),
        Err(error) => return Err(error),
    }
    let offer = Offer {
        id: OfferId::from_random(app.random.id()),
        wish: wish.id.clone(),
        held: held.id.clone(),
        state: OfferState::Open,
        opening: opening.clone(),
        expires_at,
    };
    wishes::add_offer(tx, &offer, now).await?;
    let known = clients::get(tx, &wish.client).await?;
    let known = known.ok_or_else(|| impossible("wish", "client_id", wish.id.as_str()))?;
    enqueue(app, tx, &known.mail, &Pending::Earlier { offer: offer.id }, now).await?;
    note(tx, &Actor::Program, "wish.offered", &wish.client, &wish.visit, now).await?;
    Ok(true)
}

/// A free time that touches the stretch, is earlier than her visit, and suits her.
async fn suiting(
    c: &mut Connection,
    studio: &Studio,
    wish: &Wish,
    own: &Own,
    opening: &Opening,
    expires_at: OffsetDateTime,
    now: OffsetDateTime,
) -> Stored<Option<Spot>> {
    let Some(service) = catalogue::service(c, &own.visit.service).await? else { return Ok(None) };
    let Ok(known) = readable(own.known(c, studio).await)? else { return Ok(None) };
    let between = own.between(&known, now);
    let day = studio.zone.date_at(opening.from);
    let between =
        Between { earliest: Some(between.earliest.map_or(day, |first| first.max(day))), latest: Some(day), ..between };
    let diary = Diary::of_days(c, (studio, &service), now, None, (day, day)).await?;
    Ok(diary.search(own.length(&diary), &between, |search| {
        let times = free_times(search);
        let suiting = times.iter().filter(|time| {
            time.starts_at() < opening.until
                && time.chair_free_at() > opening.from
                && time.starts_at() < own.visit.starts_at
                && time.starts_at() > expires_at
                && wish.suits.fits(time.civil)
                && own.fits_partners(&diary, time)
                && own.fits_tests(&known, time.starts_at(), now)
        });
        // Rather the time that was given up than one just before it.
        let time = suiting.min_by_key(|time| (time.starts_at() < opening.from, time.starts_at()))?;
        let usual = time.practitioners().find(|id| **id == own.visit.practitioner);
        let time = still_free(search, time.starts_at(), usual.unwrap_or(time.practitioner))?;
        Spot::of(&time)
    }))
}

/// How a claim ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Claim {
    /// Her visit is at the new time.
    Moved,
    /// The limit has passed, or the time went another way.
    TooLate,
}

/// She takes the time that is kept for her.
///
/// # Errors
/// When the database can't.
pub async fn claim(app: &App, token: &str) -> Stored<Claim> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let studio = studio::get(&mut tx).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    let Some(offer) = wishes::offer_by_token(&mut tx, &sha256_hex(token)).await? else { return Ok(Claim::TooLate) };
    let open = offer.state == OfferState::Open && now < offer.expires_at;
    let Some(wish) = wishes::get(&mut tx, &offer.wish).await?.filter(|_| open) else { return Ok(Claim::TooLate) };
    let own = Own::load(&mut tx, &wish.client, &wish.visit).await?;
    let held = visits::get(&mut tx, &offer.held).await?.filter(|held| held.state == VisitState::Held);
    let (Some(own), Some(held)) = (own, held) else { return Ok(Claim::TooLate) };
    let Some(service) = catalogue::service(&mut tx, &own.visit.service).await? else { return Ok(Claim::TooLate) };
    let day = studio.zone.date_at(held.starts_at);
    let diary = Diary::of_days(&mut tx, (&studio, &service), now, None, (day, day)).await?;
    let known = own.known(&mut tx, &studio).await?;
    if !own.fits_partners_at(&diary, held.starts_at, held.ends_at) || !own.fits_tests(&known, held.starts_at, now) {
        return Ok(Claim::TooLate);
    }
    let spot = Spot {
        practitioner: held.practitioner.clone(),
        room: held.room.clone(),
        starts_at: held.starts_at,
        ends_at: held.ends_at,
        busy_until: held.busy_until,
        civil: held.civil,
    };
    give_back(&mut tx, held, now).await?;
    wishes::set_offer_state(&mut tx, &offer.id, OfferState::Claimed).await?;
    wishes::end(&mut tx, &wish.id, true).await?;
    let actor = Actor::Client(wish.client.clone());
    match put_at(app, &mut tx, &studio, &actor, own.visit, spot, now).await? {
        Change::Done => {
            tx.commit().await?;
            Ok(Claim::Moved)
        }
        Change::TooLate | Change::Taken => Ok(Claim::TooLate),
    }
}

/// She doesn't want the time that is kept for her; the wish stays. `false` when it was no longer kept.
///
/// # Errors
/// When the database can't.
pub async fn decline(app: &App, token: &str) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let offer = wishes::offer_by_token(&mut tx, &sha256_hex(token)).await?;
    let Some(offer) = offer.filter(|offer| offer.state == OfferState::Open) else { return Ok(false) };
    pass_on(app, &mut tx, &offer, OfferState::Declined, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// Times that nobody claimed within the limit go to the next whom they suit. Says how many there were.
///
/// # Errors
/// When the database can't.
pub async fn lapse(app: &App) -> Stored<usize> {
    let now = app.clock.now();
    if wishes::past_limit(&mut *app.db.read().await?, now).await?.is_empty() {
        return Ok(0);
    }
    let mut tx = app.db.write().await?;
    let lapsed = wishes::past_limit(&mut tx, now).await?;
    for offer in &lapsed {
        pass_on(app, &mut tx, offer, OfferState::Lapsed, now).await?;
    }
    tx.commit().await?;
    Ok(lapsed.len())
}

async fn pass_on(app: &App, tx: &mut Tx, offer: &Offer, state: OfferState, now: OffsetDateTime) -> Stored<()> {
    wishes::set_offer_state(tx, &offer.id, state).await?;
    if let Some(held) = visits::get(tx, &offer.held).await? {
        give_back(tx, held, now).await?;
    }
    offer_next(app, tx, &offer.opening, now).await
}

async fn give_back(tx: &mut Tx, mut held: Visit, now: OffsetDateTime) -> Stored<()> {
    let Ok(released) = held.state.release() else { return Ok(()) };
    held.state = released;
    held.hold_until = None;
    visits::update(tx, &held, now).await
}

/// What the letter about an offer says: to whom, the time that is kept, until when, and a link that claims it.
pub struct Told {
    /// To whom.
    pub client: ClientId,
    /// The time that is kept.
    pub held: Visit,
    /// Until when.
    pub until: OffsetDateTime,
    /// The whole link.
    pub link: String,
}

/// Makes the link of an offer; nothing when it is no longer open. The token is stored hashed only.
///
/// # Errors
/// When the database can't.
pub async fn mint_link(app: &App, id: &OfferId) -> Stored<Option<Told>> {
    let token = app.random.token();
    let mut tx = app.db.write().await?;
    let Some(offer) = wishes::offer(&mut tx, id).await?.filter(|offer| offer.state == OfferState::Open) else {
        return Ok(None);
    };
    let (Some(wish), Some(held)) = (wishes::get(&mut tx, &offer.wish).await?, visits::get(&mut tx, &offer.held).await?)
    else {
        return Ok(None);
    };
    wishes::set_token(&mut tx, id, &sha256_hex(&token)).await?;
    tx.commit().await?;
    let link = format!("{}/earlier/{token}", app.address.base_url);
    Ok(Some(Told { client: wish.client, held, until: offer.expires_at, link }))
}

async fn note(
    c: &mut Connection,
    actor: &Actor,
    action: &'static str,
    client: &ClientId,
    visit: &VisitId,
    now: OffsetDateTime,
) -> Stored<()> {
    audit::append(c, actor, Event { action, client: Some(client), object: visit.as_str(), detail: "" }, now).await
}
