//! `GET` and `POST /owner/takeover`: a file with clients, past visits or skin tests is sent; then it is read
//! ([`columns`]), looked at and taken over ([`check`]). Template: `owner/takeover.html`.

use std::io::Read as _;

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::takeover;
use crate::app::App;
use crate::documents::sheet::{MOST_BYTES, MOST_ROWS, SheetRefused};
use crate::domain::ids::TakeoverId;
use crate::domain::takeover::Column;
use crate::store::Connection;
use crate::store::takeovers::{self, Takeover};
use crate::web::error::Fault;
use crate::web::form::{Errors, Upload};
use crate::web::guard::Team;
use crate::web::owner::{id, there};
use crate::web::page::{Answer, Ctx, Page, see_other};

pub mod check;
pub mod columns;

#[derive(Template)]
#[template(path = "owner/takeover.html")]
struct TakeoverPage {
    ctx: Ctx,
    errors: Errors,
    hint: String,
}

impl TakeoverPage {
    fn new(ctx: Ctx, errors: Errors) -> Self {
        let megabytes = MOST_BYTES / (1024 * 1024);
        let hint = crate::tf("CSV or vCard, at most {rows} rows and {megabytes} MB. It is kept for a day at most.")
            .with("rows", MOST_ROWS)
            .with("megabytes", megabytes)
            .to_string();
        Self { ctx, errors, hint }
    }
}

/// Shows the form.
pub async fn get(ctx: Ctx) -> Answer {
    Ok(Page::ok(TakeoverPage::new(ctx, Errors::new())).into_response())
}

/// Takes a file in, and goes on to how it is read.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, upload: Upload) -> Answer {
    let mut errors = Errors::new();
    let too_large = usize::try_from(upload.bytes).map_or(true, |bytes| bytes > MOST_BYTES);
    let kept = if upload.bytes == 0 {
        errors.add("file", crate::t("Choose a file: a table saved as CSV, or address cards (vCard)."));
        None
    } else if too_large {
        errors.add("file", refused(SheetRefused::TooLarge));
        None
    } else {
        let (mut file, mut body) = (upload.file, Vec::new());
        file.read_to_end(&mut body).map_err(Fault::internal)?;
        let kept = takeover::keep(&app, &team.0, body).await?;
        errors.take("file", kept, |why| refused(*why))
    };
    match kept {
        Some(id) => Ok(see_other(&format!("/owner/takeover/{id}"))),
        None => Ok(Page::refused(TakeoverPage::new(ctx, errors)).into_response()),
    }
}

/// Why a file can't be read, as a sentence.
fn refused(why: SheetRefused) -> String {
    crate::tf("This file can’t be taken over: {why}.").with("why", crate::t(&why.to_string())).to_string()
}

/// The file of a path.
async fn file(c: &mut Connection, path: &str) -> Result<Takeover, Fault> {
    there(takeovers::get(c, &id(TakeoverId::parse(path))?).await?)
}

/// What a column holds, in words.
fn column(column: Column) -> &'static str {
    match column {
        Column::Name => crate::t("Name"),
        Column::Given => crate::t("Given name"),
        Column::Family => crate::t("Family name"),
        Column::Mail => crate::t("Mail address"),
        Column::Phone => crate::t("Phone"),
        Column::Born => crate::t("Date of birth"),
        Column::VisitOn => crate::t("Day of a past visit"),
        Column::Service => crate::t("Service of that visit"),
        Column::Note => crate::t("Note on that visit"),
        Column::TestOn => crate::t("Day of a skin test"),
        Column::Product => crate::t("Product that was tested"),
        Column::Result => crate::t("Result of the skin test"),
    }
}
