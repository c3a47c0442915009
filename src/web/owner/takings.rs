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
    /// What it is about; nothing where the client has left.
    of: Option<Seen>,
    price: String,
    deposit: String,
    paid: String,
    how: &'static str,
}

struct Seen {
    time: String,
    what: String,
    who: String,
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
    let one = &line.price;
    let amount = |minor: u32| words::decimal(&amount(minor, &one.currency));
    Row {
        day: words::day(one.day),
        of: line.of.as_ref().map(|of| Seen {
            time: words::moment(of.began),
            what: of.service.clone(),
            who: of.practitioner.clone(),
            href: format!("/desk/visits/{}/price", of.visit),
        }),
        price: format!("{} {}", amount(one.whole_minor), one.currency),
        deposit: if one.counted_minor == 0 { String::new() } else { amount(one.counted_minor) },
        paid: amount(one.paid_minor()),
        how: how_words(one.how),
    }
}

fn sums(lines: &[Line]) -> Vec<(String, String)> {
    let mut all: BTreeMap<(&str, &'static str), u64> = BTreeMap::new();
    for line in lines {
        let currency = line.price.currency.as_str();
        for how in [how_words(line.price.how), crate::t("Together")] {
            *all.entry((currency, how)).or_default() += u64::from(line.price.paid_minor());
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

/// Hands out the list. It names visits, not clients: an accountant needs no more. Of whoever has left, the money alone.
pub async fn csv(State(app): State<App>, ctx: Ctx, team: Team, Query(ask): Query<Ask>) -> Answer {
    let (from, to) = ask.span(today(&app, ctx.studio()?));
    let lines = between(&mut *app.db.read().await?, from, to).await?;
    looked(&app, &team.0, "takings.exported", None, &format!("{from} to {to}")).await?;
    let mut out = Vec::new();
    let heads =
        ["day", "visit", "began", "service", "practitioner", "currency", "price", "deposit", "paid", "how", "noted_by"];
    write_row(&mut out, heads);
    for line in &lines {
        let one = &line.price;
        let amount = |minor: u32| amount(minor, &one.currency);
        let day = one.day.to_string();
        let (price, deposit, paid) = (amount(one.whole_minor), amount(one.counted_minor), amount(one.paid_minor()));
        let began = line.of.as_ref().map(|of| Language::English.within(|| words::moment(of.began))).unwrap_or_default();
        let (visit, service, practitioner, noted_by) = match &line.of {
            Some(of) => (of.visit.as_str(), of.service.as_str(), of.practitioner.as_str(), of.noted_by.as_str()),
            None => ("", "", "", ""),
        };
        let how = one.how.as_str();
        let money = [&one.currency, &price, &deposit, &paid, how, noted_by];
        write_row(&mut out, [&day, visit, &began, service, practitioner].into_iter().chain(money));
    }
    Ok(page::csv("takings.csv", out))
}
