//! `GET /desk/visits/{id}/arrange`: other times for a visit, its deposit, and what is done when the client calls it off.
//! `POST …/move`, `…/deposit`, `…/called-off`, `…/put-back` do it. Template: `practitioner/arrange.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::calendar::visible;
use super::view::Names;
use super::{visit_id, words};
use crate::actions::booking::Choice;
use crate::actions::desk;
use crate::actions::diary::Diary;
use crate::actions::hours::may_arrange;
use crate::actions::own_visits::{Change, Own};
use crate::actions::treating::{self, Refused};
use crate::app::App;
use crate::domain::ids::{PractitionerId, VisitId};
use crate::domain::mark::Mark;
use crate::domain::money::Money;
use crate::domain::schedule::free_times;
use crate::domain::visit::{VisitState, may_client_change};
use crate::store::deposits::{self, Deposit, Fate, How};
use crate::store::practitioners::{self, Practitioner};
use crate::store::visits::Visit;
use crate::store::{catalogue, clients, visits};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::public::book::slots::Slots;
use crate::web::words::{CHOOSE, amount, money};
use crate::when;
use crate::{t, tf};

#[derive(Template)]
#[template(path = "practitioner/arrange.html")]
struct ArrangePage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    id: String,
    client: String,
    when: String,
    what: String,
    /// What is called off with it.
    along: Vec<String>,
    /// Its skin test stays, since another visit needs it.
    test_stays: bool,
    tag: &'static str,
    state: VisitState,
    /// What it shows of when the visit is.
    mark: Mark,
    /// Whether the visit's own page opens: not when she only had one that was called off.
    opens: bool,
    may_move: bool,
    /// She would be late if she called now.
    late: bool,
    policy: String,
    limit_hours: i64,
    gave_up_late: i64,
    missed: i64,
    deposit: Option<(Deposit, String)>,
    currency: String,
    slots: Slots,
    team: Vec<Practitioner>,
    who: String,
    day: String,
    taken: bool,
}

/// Which times to show.
#[derive(Deserialize, Default)]
pub struct Asked {
    day: Option<String>,
    who: Option<String>,
}

/// How a deposit was handed over, in words.
pub(in crate::web) fn how_words(how: How) -> &'static str {
    match how {
        How::Cash => t("In cash"),
        How::Card => t("By card"),
        How::Transfer => t("By bank transfer"),
        How::Other => t("Another way"),
    }
}

/// What becomes of a deposit, in words.
fn fate_words(fate: Fate) -> &'static str {
    match fate {
        Fate::Held => t("Nothing yet"),
        Fate::Kept => t("Kept by the studio"),
        Fate::Returned => t("Returned to the client"),
        Fate::Counted => t("Counted towards the price"),
    }
}

/// What stands in the form of the deposit.
fn stored(deposit: Option<&Deposit>) -> Fields {
    let Some(deposit) = deposit else { return Fields::of(vec![("fate".to_owned(), "held".to_owned())]) };
    let pairs = [
        ("amount", amount(deposit.amount_minor, &deposit.currency)),
        ("how", deposit.how.as_str().to_owned()),
        ("fate", deposit.fate.as_str().to_owned()),
    ];
    Fields::of(pairs.map(|(name, value)| (name.to_owned(), value)).to_vec())
}

struct Shown {
    typed: Option<Fields>,
    errors: Errors,
    taken: bool,
}

const PLAIN: fn() -> Shown = || Shown { typed: None, errors: Errors::new(), taken: false };

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    id: &VisitId,
    asked: &Asked,
    shown: Shown,
) -> Result<ArrangePage, Fault> {
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let mut c = app.db.read().await?;
    let (visit, client) = treating::visit_for(&mut c, &team.0, id).await?.ok_or(Fault::NotFound)?;
    let names = Names::load(&mut c, &studio).await?;
    let known = clients::get(&mut c, &client).await?.ok_or(Fault::NotFound)?;
    let own = Own::load(&mut c, &client, id).await?.ok_or(Fault::NotFound)?;
    let may_move = visit.state == VisitState::Booked && may_arrange(&team.0, &visit.practitioner);
    let who = asked.who.as_deref().and_then(|id| PractitionerId::parse(id).ok());
    let who = who.filter(|id| may_arrange(&team.0, id)).unwrap_or_else(|| visit.practitioner.clone());
    let today = studio.zone.date_at(now);
    let day = asked.day.as_deref().and_then(day::read).unwrap_or_else(|| visit.civil.date().max(today));
    let mut slots = Slots::default();
    if may_move {
        let own = Own::load(&mut c, &client, id).await?.ok_or(Fault::NotFound)?;
        let service = catalogue::service(&mut c, &visit.service).await?.ok_or(Fault::NotFound)?;
        let between = own.between(&own.known(&mut c, &studio).await?, now);
        let diary = Diary::load(&mut c, &studio, &service, now, Some(id)).await?.at_the_desk().with_only(&who);
        slots = diary.search(own.length(&diary), &between, |search| {
            let mut times = free_times(search);
            let same = |at| at == visit.starts_at && who == visit.practitioner;
            times.retain(|time| own.fits_partners(&diary, time) && !same(time.starts_at()));
            Slots::of(&times, Some(day))
        });
    }
    let deposit = deposits::of_visit(&mut c, id).await?;
    let fields = shown.typed.unwrap_or_else(|| stored(deposit.as_ref()));
    let (gave_up_late, missed) = visits::missed(&mut c, &client).await?;
    let opens = treating::may_see(&mut c, &team.0, &client).await?;
    let team = visible(&team.0, practitioners::all(&mut c).await?);
    let noted = |deposit: &Deposit| {
        let when = names.moment(deposit.noted_at);
        tf("Noted {when} by {who}").with("when", when).with("who", &deposit.noted_by).to_string()
    };
    Ok(ArrangePage {
        fields,
        errors: shown.errors,
        id: id.to_string(),
        client: known.name.as_str().to_owned(),
        when: when::moment(visit.civil),
        what: names.visit(&visit),
        along: own
            .go_along()
            .iter()
            .map(|one| format!("{}, {}", names.visit(one), names.moment(one.starts_at)))
            .collect(),
        test_stays: own.test_is_shared,
        tag: words::state(visit.state),
        state: visit.state,
        mark: treating::mark(&visit),
        opens,
        may_move,
        late: is_late(&visit, now, studio.cancel_limit_hours),
        policy: studio.late_policy.clone(),
        limit_hours: studio.cancel_limit_hours,
        gave_up_late,
        missed,
        deposit: deposit.map(|deposit| {
            let noted = noted(&deposit);
            (deposit, noted)
        }),
        currency: studio.currency.as_str().to_owned(),
        slots,
        team,
        who: who.to_string(),
        day: day.to_string(),
        taken: shown.taken,
        ctx,
    })
}

fn is_late(visit: &Visit, now: time::OffsetDateTime, limit_hours: i64) -> bool {
    !may_client_change(now, visit.starts_at, u16::try_from(limit_hours).unwrap_or(u16::MAX))
}

/// Shows it.
pub async fn get(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    Query(asked): Query<Asked>,
) -> Answer {
    let id = visit_id(&path)?;
    Ok(Page::ok(page(&app, ctx, &team, &id, &asked, PLAIN()).await?).into_response())
}

/// Moves the visit.
pub async fn relocate(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    fields: Fields,
) -> Answer {
    let id = visit_id(&path)?;
    let to = Choice::parse(fields.get("time")).ok_or(Fault::BadRequest)?;
    let shown = match desk::relocate(&app, ctx.studio()?, &team.0, &id, (&to, &Mark::sent(fields.get("shown")))).await {
        Ok(Change::Done) => return Ok(see_other(&format!("/desk/visits/{id}"))),
        Ok(Change::Taken | Change::TooLate) => Shown { taken: true, ..PLAIN() },
        Err(refusal) => stands(refusal)?,
    };
    otherwise(&app, ctx, &team, &id, shown).await
}

/// What the page says when the visit stands otherwise than it was shown.
fn stands(refusal: Refused) -> Result<Shown, Fault> {
    let Some((field, said)) = words::stands(&refusal) else { return Err(refusal.into()) };
    let mut shown = PLAIN();
    shown.errors.add(field, said);
    Ok(shown)
}

/// The page again, since it stands otherwise than it was shown.
async fn otherwise(app: &App, ctx: Ctx, team: &Team, id: &VisitId, shown: Shown) -> Answer {
    Ok(Page::conflict(page(app, ctx, team, id, &Asked::default(), shown).await?).into_response())
}

/// Notes the deposit.
pub async fn deposit(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = visit_id(&path)?;
    let mut errors = Errors::new();
    let amount = Money::parse(fields.get("amount"), ctx.studio()?.currency.clone());
    let amount = errors.take("amount", amount, money);
    if amount.as_ref().is_some_and(|amount| amount.minor() == 0) {
        errors.add("amount", t("Write more than nothing."));
    }
    let (how, fate) = (How::parse(fields.get("how")), Fate::parse(fields.get("fate")));
    if how.is_none() {
        errors.add("how", t(CHOOSE));
    }
    if fate.is_none() {
        errors.add("fate", t(CHOOSE));
    }
    if let (true, Some(amount), Some(how), Some(fate)) = (errors.is_empty(), amount, how, fate) {
        match desk::note_deposit(&app, &team.0, &id, (&amount, how, fate)).await {
            Ok(()) => return Ok(see_other(&format!("/desk/visits/{id}/arrange"))),
            Err(Refused::Counted) => {
                errors.add("fate", t("What is counted towards the price is changed on the page of the price."));
                let shown = Shown { typed: Some(fields), errors, taken: false };
                return otherwise(&app, ctx, &team, &id, shown).await;
            }
            Err(refusal) => return Err(refusal.into()),
        }
    }
    let shown = Shown { typed: Some(fields), errors, taken: false };
    Ok(Page::refused(page(&app, ctx, &team, &id, &Asked::default(), shown).await?).into_response())
}

/// She came after all, or is not here after all.
pub async fn put_back(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, _: Fields) -> Answer {
    let id = visit_id(&path)?;
    let shown = match treating::put_back(&app, &team.0, &id).await {
        Ok(()) => return Ok(see_other(&format!("/desk/visits/{id}"))),
        Err(Refused::Taken) => Shown { taken: true, ..PLAIN() },
        Err(refusal) => stands(refusal)?,
    };
    otherwise(&app, ctx, &team, &id, shown).await
}

/// The client called it off.
pub async fn called_off(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    fields: Fields,
) -> Answer {
    let id = visit_id(&path)?;
    match desk::cancel_for_client(&app, &team.0, &id, &Mark::sent(fields.get("shown"))).await {
        Ok(()) => Ok(see_other(&format!("/desk/visits/{id}/arrange"))),
        Err(refusal) => otherwise(&app, ctx, &team, &id, stands(refusal)?).await,
    }
}
