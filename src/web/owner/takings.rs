//! `GET /owner/takings`: what was taken on a day or over a span, and `GET /owner/takings/list.csv` for the accountant.
//! Template: `owner/takings.html`.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::{Date, Duration};

use super::today;
use crate::actions::health::looked;
use crate::app::App;
use crate::documents::csv::write_row;
use crate::language::Language;
use crate::store::takings::{Line, between};
use crate::web::day as days;
use crate::web::guard::Team;
use crate::web::page::{self, Answer, Ctx, Page};
use crate::web::practitioner::arrange::how_words;
use crate::web::words::{self, amount};

/// From when to when.
#[derive(Default, Deserialize)]
pub struct Ask {
    from: Option<String>,
    to: Option<String>,
}

/// The longest span.
const MOST: Duration = Duration::days(731);

impl Ask {
    /// The days that are asked for: today, where nothing or nothing sensible is.
    fn span(&self, today: Date) -> (Date, Date) {
        let read = |text: &Option<String>| text.as_deref().and_then(days::read);
        let from = read(&self.from).unwrap_or(today);
        let to = read(&self.to).unwrap_or(from.max(today)).max(from);
        (from, to.min(from.saturating_add(MOST)))
    }
}

struct Row {
    day: String,
    time: String,
    what: String,
    who: String,
    price: String,
    deposit: String,
    paid: String,
    how: &'static str,
    href: String,
}

#[derive(Template)]
#[template(path = "owner/takings.html")]
struct TakingsPage {
    ctx: Ctx,
    from: String,
    to: String,
    rows: Vec<Row>,
    /// How it was paid, and how much.
    sums: Vec<(String, String)>,
}

fn row(line: &Line) -> Row {
    let one = &line.taking;
    let amount = |minor: u32| words::decimal(&amount(minor, &one.currency));
    Row {
        day: words::day(one.day),
        time: words::moment(line.began),
        what: line.service.clone(),
        who: line.practitioner.clone(),
        price: format!("{} {}", amount(one.price_minor), one.currency),
        deposit: if one.counted_minor == 0 { String::new() } else { amount(one.counted_minor) },
        paid: amount(one.paid_minor()),
        how: how_words(one.how),
        href: format!("/desk/visits/{}/price", line.visit),
    }
}

fn sums(lines: &[Line]) -> Vec<(String, String)> {
    let mut all: BTreeMap<(&str, &'static str), u64> = BTreeMap::new();
    for line in lines {
        let currency = line.taking.currency.as_str();
        for how in [how_words(line.taking.how), crate::t("Together")] {
            *all.entry((currency, how)).or_default() += u64::from(line.taking.paid_minor());
        }
    }
    all.into_iter()
        .map(|((currency, how), minor)| {
            (how.to_owned(), format!("{} {currency}", words::decimal(&amount(minor, currency))))
        })
        .collect()
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(ask): Query<Ask>) -> Answer {
    let (from, to) = ask.span(today(&app, ctx.studio()?));
    let lines = between(&mut *app.db.read().await?, from, to).await?;
    looked(&app, &team.0, "takings.seen", None, &format!("{from} to {to}")).await?;
    let (rows, sums) = (lines.iter().map(row).collect(), sums(&lines));
    Ok(Page::ok(TakingsPage { ctx, from: from.to_string(), to: to.to_string(), rows, sums }).into_response())
}

/// Hands out the list. It names visits, not clients: an accountant needs no more.
pub async fn csv(State(app): State<App>, ctx: Ctx, team: Team, Query(ask): Query<Ask>) -> Answer {
    let (from, to) = ask.span(today(&app, ctx.studio()?));
    let lines = between(&mut *app.db.read().await?, from, to).await?;
    looked(&app, &team.0, "takings.exported", None, &format!("{from} to {to}")).await?;
    let mut out = Vec::new();
    let heads =
        ["day", "visit", "began", "service", "practitioner", "currency", "price", "deposit", "paid", "how", "noted_by"];
    write_row(&mut out, heads);
    for line in &lines {
        let one = &line.taking;
        let amount = |minor: u32| amount(minor, &one.currency);
        let (day, began) = (one.day.to_string(), Language::English.within(|| words::moment(line.began)));
        let (price, deposit, paid) = (amount(one.price_minor), amount(one.counted_minor), amount(one.paid_minor()));
        let cells: [&str; 11] = [
            &day,
            line.visit.as_str(),
            &began,
            &line.service,
            &line.practitioner,
            &one.currency,
            &price,
            &deposit,
            &paid,
            one.how.as_str(),
            &one.noted_by,
        ];
        write_row(&mut out, cells);
    }
    Ok(page::csv("takings.csv", out))
}
