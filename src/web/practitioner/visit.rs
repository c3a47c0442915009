//! `GET /desk/visits/{id}`: the check before starting. `POST …/arrive`, `…/no-show` and `…/cancel` change
//! where the visit stands. Template: `practitioner/visit.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::OffsetDateTime;

use super::photos::{self, PhotoView};
use super::record_view::RecordView;
use super::view::{AnswersView, ConsentView, Names, Said, TestView};
use super::{booking, today, visit_id, words};
use crate::actions::case::{Known, judged};
use crate::actions::chair;
use crate::actions::guardian as noted;
use crate::actions::treating::{self, Refused};
use crate::actions::{health as looks, health::TestRefused};
use crate::app::App;
use crate::domain::file;
use crate::domain::ids::{ClientId, VisitId};
use crate::domain::label::Label;
use crate::domain::mark::Mark;
use crate::domain::readiness::Readiness;
use crate::domain::role::{Member, Role};
use crate::domain::skin_test::NOT_DIAGNOSTIC;
use crate::domain::verdict::{About, Clears, Start};
use crate::domain::visit::VisitState;
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, clients, files, guardians, health, practitioners, treatments, verdicts};
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::when;
use crate::{t, tf, tn};

#[derive(Template)]
#[template(path = "practitioner/visit.html")]
struct VisitPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    view: View,
}

struct View {
    id: String,
    client: String,
    client_id: String,
    time: String,
    what: String,
    room: String,
    practitioner: String,
    state: VisitState,
    mark: Mark,
    tag: &'static str,
    skin_test: bool,
    is_today: bool,
    has_begun: bool,
    said: Option<Said>,
    begun: Option<Begun>,
    /// What it was booked with, what it says now, and since when.
    changed: Option<(String, String)>,
    permission: Option<(&'static str, String)>,
    /// Whether a parent or guardian has to be noted as present.
    guardian_wanted: bool,
    /// Who was noted as present.
    guardian: Option<String>,
    answers: Option<AnswersView>,
    answers_old: String,
    consent: (&'static str, &'static str),
    consents: Vec<ConsentView>,
    tests: Vec<TestView>,
    record: Option<RecordView>,
    before: Vec<PhotoView>,
    after: Vec<PhotoView>,
    /// What empties the device of a visit that is over.
    script: Option<String>,
    /// Times came in after the record was written.
    sent_later: bool,
    not_diagnostic: &'static str,
    /// Her next window in words, again in so many weeks, and where that is booked.
    again: Option<(String, String, String)>,
}

/// What was decided when the treatment began.
struct Begun {
    words: String,
    reason: String,
    said: Option<Said>,
}

impl View {
    async fn load(
        c: &mut Connection,
        studio: &Studio,
        member: &Member,
        id: &VisitId,
        now: OffsetDateTime,
    ) -> Stored<Option<(Self, ClientId)>> {
        let Some((visit, client)) = treating::case_for(c, member, id).await? else { return Ok(None) };
        let names = Names::load(c, studio).await?;
        let known = Known::of_visit(c, studio, &visit).await?;
        let open = matches!(visit.state, VisitState::Booked | VisitState::Arrived);
        let treatment = visit.purpose == Purpose::Treatment;
        let sensitive = member.role == Role::Owner || member.practitioner.as_ref() == Some(&visit.practitioner);
        let readiness = known.readiness(today::judged_at(&visit, now), now);
        let said = || Said::of(&readiness, &names, &known.in_force.questionnaire, known.answers());
        let answers = match health::answers(c, &client).await?.first() {
            Some(given) => Some(AnswersView::of(c, given, &names, sensitive).await?),
            None => None,
        };
        let rooms = practitioners::rooms(c).await?;
        let consents = health::consents(c, &client).await?;
        let tests = judged(c, studio, &client, now).await?;
        let record = treatments::of_visit(c, id).await?;
        let guardian = guardians::of_visit(c, id).await?;
        let pictures = files::about(c, id.as_str()).await?;
        let sent_later = match record.as_ref().and_then(|record| record.current()) {
            Some(version) => chair::came_after(c, id, version.written_at).await?,
            None => false,
        };
        let view = Self {
            id: id.to_string(),
            client: clients::get(c, &client).await?.map_or_else(String::new, |client| client.name.as_str().to_owned()),
            client_id: client.to_string(),
            time: words::from_to(when::moment(visit.civil), names.clock(visit.ends_at)),
            what: names.service(&visit.service).to_owned(),
            room: rooms.into_iter().find(|room| room.id == visit.room).map_or_else(String::new, |room| room.name),
            practitioner: names.practitioner(&visit.practitioner).to_owned(),
            state: visit.state,
            mark: treating::mark(&visit),
            tag: words::state(visit.state),
            skin_test: !treatment,
            is_today: studio.zone.date_at(now) == visit.civil.date(),
            has_begun: visit.starts_at <= now,
            said: (open && treatment).then(said),
            changed: if open { changed(c, id, &names).await? } else { None },
            begun: begun(c, &visit, &names, &known).await?,
            permission: (open && !treatment)
                .then(|| today::permission(&known, studio.zone.date_at(now).max(visit.civil.date()), now)),
            guardian_wanted: visit.state == VisitState::Arrived
                && guardian.is_none()
                && known.wants_guardian_here(visit.civil.date()),
            guardian: guardian.map(|here| {
                tf("{name} was here, noted {when} by {who}")
                    .with("name", here.name)
                    .with("when", names.moment(here.noted_at))
                    .with("who", here.noted_by)
                    .to_string()
            }),
            answers,
            answers_old: readiness
                .answers_given_on
                .map_or_else(String::new, |given| days_old((visit.civil.date() - given).whole_days())),
            consent: words::consent(known.consent_standing()),
            consents: consents.iter().map(|consent| ConsentView::of(consent, &names)).collect(),
            tests: tests.iter().map(|test| TestView::of(&test.stored, &names, now)).collect(),
            record: record.as_ref().map(|record| RecordView::of(record, &names)),
            before: photos::views(&pictures, file::Purpose::Before, &names),
            after: photos::views(&pictures, file::Purpose::After, &names),
            script: (visit.state == VisitState::Done).then(|| assets::href("chair.js")),
            sent_later,
            not_diagnostic: NOT_DIAGNOSTIC,
            again: again(&known, studio, &visit, &client, now),
        };
        Ok(Some((view, client)))
    }
}

/// From the chair: her next visit for the service, where her window is best.
fn again(
    known: &Known,
    studio: &Studio,
    visit: &Visit,
    client: &ClientId,
    now: OffsetDateTime,
) -> Option<(String, String, String)> {
    let today = studio.zone.date_at(now);
    let window = known.window(now + time::Duration::SECOND, &known.waits(now))?;
    let day = window.due().max(window.opens()).max(today);
    let weeks = (day - today).whole_weeks();
    let label = match weeks {
        ..=0 => t("Book again now").to_owned(),
        _ => tn("Again in a week", "Again in {n} weeks", weeks).to_string(),
    };
    let [opens, due, lapsed] = [window.opens(), window.due(), window.lapsed()].map(when::day);
    let words = tf("She may return from {opens}, it is time on {due}, and after {lapsed} she counts as new");
    let words = words.with("opens", opens).with("due", due).with("lapsed", lapsed).to_string();
    Some((words, label, booking::again(client, &visit.service, &visit.practitioner, day)))
}

fn days_old(days: i64) -> String {
    match days {
        ..0 => t("after the day of the visit").to_owned(),
        0 => t("on this day").to_owned(),
        _ => tn("{n} day old on the day of the visit", "{n} days old on the day of the visit", days).to_string(),
    }
}

/// How a visit stands beside how it was booked, and since when.
async fn changed(c: &mut Connection, id: &VisitId, names: &Names) -> Stored<Option<(String, String)>> {
    let Some(judged) = verdicts::of_visit(c, id).await? else { return Ok(None) };
    let (before, now) = (words::verdict(&judged.booked).1, words::verdict(&judged.latest).1);
    let words = tf("{before}, and now: {now}").with("before", before).with("now", now).to_string();
    Ok(judged.changed_at.map(|at| (words, names.moment(at))))
}

async fn begun(c: &mut Connection, visit: &Visit, names: &Names, known: &Known) -> Stored<Option<Begun>> {
    let Some(start) = treatments::start(c, &visit.id).await? else { return Ok(None) };
    let judged: Option<Readiness> = serde_json::from_str(&start.readiness).ok();
    Ok(Some(Begun {
        words: tf("Started {when} by {who}")
            .with("when", names.moment(start.started_at))
            .with("who", start.started_by)
            .to_string(),
        reason: start.reason,
        // As it was judged then; the answers may be others by now, so none are shown beside it.
        said: judged.map(|judged| Said::of(&judged, names, &known.in_force.questionnaire, None)),
    }))
}

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    id: &VisitId,
    fields: Fields,
    errors: Errors,
) -> Result<VisitPage, Fault> {
    let mut c = app.db.read().await?;
    let loaded = View::load(&mut c, ctx.studio()?, &team.0, id, app.clock.now()).await?;
    let Some((view, client)) = loaded else {
        // Called off: the appointment is still hers, the record is not.
        let hers = treating::visit_for(&mut c, &team.0, id).await?.is_some();
        return Err(if hers { Fault::SeeOther(format!("/desk/visits/{id}/arrange")) } else { Fault::NotFound });
    };
    drop(c);
    looks::looked(app, &team.0, "visit.seen", Some(&client), id.as_str()).await?;
    Ok(VisitPage { ctx, fields, errors, view })
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let id = visit_id(&id)?;
    Ok(Page::ok(page(&app, ctx, &team, &id, Fields::default(), Errors::new()).await?).into_response())
}

/// She has come.
pub async fn arrive(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = visit_id(&id)?;
    let done = treating::arrive(&app, ctx.studio()?, &team.0, &id).await;
    after(&app, ctx, &team, &id, fields, done).await
}

/// A parent or guardian is there.
pub async fn guardian(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = visit_id(&id)?;
    let mut errors = Errors::new();
    let name = errors.take("guardian", Label::parse(fields.get("guardian"), Label::MOST), crate::web::words::text);
    let Some(name) = name else {
        return Ok(Page::refused(page(&app, ctx, &team, &id, fields, errors).await?).into_response());
    };
    let done = noted::note(&app, &team.0, &id, name.as_str()).await;
    after(&app, ctx, &team, &id, fields, done).await
}

/// She did not come.
pub async fn no_show(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = visit_id(&id)?;
    let done = treating::no_show(&app, &team.0, &id).await;
    after(&app, ctx, &team, &id, fields, done).await
}

/// The studio cancels.
pub async fn cancel(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = visit_id(&id)?;
    let done = treating::cancel(&app, &team.0, &id, &Mark::sent(fields.get("shown"))).await;
    after(&app, ctx, &team, &id, fields, done).await
}

/// Back to the visit, or its page again with what stands against it.
async fn after(app: &App, ctx: Ctx, team: &Team, id: &VisitId, fields: Fields, done: Result<(), Refused>) -> Answer {
    let Err(refusal) = done else { return Ok(see_other(&format!("/desk/visits/{id}"))) };
    let Some((field, said)) = words::stands(&refusal) else { return Err(refusal.into()) };
    let mut errors = Errors::new();
    errors.add(field, said);
    let page = page(app, ctx, team, id, fields, errors).await?;
    Ok(Page::conflict(page).into_response())
}

impl From<Refused> for Fault {
    fn from(refusal: Refused) -> Self {
        match refusal {
            Refused::Store(error) => error.into(),
            Refused::NotFound => Self::NotFound,
            _ => Self::Conflict,
        }
    }
}

impl From<TestRefused> for Fault {
    fn from(refusal: TestRefused) -> Self {
        match refusal {
            TestRefused::Store(error) => error.into(),
            TestRefused::NotFound => Self::NotFound,
            _ => Self::Conflict,
        }
    }
}
