//! `GET` and `POST /owner/keeping/terms/{class}`: how long one class of records is kept, and how it was before. Template:
//! `owner/keeping/term.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{WORDS_MOST, done, filled, read, there, words};
use crate::actions::retention as changes;
use crate::app::App;
use crate::domain::retention::{Class, Term};
use crate::store::retention::{self, Version};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;

struct Earlier {
    term: String,
    basis: String,
    reason: String,
    by: String,
}

#[derive(Template)]
#[template(path = "owner/keeping/term.html")]
struct TermPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    title: &'static str,
    event: &'static str,
    holds: &'static str,
    knows_age: bool,
    versions: Vec<Earlier>,
    /// Another version was written meanwhile.
    overtaken: bool,
}

async fn versions(app: &App, class: Class) -> Result<Vec<Version>, Fault> {
    Ok(retention::versions(&mut *app.db.read().await?, class).await?)
}

impl TermPage {
    fn new(ctx: Ctx, class: Class, all: Vec<Version>, fields: Fields, errors: Errors) -> Result<Self, Fault> {
        let zone = ctx.studio()?.zone.clone();
        let versions = all.into_iter().map(|version| Earlier {
            term: words::term(class, version.term),
            basis: t(&version.basis).to_owned(),
            reason: t(&version.reason).to_owned(),
            by: match version.written_at {
                Some(at) => format!("{}, {}", version.written_by, when::moment(zone.to_civil(at))),
                None => t("Came with the program").to_owned(),
            },
        });
        let (title, event, holds) = (words::title(class), words::event(class), words::holds(class));
        let (versions, knows_age, overtaken) = (versions.collect(), class.knows_age(), false);
        Ok(Self { ctx, fields, errors, title, event, holds, knows_age, versions, overtaken })
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(class): Path<String>) -> Answer {
    let class = there(Class::parse(&class))?;
    let all = versions(&app, class).await?;
    let newest = there(all.first())?;
    let fields = filled([
        ("version", newest.version.to_string()),
        ("months", newest.term.months.to_string()),
        ("until_age", newest.term.until_age.map_or_else(String::new, |age| age.to_string())),
        ("basis", newest.basis.clone()),
    ]);
    Ok(Page::ok(TermPage::new(ctx, class, all, fields, Errors::new())?).into_response())
}

fn typed(class: Class, fields: &Fields, errors: &mut Errors) -> Option<Term> {
    let months = read::whole(errors, fields, "months", Term::MONTHS);
    let until_age = if class.knows_age() && !fields.trimmed("until_age").is_empty() {
        Some(read::whole(errors, fields, "until_age", Term::AGES)?)
    } else {
        None
    };
    months.map(|months| Term { months, until_age })
}

/// Writes another term.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(class): Path<String>, fields: Fields) -> Answer {
    let class = there(Class::parse(&class))?;
    let mut errors = Errors::new();
    let term = typed(class, &fields, &mut errors);
    let basis = read::needed(&mut errors, &fields, "basis", WORDS_MOST);
    let reason = read::needed(&mut errors, &fields, "reason", WORDS_MOST);
    let (Some(term), true) = (term, errors.is_empty()) else {
        let all = versions(&app, class).await?;
        return Ok(Page::refused(TermPage::new(ctx, class, all, fields, errors)?).into_response());
    };
    let seen = fields.get("version").parse().unwrap_or(0);
    if changes::change(&app, &team.0, class, seen, term, &basis, &reason).await? {
        return Ok(done("/owner/keeping", "saved"));
    }
    let page = TermPage::new(ctx, class, versions(&app, class).await?, fields, errors)?;
    Ok(Page::conflict(TermPage { overtaken: true, ..page }).into_response())
}
