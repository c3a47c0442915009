//! `GET` and `POST /owner/lists`: the studio's words for checks and aftercare. `GET` and `POST /owner/shields`: its shields.
//! Templates: `owner/lists.html`, `owner/shields.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{Done, done, filled};
use crate::actions::steps;
use crate::app::App;
use crate::domain::checklist::ListName;
use crate::domain::label::Label;
use crate::domain::shield::{Shield, ShieldRefused};
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// The most shields of a table.
const MOST_SHIELDS: usize = 12;

#[derive(Template)]
#[template(path = "owner/lists.html")]
struct ListsPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
}

/// Shows the lists.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let mut c = app.db.read().await?;
    let mut pairs = Vec::new();
    for name in ListName::ALL {
        pairs.push((name.as_str().to_owned(), steps::list(&mut c, name).await?.join("\n")));
    }
    let page = ListsPage { ctx: ctx.saying(said), fields: Fields::of(pairs), errors: Errors::new() };
    Ok(Page::ok(page).into_response())
}

fn read(fields: &Fields, errors: &mut Errors, name: ListName) -> Vec<String> {
    let lines = fields.get(name.as_str()).lines().map(str::trim).filter(|line| !line.is_empty());
    let mut entries = Vec::new();
    for line in lines {
        let entry = errors.take(name.as_str(), Label::parse(line, ListName::MOST_WORDS * 2), words::text);
        entries.extend(entry.map(|entry| entry.as_str().to_owned()));
    }
    if entries.is_empty() {
        errors.add(name.as_str(), words::MISSING);
    }
    if entries.len() > ListName::MOST_ENTRIES {
        errors.add(name.as_str(), crate::tf("At most {most} lines.").with("most", ListName::MOST_ENTRIES));
    }
    entries
}

/// Changes those that are other than before.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    let lists = ListName::ALL.map(|name| (name, read(&fields, &mut errors, name)));
    if !errors.is_empty() {
        return Ok(Page::refused(ListsPage { ctx, fields, errors }).into_response());
    }
    for (name, entries) in lists {
        if steps::list(&mut *app.db.read().await?, name).await? != entries {
            steps::save_list(&app, &team.0, name, &entries).await?;
        }
    }
    Ok(done("/owner/lists", "saved"))
}

#[derive(Template)]
#[template(path = "owner/shields.html")]
struct ShieldsPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
}

impl ShieldsPage {
    fn get(&self, field: &str, number: &usize) -> &str {
        self.fields.get(&format!("{field}_{number}"))
    }

    fn error(&self, field: &str, number: &usize) -> Option<&str> {
        self.errors.of(&format!("{field}_{number}"))
    }
}

/// Shows the table.
pub async fn get_shields(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let shields = steps::shields(&mut *app.db.read().await?).await?;
    let pairs = shields.iter().enumerate().flat_map(|(n, shield)| {
        [(format!("name_{n}"), shield.name().to_owned()), (format!("arc_{n}"), shield.arc_mm().to_string())]
    });
    let fields = if shields.is_empty() { filled::<0>([]) } else { Fields::of(pairs.collect()) };
    Ok(Page::ok(ShieldsPage { ctx: ctx.saying(said), fields, errors: Errors::new() }).into_response())
}

/// Changes it.
pub async fn post_shields(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    let mut shields: Vec<Shield> = Vec::new();
    for n in 0..MOST_SHIELDS {
        let (name, arc) = (format!("name_{n}"), format!("arc_{n}"));
        if fields.trimmed(&name).is_empty() && fields.trimmed(&arc).is_empty() {
            continue;
        }
        let typed = fields.trimmed(&arc).replace(',', ".");
        let plain = typed.len() <= 5 && typed.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
        let mm = typed.parse().ok().filter(|_| plain).unwrap_or(0.0);
        match Shield::parse(fields.get(&name), mm) {
            Ok(shield) if shields.iter().any(|other| other.name() == shield.name()) => {
                errors.add(&name, crate::t("Another shield is called so."));
            }
            Ok(shield) => shields.push(shield),
            Err(ShieldRefused::Name) => errors.add(&name, crate::t("Write its name, at most 40 letters.")),
            Err(ShieldRefused::Arc | ShieldRefused::Length) => {
                errors.add(&arc, crate::t("Write a length from 1 to 30 mm."));
            }
        }
    }
    if !errors.is_empty() {
        return Ok(Page::refused(ShieldsPage { ctx, fields, errors }).into_response());
    }
    steps::save_shields(&app, &team.0, &shields).await?;
    Ok(done("/owner/shields", "saved"))
}
