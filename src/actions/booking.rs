//! A time is held for a client who books, kept while she fills the forms, or given back.

use time::{Duration, OffsetDateTime};

use super::diary::{Between, Diary};
use super::holds::Span;
use crate::app::App;
use crate::domain::ids::{ClientId, DraftId, PractitionerId, VisitId};
use crate::domain::schedule::{FreeTime, still_free};
use crate::domain::visit::VisitState;
use crate::store::catalogue::Service;
use crate::store::drafts::Draft;
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, Tx, drafts, visits};

/// A time that somebody chose: when, and with whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// When it begins.
    pub starts_at: OffsetDateTime,
    /// With whom.
    pub practitioner: PractitionerId,
}

impl Choice {
    /// Of a time on offer.
    pub fn of(time: &FreeTime<'_>) -> Self {
        Self { starts_at: time.starts_at(), practitioner: time.practitioner.clone() }
    }

    /// As a form carries it.
    pub fn text(&self) -> String {
        format!("{}.{}", self.starts_at.unix_timestamp(), self.practitioner)
    }

    /// Reads [`Self::text`] back.
    pub fn parse(text: &str) -> Option<Self> {
        let (when, whom) = text.split_once('.')?;
        let starts_at = OffsetDateTime::from_unix_timestamp(when.parse().ok()?).ok()?;
        Some(Self { starts_at, practitioner: PractitionerId::parse(whom).ok()? })
    }
}

/// The times of a booking: the treatment, with the skin test before it where one is needed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// The skin test.
    pub test: Option<Choice>,
    /// The treatment.
    pub treatment: Choice,
}

/// On what terms a time is held: the studio's settings, the service, and the days that suit the client.
pub struct Terms<'a> {
    /// The studio.
    pub studio: &'a Studio,
    /// The service.
    pub service: &'a Service,
    /// On which days the treatment may lie.
    pub between: Between,
    /// Who asks, or from where, as limits have it.
    pub from: &'a str,
}

/// Why no time was held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotHeld {
    /// Somebody else has one of them.
    Taken,
    /// As much is held from there as may be, until then.
    Enough(OffsetDateTime),
    /// It was held from there for as long as one may be, and can't be again until then.
    Spent(OffsetDateTime),
}

/// How many bookings one browser may hold times for at once; an older one gives its times back.
const MOST_HELD: usize = 2;

/// Who begins a booking.
pub struct Beginner<'a> {
    /// The hash of her browser's token.
    pub owner_hash: &'a str,
    /// Herself, when she is signed in.
    pub client: Option<&'a ClientId>,
}

/// Begins a booking and holds its times, all of them or none.
///
/// # Errors
/// When the database can't.
pub async fn begin(
    app: &App,
    terms: &Terms<'_>,
    who: Beginner<'_>,
    wanted: &Wanted,
) -> Stored<Result<DraftId, NotHeld>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    visits::expire_holds(&mut tx, now).await?;
    release_older(&mut tx, who.owner_hash, now).await?;
    let draft = Draft {
        id: DraftId::from_random(app.random.id()),
        service: terms.service.id.clone(),
        client: who.client.cloned(),
        booked: false,
        details: None,
        answers: "{}".to_owned(),
        sections: "[]".to_owned(),
        consent: None,
    };
    drafts::insert(&mut tx, &draft, who.owner_hash, now).await?;
    if let Err(why) = hold(app, &mut tx, terms, &draft.id, wanted, false).await? {
        return Ok(Err(why));
    }
    tx.commit().await?;
    Ok(Ok(draft.id))
}

async fn release_older(tx: &mut Tx, owner_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let held = drafts::holding(tx, owner_hash).await?;
    for draft in held.iter().skip(MOST_HELD - 1) {
        release(tx, draft, now).await?;
    }
    Ok(())
}

pub(super) async fn release(tx: &mut Tx, draft: &DraftId, now: OffsetDateTime) -> Stored<()> {
    for mut visit in visits::of_draft(tx, draft).await? {
        if let Ok(released) = visit.state.release() {
            visit.state = released;
            visit.hold_until = None;
            visits::update(tx, &visit, now).await?;
        }
    }
    Ok(())
}

/// Puts visits on hold for a booking, if their times are free and fit each other.
async fn hold(
    app: &App,
    tx: &mut Tx,
    terms: &Terms<'_>,
    draft: &DraftId,
    wanted: &Wanted,
    chosen_before: bool,
) -> Stored<Result<OffsetDateTime, NotHeld>> {
    let Terms { studio, service, between, .. } = terms;
    let now = app.clock.now();
    let day = |choice: &Choice| studio.zone.date_at(choice.starts_at);
    let days = (wanted.test.as_ref().map_or(day(&wanted.treatment), day), day(&wanted.treatment));
    let mut diary = Diary::of_days(tx, (studio, service), now, None, days).await?;
    if chosen_before {
        diary = diary.at_once();
    }
    let Some((test, treatment)) = fits(&diary, wanted, between) else { return Ok(Err(NotHeld::Taken)) };
    if let Some(until) = no_place(app, tx, terms.from, draft, now).await? {
        return Ok(Err(NotHeld::Enough(until)));
    }
    let visit = |purpose, spot: Spot, paired_test| Visit {
        id: VisitId::from_random(app.random.id()),
        purpose,
        state: VisitState::Held,
        service: service.id.clone(),
        practitioner: spot.practitioner,
        room: spot.room,
        client: None,
        draft: Some(draft.clone()),
        paired_test,
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
    let test = test.map(|spot| visit(Purpose::SkinTest, spot, None));
    let treatment = visit(Purpose::Treatment, treatment, test.as_ref().map(|test| test.id.clone()));
    let mut held: Vec<Visit> = test.into_iter().chain([treatment]).collect();
    let until = match note(app, terms, draft, &held) {
        Ok(until) => until,
        Err(until) => return Ok(Err(NotHeld::Spent(until))),
    };
    for visit in &mut held {
        visit.hold_until = Some(until);
        match visits::insert(tx, visit, now).await {
            Ok(()) => {}
            // The schema has the last word on overlaps.
            Err(error) if error.is_overlap() => return Ok(Err(NotHeld::Taken)),
            Err(error) => return Err(error),
        }
    }
    Ok(Ok(until))
}

/// When another booking may hold times from here, if as many do as may. What was booked or given back meanwhile counts no
/// more.
async fn no_place(
    app: &App,
    tx: &mut Tx,
    from: &str,
    draft: &DraftId,
    now: OffsetDateTime,
) -> Stored<Option<OffsetDateTime>> {
    let mut wait = None;
    for (others, most) in app.limits.holds.others(from, draft) {
        let mut ends = Vec::new();
        for other in others {
            let visits = visits::of_draft(tx, &other).await?;
            ends.extend(visits.iter().filter_map(|visit| visit.hold_until).filter(|end| *end > now).max());
        }
        if ends.len() >= most {
            wait = wait.max(ends.into_iter().min());
        }
    }
    Ok(wait)
}

/// Until when these times may be held from now on, which is not beyond the first of them; or when they may be again.
fn note(app: &App, terms: &Terms<'_>, draft: &DraftId, held: &[Visit]) -> Result<OffsetDateTime, OffsetDateTime> {
    let spans: Vec<Span> = held.iter().map(Span::of).collect();
    let minutes = Duration::minutes(terms.studio.hold_minutes);
    let until = app.limits.holds.note(terms.from, draft, &spans, minutes, app.clock.now())?;
    Ok(held.iter().map(|visit| visit.starts_at).fold(until, OffsetDateTime::min))
}

/// Where and when a visit lies.
pub(super) struct Spot {
    pub(super) practitioner: PractitionerId,
    pub(super) room: crate::domain::ids::RoomId,
    pub(super) starts_at: OffsetDateTime,
    pub(super) ends_at: OffsetDateTime,
    pub(super) busy_until: OffsetDateTime,
    pub(super) civil: time::PrimitiveDateTime,
}

impl Spot {
    pub(super) fn of(time: &FreeTime<'_>) -> Option<Self> {
        Some(Self {
            practitioner: time.practitioner.clone(),
            room: time.room?.clone(),
            starts_at: time.starts_at(),
            ends_at: time.ends_at(),
            busy_until: time.chair_free_at(),
            civil: time.civil,
        })
    }
}

fn fits(diary: &Diary, wanted: &Wanted, between: &Between) -> Option<(Option<Spot>, Spot)> {
    diary.search(diary.service, between, |search| {
        let treatment = still_free(search, wanted.treatment.starts_at, &wanted.treatment.practitioner)?;
        let Some(test) = &wanted.test else { return Some((None, Spot::of(&treatment)?)) };
        diary.search(diary.test, &Between::default(), |search| {
            let test = still_free(search, test.starts_at, &test.practitioner)?;
            if diary.pair.fits(&test, &treatment) {
                Some((Some(Spot::of(&test)?), Spot::of(&treatment)?))
            } else {
                None
            }
        })
    })
}

/// How the held times of a booking stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Held {
    /// Until then.
    Until(OffsetDateTime),
    /// No longer: somebody else has one of them, it has passed, or they were held for as long as they may be.
    Gone,
}

/// Keeps the times of a booking for another while: those that are held are renewed as far as they may be, those whose
/// hold ran out are taken again if they are still free.
///
/// # Errors
/// When the database can't.
pub async fn keep(app: &App, terms: &Terms<'_>, draft: &DraftId) -> Stored<Held> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let held = visits::of_draft(&mut tx, draft).await?;
    let Some(wanted) = last_wanted(&mut tx, draft).await? else { return Ok(Held::Gone) };
    let end = held.iter().map(|visit| visit.hold_until).min().flatten();
    // Meanwhile she may have booked another visit near it.
    let near = |visit: &Visit| terms.between.but.iter().any(|days| days.contains(visit.civil.date()));
    let near = held.iter().any(|visit| visit.purpose == Purpose::Treatment && near(visit));
    if let Some(end) = end.filter(|end| *end > now && !near) {
        // From another address no more is renewed than can be held there.
        let until = match no_place(app, &mut tx, terms.from, draft, now).await? {
            Some(_) => end,
            None => note(app, terms, draft, &held).map_or(end, |until| until.max(end)),
        };
        for mut visit in held {
            visit.hold_until = Some(until);
            visits::update(&mut tx, &visit, now).await?;
        }
        tx.commit().await?;
        return Ok(Held::Until(until));
    }
    visits::expire_holds(&mut tx, now).await?;
    release(&mut tx, draft, now).await?;
    let Ok(until) = hold(app, &mut tx, terms, draft, &wanted, true).await? else { return Ok(Held::Gone) };
    tx.commit().await?;
    Ok(Held::Until(until))
}

/// The times that a booking was last held for.
///
/// # Errors
/// When the database can't.
pub async fn last_wanted(c: &mut Connection, draft: &DraftId) -> Stored<Option<Wanted>> {
    let all = visits::ever_of_draft(c, draft).await?;
    let choice = |visit: &Visit| Choice { starts_at: visit.starts_at, practitioner: visit.practitioner.clone() };
    let Some(treatment) = all.iter().find(|visit| visit.purpose == Purpose::Treatment) else { return Ok(None) };
    let test = all.iter().find(|visit| Some(&visit.id) == treatment.paired_test.as_ref());
    Ok(Some(Wanted { test: test.map(choice), treatment: choice(treatment) }))
}

/// Holds other times for a booking, and gives the ones before back.
///
/// # Errors
/// When the database can't.
pub async fn choose_again(
    app: &App,
    terms: &Terms<'_>,
    draft: &DraftId,
    wanted: &Wanted,
) -> Stored<Result<(), NotHeld>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    visits::expire_holds(&mut tx, now).await?;
    release(&mut tx, draft, now).await?;
    let held = hold(app, &mut tx, terms, draft, wanted, false).await?;
    if held.is_ok() {
        tx.commit().await?;
    }
    Ok(held.map(|_| ()))
}
