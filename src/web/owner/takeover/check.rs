//! `GET` and `POST /owner/takeover/{id}/check`: what becomes of each row, and then all of it or nothing. Template:
//! `owner/takeover_check.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::file;
use crate::actions::takeover::{self, Report, Taken};
use crate::app::App;
use crate::domain::takeover::{Fate, Planned, Wrong};
use crate::msg;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;

/// Which rows are shown.
#[derive(Default, Deserialize)]
pub struct Ask {
    page: Option<usize>,
    only: Option<String>,
}

#[derive(Template)]
#[template(path = "owner/takeover_check.html")]
struct CheckPage {
    ctx: Ctx,
    id: String,
    report: Report,
    /// Whether it is in already.
    done: bool,
    /// Whether only rows that are left out are shown.
    only_bad: bool,
    /// The line, whom it is about, what becomes of it, and whether it is left out.
    rows: Vec<(u64, String, String, bool)>,
    page: usize,
    pages: usize,
}

/// Rows on a page.
const PAGE: usize = 100;

impl CheckPage {
    /// Whether taking it over changes anything.
    fn changes(&self) -> bool {
        self.report.clients + self.report.visits + self.report.tests > 0
    }

    fn link(&self, page: usize, only_bad: bool) -> String {
        format!("/owner/takeover/{}/check?page={page}{}", self.id, if only_bad { "&only=bad" } else { "" })
    }

    /// All rows where only some are shown, and the other way round.
    fn other(&self) -> String {
        self.link(1, !self.only_bad)
    }

    fn previous(&self) -> Option<String> {
        (self.page > 1).then(|| self.link(self.page - 1, self.only_bad))
    }

    fn next(&self) -> Option<String> {
        (self.page < self.pages).then(|| self.link(self.page + 1, self.only_bad))
    }
}

/// Shows what would become of each row; of a file that was taken over, what came of it.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, Query(ask): Query<Ask>) -> Answer {
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let file = file(&mut c, &id).await?;
    let (report, rows, done) = match &file.report {
        Some(json) => {
            let report: Report = serde_json::from_str(json).map_err(Fault::internal)?;
            let bad = report.bad.iter().map(|(line, why)| (*line, String::new(), left_out(why), true)).collect();
            (report, bad, true)
        }
        None => {
            let opened = takeover::open(&mut c, &file.id, &file.reading).await?.map_err(|_| Fault::NotFound)?;
            if opened.mapping.check().is_err() {
                return Ok(see_other(&format!("/owner/takeover/{id}")));
            }
            let planned = takeover::look(&app, &mut c, &studio, &opened, &file.reading).await?;
            (Report::of(&planned), planned.iter().map(row).collect::<Vec<_>>(), false)
        }
    };
    drop(c);
    let only_bad = done || ask.only.as_deref() == Some("bad");
    let shown: Vec<_> = rows.into_iter().filter(|(.., bad)| *bad || !only_bad).collect();
    let pages = shown.len().div_ceil(PAGE).max(1);
    let page = ask.page.unwrap_or(1).clamp(1, pages);
    let rows = shown.into_iter().skip((page - 1) * PAGE).take(PAGE).collect();
    Ok(Page::ok(CheckPage { ctx, id, report, done, only_bad, rows, page, pages }).into_response())
}

/// Takes it over.
pub async fn post(State(app): State<App>, team: Team, Path(id): Path<String>, _: Fields) -> Answer {
    let file = file(&mut *app.db.read().await?, &id).await?;
    match takeover::take(&app, &team.0, &file.id).await? {
        None => Err(Fault::NotFound),
        Some(Taken::Done(_) | Taken::Before) => Ok(see_other(&format!("/owner/takeover/{id}/check"))),
        Some(Taken::Unreadable) => Ok(see_other(&format!("/owner/takeover/{id}"))),
    }
}

fn row(planned: &Planned) -> (u64, String, String, bool) {
    match &planned.fate {
        Ok(fate) => (planned.line, fate.told.person.name.as_str().to_owned(), becomes(fate), false),
        Err(why) => (planned.line, String::new(), left_out(&wrong(why)), true),
    }
}

fn left_out(why: &str) -> String {
    crate::tf("Left out: {why}.").with("why", crate::t(why)).to_string()
}

fn wrong(why: &Wrong) -> String {
    why.to_string()
}

/// What becomes of a row, in words.
fn becomes(fate: &Fate) -> String {
    let mut said = Vec::new();
    match (&fate.new, fate.shares_mail) {
        (None, _) => said.push(crate::t("A client you know.").to_owned()),
        (Some(_), false) => said.push(crate::t("A new client.").to_owned()),
        (Some(_), true) => said.push(
            crate::t(
                "A new client. Somebody else has the same mail address: if it is the same person, correct her name or \
                 date of birth in the file first.",
            )
            .to_owned(),
        ),
    }
    let on = |words: &str, day| crate::tf(words).with("day", words::day(day)).to_string();
    if let Some(told) = &fate.told.visit {
        let words = match fate.visit {
            Some(_) => msg("The visit of {day} is added."),
            None => msg("The visit of {day} is known."),
        };
        said.push(on(words, told.on));
    }
    if let Some(told) = &fate.told.test {
        let words = match fate.test {
            Some(_) => msg("The skin test of {day} is added."),
            None => msg("The skin test of {day} is known."),
        };
        said.push(on(words, told.on));
        if told.result.is_some_and(crate::domain::skin_test::TestResult::fails) {
            said.push(crate::t("It failed, so its product is blocked for her.").to_owned());
        }
    }
    if fate.is_known() {
        said.push(crate::t("Nothing changes.").to_owned());
    }
    said.join(" ")
}
