//! `GET` and `POST /desk/clients/{id}/reaction`: a reaction is reported. `GET /desk/reactions/{id}`: a report with what to
//! do; `POST …/add` and `…/photo` add to it; `GET …/report.pdf` is for doctor, supplier or insurer.
//! Templates: `practitioner/report.html`, `practitioner/reaction.html`.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;

use super::photos::{PhotoView, not_kept, taken_photo, views};
use super::reaction_view::{EntryView, refused_words};
use super::view::Names;
use super::{reaction_view, read};
use crate::actions::files::Belongs;
use crate::actions::photos;
use crate::actions::reactions::{self as actions, Added, Refused, Report};
use crate::actions::{health::looked, treating};
use crate::app::App;
use crate::domain::file::Purpose;
use crate::domain::ids::{ClientId, ReactionId, VisitId};
use crate::domain::reaction::{Lasted, Level, Sign};
use crate::domain::visit::VisitState;
use crate::store::reactions::Reaction;
use crate::store::{clients, files, visits};
use crate::t;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields, FormWithFile};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, attachment, see_other};
use crate::when;

/// The most characters of each text.
const MOST: usize = 1000;
/// The longest that an eye is rinsed, in minutes.
const RINSED_MOST: u16 = 240;

#[derive(Template)]
#[template(path = "practitioner/report.html")]
struct ReportPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    who: String,
    client: String,
    treatments: Vec<(String, String)>,
}

fn chosen_signs(fields: &Fields) -> BTreeSet<Sign> {
    fields.many("many-sign").filter_map(Sign::parse).collect()
}

async fn report_page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    client: &ClientId,
    fields: Fields,
    errors: Errors,
) -> Result<ReportPage, Fault> {
    let mut c = app.db.read().await?;
    if !treating::may_see(&mut c, &team.0, client).await? {
        return Err(Fault::NotFound);
    }
    let person = clients::get(&mut c, client).await?.ok_or(Fault::NotFound)?;
    let names = Names::load(&mut c, ctx.studio()?).await?;
    let mut treatments = Vec::new();
    for visit in visits::of_client(&mut c, client).await? {
        let treated = matches!(visit.state, VisitState::InTreatment | VisitState::Done);
        if treated && visit.purpose == visits::Purpose::Treatment {
            let words = format!("{}, {}", names.service(&visit.service), names.moment(visit.starts_at));
            treatments.push((visit.id.to_string(), words));
        }
    }
    Ok(ReportPage { treatments, who: person.name.as_str().to_owned(), client: client.to_string(), ctx, fields, errors })
}

/// After which visit, where the link says so.
#[derive(serde::Deserialize)]
pub struct After {
    visit: Option<String>,
}

/// Shows the form.
pub async fn get_report(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    Query(After { visit }): Query<After>,
) -> Answer {
    let client = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let now = ctx.studio()?.zone.to_civil(app.clock.now());
    let filled = [
        ("id", ReactionId::from_random(app.random.id()).to_string()),
        ("day", now.date().to_string()),
        ("time", when::clock(now)),
        ("treatment", visit.unwrap_or_default()),
    ];
    let fields = Fields::of(filled.map(|(name, value)| (name.to_owned(), value)).to_vec());
    Ok(Page::ok(report_page(&app, ctx, &team, &client, fields, Errors::new()).await?).into_response())
}

fn read_report(ctx: &Ctx, fields: &Fields) -> Result<Result<Report, Errors>, Fault> {
    let (mut errors, zone) = (Errors::new(), &ctx.studio()?.zone);
    let id = ReactionId::parse(fields.get("id")).map_err(|_| Fault::BadRequest)?;
    let visit = VisitId::parse(fields.trimmed("treatment")).ok();
    let day = day::field(&mut errors, fields, "day");
    let began_at = read::moment(&mut errors, fields, "time", day, zone);
    let signs = chosen_signs(fields);
    if signs.is_empty() {
        errors.add("signs", t("Tick what is seen or felt."));
    }
    let rinsed = read::number(&mut errors, fields, "rinsed", 0, RINSED_MOST).unwrap_or_default();
    let [first_aid, care, note] =
        ["first_aid", "care", "note"].map(|field| read::text(&mut errors, fields, field, MOST, false));
    Ok(match (began_at, first_aid, care, note) {
        (Some(began_at), Some(first_aid), Some(care), Some(note)) if errors.is_empty() => Ok(Report {
            id,
            visit,
            began_at,
            signs,
            lasted: Lasted::parse(fields.trimmed("lasted")),
            level: Level::parse(fields.trimmed("level")),
            rinsed,
            first_aid,
            care,
            note,
        }),
        _ => Err(errors),
    })
}

/// Writes it.
pub async fn post_report(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    let client = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    if !treating::may_see(&mut *app.db.read().await?, &team.0, &client).await? {
        return Err(Fault::NotFound);
    }
    let errors = match read_report(&ctx, &fields)? {
        Ok(report) => match actions::report(&app, &team.0, &client, report).await {
            Ok(id) => return Ok(see_other(&format!("/desk/reactions/{id}"))),
            Err(refused) => refused_words(refused)?,
        },
        Err(errors) => errors,
    };
    Ok(Page::refused(report_page(&app, ctx, &team, &client, fields, errors).await?).into_response())
}

#[derive(Template)]
#[template(path = "practitioner/reaction.html")]
struct ReactionPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    who: String,
    client: String,
    id: String,
    level: Level,
    open: bool,
    began: String,
    reported: String,
    after: String,
    products: Vec<String>,
    /// Its visit, where it hangs on one.
    visit: Option<String>,
    due: Option<String>,
    entries: Vec<EntryView>,
    photos: Vec<PhotoView>,
    may_photo: bool,
    may_settle: bool,
}

async fn found(app: &App, team: &Team, id: &str) -> Result<Reaction, Fault> {
    let id = ReactionId::parse(id).map_err(|_| Fault::NotFound)?;
    let mut c = app.db.read().await?;
    actions::for_member(&mut c, &team.0, &id).await?.ok_or(Fault::NotFound)
}

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    id: &str,
    fields: Fields,
    errors: Errors,
) -> Result<ReactionPage, Fault> {
    let reaction = found(app, team, id).await?;
    let mut c = app.db.read().await?;
    let names = Names::load(&mut c, ctx.studio()?).await?;
    let person = clients::get(&mut c, &reaction.client).await?.ok_or(Fault::NotFound)?;
    let after = reaction_view::after(&mut c, &reaction, &names).await?;
    let kept = files::about(&mut c, id).await?;
    let may_photo = photos::allowed(&mut c, &reaction.client).await?;
    drop(c);
    looked(app, &team.0, "reaction.seen", Some(&reaction.client), id).await?;
    Ok(ReactionPage {
        who: person.name.as_str().to_owned(),
        client: reaction.client.to_string(),
        id: id.to_owned(),
        level: reaction.level,
        open: reaction.state.is_open(),
        began: names.moment(reaction.began_at),
        reported: names.moment(reaction.reported_at),
        after,
        products: reaction_view::products(&reaction, &names),
        visit: reaction.visit.as_ref().map(ToString::to_string),
        due: reaction.due_at.map(|at| names.moment(at)),
        entries: reaction.entries.iter().map(|entry| EntryView::of(entry, &names)).collect(),
        photos: views(&kept, Purpose::Reaction, &names),
        may_photo,
        may_settle: reaction.state.settle(reaction.level).is_ok(),
        ctx,
        fields,
        errors,
    })
}

/// Shows a report.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    Ok(Page::ok(page(&app, ctx, &team, &id, Fields::default(), Errors::new()).await?).into_response())
}

fn read_added(fields: &Fields) -> Result<Added, Errors> {
    let mut errors = Errors::new();
    let mut text = |field, needed| read::text(&mut errors, fields, field, MOST, needed).unwrap_or_default();
    let added = match fields.get("add") {
        "told" => Added::Told(text("whom", true), text("reference", false)),
        "settled" => Added::Settled(text("outcome", true), text("corrective", true)),
        "reopened" => Added::Reopened(text("why", true)),
        _ => Added::FollowUp {
            signs: chosen_signs(fields),
            level: Level::parse(fields.trimmed("level")),
            care: text("care", false),
            note: text("note", true),
        },
    };
    if errors.is_empty() { Ok(added) } else { Err(errors) }
}

/// Adds to a report.
pub async fn add(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let reaction = found(&app, &team, &id).await?;
    let errors = match read_added(&fields) {
        Ok(added) => match actions::add(&app, &team.0, &reaction.id, added).await {
            Ok(()) => return Ok(see_other(&format!("/desk/reactions/{id}"))),
            Err(refused) => refused_words(refused)?,
        },
        Err(errors) => errors,
    };
    Ok(Page::refused(page(&app, ctx, &team, &id, fields, errors).await?).into_response())
}

/// Adds a photo, where her consent allows photos for the record.
pub async fn photo(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    mut form: FormWithFile,
) -> Answer {
    let reaction = found(&app, &team, &id).await?;
    let mut errors = Errors::new();
    let photo = taken_photo(&mut form, &mut errors).await;
    if let Some(photo) = photo {
        let (client, by) = (&reaction.client, team.0.name.as_str());
        let to = Belongs { client, purpose: Purpose::Reaction, about: &id, by };
        match photos::keep(&app, &team.0, &to, &photo).await {
            Ok(()) => return Ok(see_other(&format!("/desk/reactions/{id}"))),
            Err(refused) => not_kept(refused, &mut errors)?,
        }
    }
    Ok(Page::refused(page(&app, ctx, &team, &id, form.fields, errors).await?).into_response())
}

/// The report on paper.
pub async fn paper(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let reaction = found(&app, &team, &id).await?;
    let mut c = app.db.read().await?;
    let paper =
        reaction_view::paper(&mut c, ctx.studio()?, &reaction, app.clock.now()).await?.ok_or(Fault::NotFound)?;
    drop(c);
    looked(&app, &team.0, "reaction.printed", Some(&reaction.client), &id).await?;
    let language = crate::language::Language::spoken();
    let bytes = crate::apart::blocking(move || language.within(|| crate::documents::pdf::reaction_report(&paper)))
        .await
        .map_err(Fault::internal)?
        .map_err(Fault::internal)?;
    Ok(attachment("application/pdf", "reaction-report.pdf", bytes))
}

impl From<Refused> for Fault {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::Store(error) => error.into(),
            Refused::NotFound => Self::NotFound,
            _ => Self::Conflict,
        }
    }
}
