//! `GET` and `POST /desk/clients/{id}/answers?visit=…&all=…`: the health questions asked at the desk, those that are open or
//! all of them. Template: `practitioner/answers.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::view::{AnswersView, Names};
use super::words;
use crate::actions::answers::{self, NotTaken, Questions, Said};
use crate::actions::health::looked;
use crate::actions::treating;
use crate::app::App;
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{AnswersId, ClientId, VisitId};
use crate::domain::mark::Mark;
use crate::domain::questionnaire::{AnswerRefused, Kind, Section, TALK, Told};
use crate::store::{Connection, catalogue, clients};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{self, Ctx, Page, see_other};
use crate::web::public::book::questions::{Asked, pairs, refusal, stored};
use crate::web::words::CHOOSE;
use crate::{msg, t};

/// Fields of the form that are no question: keys of questions hold no such mark.
const TOLD: &str = "told-by";
const STANDS: &str = "others-stand";
/// What stands for an answer that she doesn't give yet.
const LATER: &str = msg("Still to be talked about");

#[derive(Template)]
#[template(path = "practitioner/answers.html")]
struct AnswersPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    who: String,
    back: String,
    /// Where the form goes.
    action: String,
    /// Where all questions are asked, when these are only those that are open.
    all: Option<String>,
    sections: Vec<(String, Vec<Asked>)>,
    /// What she answered to other questions.
    beside: Option<AnswersView>,
    /// Whose words they can be.
    whose: [(&'static str, &'static str); 4],
    mark: Mark,
    /// Her answers, or the questions, are others than those that were before the reader.
    changed: bool,
}

/// From where, and how much.
#[derive(Deserialize, Default, Clone)]
pub struct About {
    visit: Option<String>,
    all: Option<String>,
}

/// Whose answers, for which services, and where one came from.
struct Place {
    client: ClientId,
    who: String,
    services: Vec<ServiceKind>,
    visit: Option<VisitId>,
}

impl Place {
    async fn load(c: &mut Connection, team: &Team, id: &str, about: &About) -> Result<Self, Fault> {
        let client = ClientId::parse(id).map_err(|_| Fault::NotFound)?;
        if !treating::may_see(c, &team.0, &client).await? {
            return Err(Fault::NotFound);
        }
        let who = clients::get(c, &client).await?.ok_or(Fault::NotFound)?.name.as_str().to_owned();
        let mut services = catalogue::services(c).await?;
        let mut visit = None;
        match about.visit.as_deref() {
            Some(text) => {
                let id = VisitId::parse(text).map_err(|_| Fault::NotFound)?;
                let found = treating::case_for(c, &team.0, &id).await?;
                let (found, _) = found.filter(|(_, whose)| *whose == client).ok_or(Fault::NotFound)?;
                services.retain(|service| service.id == found.service);
                visit = Some(id);
            }
            None => services.retain(|service| service.active),
        }
        Ok(Self { client, who, services: services.into_iter().map(|service| service.kind).collect(), visit })
    }

    fn back(&self) -> String {
        match &self.visit {
            Some(visit) => format!("/desk/visits/{visit}"),
            None => format!("/desk/clients/{}", self.client),
        }
    }

    fn action(&self, all: bool) -> String {
        let visit = self.visit.as_ref().map(|visit| format!("visit={visit}"));
        let query: Vec<String> = visit.into_iter().chain(all.then(|| "all=yes".to_owned())).collect();
        format!("/desk/clients/{}/answers?{}", self.client, query.join("&"))
    }
}

/// What is shown: the questions as they stand, or with what was typed.
async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    place: &Place,
    all: bool,
    (fields, errors, changed): (Fields, Errors, bool),
) -> Result<AnswersPage, Fault> {
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let names = Names::load(&mut c, &studio).await?;
    let today = studio.zone.date_at(app.clock.now());
    let questions = Questions::load(&mut c, &place.client, &place.services, today).await?;
    let sections = questions.sections(all);
    let typed = pairs(&fields);
    let value = |key: &str| {
        let mut here = typed.iter().filter(|(name, _)| name == key).map(|(_, value)| value.trim()).peekable();
        match (here.peek(), &questions.given) {
            (None, Some(given)) => stored(&given.set.answers, key),
            _ => {
                let (talk, said): (Vec<&str>, Vec<&str>) = here.partition(|value| *value == TALK);
                (said.first().copied().unwrap_or_default().to_owned(), !talk.is_empty())
            }
        }
    };
    let shown = sections.iter().map(|section| (section.title.clone(), Asked::all(section, t(LATER), &value))).collect();
    let beside = match questions.beside(&sections) {
        // Whoever may open this page treats or treated her, or owns the studio.
        Some(given) => Some(AnswersView::of(&mut c, &given, &names, true).await?),
        None => None,
    };
    drop(c);
    looked(app, &team.0, "answers.seen", Some(&place.client), "").await?;
    Ok(AnswersPage {
        fields: match fields.get("id") {
            "" => fields.with("id", AnswersId::from_random(app.random.id()).to_string()),
            _ => fields,
        },
        errors,
        who: place.who.clone(),
        back: place.back(),
        action: place.action(all),
        all: (!all && questions.some_open()).then(|| place.action(true)),
        sections: shown,
        beside,
        whose: Told::ALL.map(|told| (told.as_str(), told_words(told))),
        mark: questions.mark(),
        changed,
        ctx,
    })
}

/// Shows what is open, or all.
pub async fn get(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    Query(about): Query<About>,
) -> page::Answer {
    let place = Place::load(&mut *app.db.read().await?, &team, &id, &about).await?;
    let nothing = (Fields::default(), Errors::new(), false);
    Ok(Page::ok(page(&app, ctx, &team, &place, about.all.is_some(), nothing).await?).into_response())
}

fn told_words(told: Told) -> &'static str {
    match told {
        Told::ClientHere => t("The client herself, here"),
        Told::ClientPhone => t("The client herself, on the phone"),
        Told::GuardianHere => t("A parent or guardian, here"),
        Told::GuardianPhone => t("A parent or guardian, on the phone"),
    }
}

fn refusal_here(why: AnswerRefused) -> String {
    match why {
        AnswerRefused::Missing => t("Take an answer down, or choose “Still to be talked about”.").to_owned(),
        other => refusal(other),
    }
}

/// Takes the answers down.
pub async fn post(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    Query(about): Query<About>,
    fields: Fields,
) -> page::Answer {
    let studio = ctx.studio()?.clone();
    let today = studio.zone.date_at(app.clock.now());
    let all = about.all.is_some();
    let mut c = app.db.read().await?;
    let place = Place::load(&mut c, &team, &id, &about).await?;
    let questions = Questions::load(&mut c, &place.client, &place.services, today).await?;
    drop(c);
    let id = AnswersId::parse(fields.get("id")).map_err(|_| Fault::BadRequest)?;
    let given = pairs(&fields);
    let mut errors = Errors::new();
    let told = Told::parse(fields.get(TOLD));
    if told.is_none() {
        errors.add(TOLD, t(CHOOSE));
    }
    let sections: Vec<Section> = questions.sections(all);
    let mut said = Vec::new();
    for section in &sections {
        match section.read(&given, today) {
            Ok(answers) => said.push((section.clone(), answers)),
            Err(refused) => {
                for field in &refused.fields {
                    errors.add(&field.key, refusal_here(field.why));
                }
            }
        }
    }
    if questions.beside(&sections).is_some() && !fields.ticked(STANDS) {
        errors.add(STANDS, t("Ask whether the other answers still stand. If one has changed, ask all questions."));
    }
    let shown = Mark::sent(fields.get("shown"));
    let stale = shown.holds(&questions.mark()).is_err();
    if let Some(told) = told.filter(|_| errors.is_empty() || stale) {
        let said = Said { id, shown, told, answers: said };
        match answers::take_down(&app, &studio, &team.0, &place.client, said).await {
            Ok(()) => return Ok(see_other(&place.back())),
            Err(NotTaken::Store(error)) => return Err(error.into()),
            Err(NotTaken::NotFound) => return Err(Fault::NotFound),
            Err(NotTaken::Changed(_)) => {}
        }
    }
    if stale || errors.is_empty() {
        // All questions, so that nothing that was taken down is missing from the page.
        let fields = fields.without("id");
        let page = page(&app, ctx, &team, &place, true, (fields, Errors::new(), true)).await?;
        return Ok(Page::conflict(page).into_response());
    }
    Ok(Page::refused(page(&app, ctx, &team, &place, all, (fields, errors, false)).await?).into_response())
}

/// The value that stands for "rather talk about it", for the template.
const TALK_VALUE: &str = TALK;
