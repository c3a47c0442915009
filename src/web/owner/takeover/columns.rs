//! `GET` and `POST /owner/takeover/{id}`: how a file is read, and what each column holds. Template:
//! `owner/takeover_columns.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{column, file, refused};
use crate::actions::takeover::{self, Opened};
use crate::app::App;
use crate::documents::sheet::{Charset, MOST_COLUMNS, Separator};
use crate::domain::takeover::{Column, DayOrder, Mapping, MappingRefused};
use crate::store::takeovers::Reading;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Page, see_other};

/// A column of the file: its name in the form, its head, its first cells, and what it holds.
struct ColumnView {
    field: String,
    head: String,
    samples: String,
    holds: &'static str,
}

#[derive(Template)]
#[template(path = "owner/takeover_columns.html")]
struct ColumnsPage {
    ctx: Ctx,
    errors: Errors,
    rows: usize,
    /// Whether it is a table; cards need none of this.
    table: bool,
    charset: &'static str,
    separator: &'static str,
    month_first: bool,
    columns: Vec<ColumnView>,
    choices: Vec<(&'static str, &'static str)>,
}

/// How many cells of a column are shown.
const SAMPLES: usize = 3;

fn page(ctx: Ctx, reading: &Reading, opened: &Opened, errors: Errors) -> ColumnsPage {
    let sheet = &opened.sheet;
    let holds = opened.mapping.columns();
    let columns = sheet.heads.iter().enumerate().map(|(place, head)| {
        let cells = sheet.rows.iter().filter_map(|row| row.cells.get(place)).filter(|cell| !cell.is_empty());
        let samples: Vec<String> = cells.take(SAMPLES).map(|cell| cell.chars().take(40).collect()).collect();
        ColumnView {
            field: field(place),
            head: if head.is_empty() {
                crate::tf("Column {number}").with("number", place + 1).to_string()
            } else {
                head.clone()
            },
            samples: samples.join(" · "),
            holds: holds.get(place).copied().flatten().map_or("", Column::as_str),
        }
    });
    ColumnsPage {
        rows: sheet.rows.len(),
        table: sheet.separator.is_some(),
        charset: sheet.charset.as_str(),
        separator: sheet.separator.map_or("", Separator::as_str),
        month_first: reading.order == DayOrder::MonthFirst,
        columns: columns.collect(),
        choices: Column::ALL.into_iter().map(|one| (one.as_str(), column(one))).collect(),
        ctx,
        errors,
    }
}

fn field(place: usize) -> String {
    format!("column-{place}")
}

/// Shows how the file is read now.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let mut c = app.db.read().await?;
    let file = file(&mut c, &id).await?;
    if file.report.is_some() {
        return Ok(see_other(&format!("/owner/takeover/{id}/check")));
    }
    let opened = takeover::open(&mut c, &file.id, &file.reading).await?.map_err(|_| Fault::NotFound)?;
    Ok(Page::ok(page(ctx, &file.reading, &opened, Errors::new())).into_response())
}

/// Takes what was chosen. Whoever changed how the file is cut into cells sees its columns anew; else the look is next.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let file = file(&mut c, &id).await?;
    if file.report.is_some() {
        return Ok(see_other(&format!("/owner/takeover/{id}/check")));
    }
    let before = takeover::open(&mut c, &file.id, &file.reading).await?.map_err(|_| Fault::NotFound)?;
    let order = if fields.get("order") == "month_first" { DayOrder::MonthFirst } else { DayOrder::DayFirst };
    let mut reading = Reading {
        charset: Charset::parse(fields.get("charset")).map_or("", Charset::as_str).to_owned(),
        separator: Separator::parse(fields.get("separator")).map_or("", Separator::as_str).to_owned(),
        order,
        mapping: None,
    };
    let mut errors = Errors::new();
    let opened = match takeover::open(&mut c, &file.id, &reading).await? {
        Ok(opened) => opened,
        Err(why) => {
            errors.add("charset", refused(why));
            return Ok(Page::refused(page(ctx, &reading, &before, errors)).into_response());
        }
    };
    drop(c);
    let here = format!("/owner/takeover/{id}");
    if opened.sheet.heads != before.sheet.heads {
        takeover::set_reading(&app, &file.id, &reading).await?;
        return Ok(see_other(&here));
    }
    let chosen = (0..opened.sheet.heads.len().min(MOST_COLUMNS)).map(|place| Column::parse(fields.get(&field(place))));
    let chosen: Vec<Option<Column>> = chosen.collect();
    match Mapping::parse(chosen.clone()) {
        Ok(mapping) => {
            reading.mapping = Some(mapping);
            takeover::set_reading(&app, &file.id, &reading).await?;
            Ok(see_other(&format!("{here}/check")))
        }
        Err(why) => {
            let place = |wanted: Column| chosen.iter().rposition(|one| *one == Some(wanted)).unwrap_or(0);
            let (at, words) = in_words(why, place);
            errors.add(&field(at), words);
            let mut page = page(ctx, &reading, &opened, errors);
            for (view, chosen) in page.columns.iter_mut().zip(&chosen) {
                view.holds = chosen.map_or("", Column::as_str);
            }
            Ok(Page::refused(page).into_response())
        }
    }
}

fn in_words(why: MappingRefused, place: impl Fn(Column) -> usize) -> (usize, String) {
    match why {
        MappingRefused::Twice(twice) => {
            let words = crate::tf("Two columns can’t both be “{column}”. Take one of them.");
            (place(twice), words.with("column", column(twice)).to_string())
        }
        MappingRefused::Missing(Column::Name) => {
            (0, crate::t("Choose the column with the name, or those with given name and family name.").to_owned())
        }
        MappingRefused::Missing(missing) => {
            let words =
                crate::tf("Choose the column for “{column}”: without it one client can’t be told from another.");
            (0, words.with("column", column(missing)).to_string())
        }
        MappingRefused::Alone { there, missing } => {
            let words = crate::tf("“{column}” says nothing without “{missing}”. Choose that too, or leave both out.");
            (place(there), words.with("column", column(there)).with("missing", column(missing)).to_string())
        }
    }
}
