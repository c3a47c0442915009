//! `GET` and `POST /owner/papers`: practitioners' certificates and the insurance policy. Template: `owner/papers.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, id, read, there, today};
use crate::actions::papers::{self, NewPaper};
use crate::app::App;
use crate::documents::upload::Takes;
use crate::domain::ids::{PaperId, PractitionerId, ServiceId};
use crate::domain::paper::{Holds, holds};
use crate::store::papers as stored;
use crate::store::{catalogue, practitioners};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::files;
use crate::web::form::{Errors, Fields, FormWithFile};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// The word of the form for the insurance policy, in the place of a practitioner.
const POLICY: &str = "policy";

struct Row {
    id: String,
    whose: String,
    number: String,
    issuer: String,
    covers: String,
    until: String,
    /// Whether it ends soon or has ended.
    care: bool,
}

#[derive(Template)]
#[template(path = "owner/papers.html")]
struct PapersPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    rows: Vec<Row>,
    team: Vec<(String, String)>,
    services: Vec<(String, String)>,
    keeps: bool,
    /// Who gives what, and has no certificate for it.
    gaps: Vec<String>,
}

async fn page(app: &App, ctx: Ctx, fields: Fields, errors: Errors) -> Result<PapersPage, Fault> {
    let today = today(app, ctx.studio()?);
    let mut c = app.db.read().await?;
    let team = practitioners::all(&mut c).await?;
    let services = catalogue::services(&mut c).await?;
    let papers = stored::all(&mut c).await?;
    let name =
        |id: &PractitionerId| team.iter().find(|she| she.id == *id).map_or("", |she| she.name.as_str()).to_owned();
    let service = |id: &ServiceId| services.iter().find(|one| one.id == *id).map_or("", |one| one.name.as_str());
    let rows = papers.iter().map(|paper| {
        let (until, care) = match holds(paper.expires_on, today) {
            Holds::Long => (paper.expires_on.map_or_else(|| crate::t("No end").to_owned(), words::day), false),
            Holds::Until(last) => (crate::tf("Ends soon: {day}").with("day", words::day(last)).to_string(), true),
            Holds::Ended(last) => (crate::tf("Ended on {day}").with("day", words::day(last)).to_string(), true),
        };
        Row {
            id: paper.id.to_string(),
            whose: paper.practitioner.as_ref().map_or_else(|| crate::t("Insurance policy").to_owned(), name),
            number: paper.number.clone(),
            issuer: paper.issuer.clone(),
            covers: paper.services.iter().map(service).collect::<Vec<_>>().join(", "),
            until,
            care,
        }
    });
    let rows = rows.collect();
    let mut gaps = Vec::new();
    for service in services.iter().filter(|service| service.active) {
        for she in catalogue::practitioners_for(&mut c, &service.id).await? {
            let covers = |paper: &&stored::Paper| {
                paper.practitioner.as_ref() == Some(&she)
                    && paper.services.contains(&service.id)
                    && !matches!(holds(paper.expires_on, today), Holds::Ended(_))
            };
            if !papers.iter().any(|paper| covers(&paper)) {
                gaps.push(format!("{}: {}", name(&she), service.name));
            }
        }
    }
    Ok(PapersPage {
        rows,
        gaps,
        keeps: stored::keeps(&mut c).await?,
        team: team.iter().filter(|she| she.active).map(|she| (she.id.to_string(), she.name.clone())).collect(),
        services: services.iter().map(|one| (one.id.to_string(), one.name.clone())).collect(),
        ctx,
        fields,
        errors,
    })
}

/// Shows them, and the form for another.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    Ok(Page::ok(page(&app, ctx.saying(said), Fields::default(), Errors::new()).await?).into_response())
}

/// Keeps another one.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, mut form: FormWithFile) -> Answer {
    let fields = form.fields.clone();
    let mut errors = Errors::new();
    let mut c = app.db.read().await?;
    let known = practitioners::all(&mut c).await?;
    let offered = catalogue::services(&mut c).await?;
    drop(c);
    let whose = match fields.trimmed("whose") {
        POLICY => Some(None),
        text => PractitionerId::parse(text).ok().filter(|id| known.iter().any(|she| she.id == *id)).map(Some),
    };
    if whose.is_none() {
        errors.add("whose", crate::t("Choose whose paper it is."));
    }
    let number = read::needed(&mut errors, &fields, "number", 60);
    let issuer = read::needed(&mut errors, &fields, "issuer", 120);
    let services: Vec<ServiceId> =
        offered.into_iter().map(|one| one.id).filter(|id| fields.has("many-services", id.as_str())).collect();
    if services.is_empty() {
        errors.add("many-services", crate::t("Choose at least one service that it covers."));
    }
    let expires_on =
        if fields.trimmed("expires").is_empty() { None } else { day::field(&mut errors, &fields, "expires") };
    let file = errors.take("file", form.take(Takes::PhotoOrPdf).await, words::upload).flatten();
    if file.is_none() {
        errors.add("file", crate::t("Choose a photo or a PDF of the paper."));
    }
    match (whose, file) {
        (Some(practitioner), Some(file)) if errors.is_empty() => {
            let new = NewPaper { practitioner, number, issuer, services, expires_on, file };
            papers::add(&app, &team.0, new).await?;
            Ok(done("/owner/papers", "added"))
        }
        _ => Ok(Page::refused(page(&app, ctx, fields, errors).await?).into_response()),
    }
}

/// A paper counts no more.
pub async fn remove(State(app): State<App>, team: Team, Path(path): Path<String>, _: Fields) -> Answer {
    let removed = papers::remove(&app, &team.0, &id(PaperId::parse(&path))?).await?;
    there(removed.then(|| done("/owner/papers", "removed")))
}

/// Whether bookings follow the certificates.
pub async fn rule(State(app): State<App>, team: Team, fields: Fields) -> Answer {
    papers::set_keeps(&app, &team.0, fields.ticked("keeps")).await?;
    Ok(done("/owner/papers", "saved"))
}

/// Hands a paper's file over.
pub async fn file(State(app): State<App>, Path(path): Path<String>) -> Answer {
    let body = stored::body(&mut *app.db.read().await?, &id(PaperId::parse(&path))?).await?;
    let (kind, body) = there(body)?;
    files::respond(kind, "attachment", "paper", body)
}
