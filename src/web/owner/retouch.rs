//! `GET /owner/retouch`: who may and should return, and why. `GET /owner/retouch/list.csv`: the same for a spreadsheet.
//! Template: `owner/retouch.html`.

pub mod forecast;
pub mod invite;
mod list;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;

use list::{Ask, List, Row, Wish};

use crate::actions::health::looked;
use crate::actions::retouch;
use crate::app::App;
use crate::documents::csv::write_row;
use crate::language::Language;
use crate::store::retouch::lines::Order;
use crate::web::guard::Team;
use crate::web::page::{self, Answer, Ctx, Page};
use crate::web::team::proof::ProvenLook;
use crate::web::why;

/// How many lines a page has, and how many at most are printed.
const PAGE: i64 = 50;
const PRINTED: i64 = 1000;
const PRINTED_STEP: usize = 1000;

#[derive(Template)]
#[template(path = "owner/retouch.html")]
struct RetouchPage {
    ctx: Ctx,
    wish: Wish,
    /// The state's word in the address, its label, how many there are before any filter.
    states: Vec<(&'static str, &'static str, i64)>,
    rows: Vec<Row>,
    /// So many letters have just been written.
    sent: Option<u32>,
    /// How many fit the filter.
    count: i64,
    pages: i64,
}

impl RetouchPage {
    fn everybody(&self) -> i64 {
        self.states.iter().map(|(_, _, count)| count).sum()
    }

    /// Whether there are more lines than one printed page shows.
    fn cut(&self) -> bool {
        self.count > PRINTED
    }

    fn previous(&self) -> Option<String> {
        (self.wish.page > 1).then(|| self.wish.link(self.wish.page - 1))
    }

    fn next(&self) -> Option<String> {
        (self.wish.page < self.pages).then(|| self.wish.link(self.wish.page + 1))
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(ask): Query<Ask>) -> Answer {
    let sent = ask.sent();
    let mut wish = Wish::from(ask);
    retouch::freshen(&app.db).await?;
    let mut c = app.db.read().await?;
    let list = List::load(&mut c, ctx.studio()?, app.clock.now(), &wish).await?;
    let count = list.count;
    let size = if wish.print { PRINTED } else { PAGE };
    let pages = if wish.print { 1 } else { ((count + size - 1) / size).max(1) };
    wish.page = wish.page.min(pages);
    let rows = list.rows(&mut c, &wish, (wish.page - 1) * size, size).await?;
    drop(c);
    looked(&app, &team.0, "retouch.seen", None, &format!("{} of {count} lines", rows.len())).await?;
    let states = list.states.iter().map(|&(state, count)| (list::word(state), why::name(state), count)).collect();
    Ok(Page::ok(RetouchPage { ctx, wish, states, rows, sent, count, pages }).into_response())
}

const COLUMNS: [&str; 13] = [
    "client",
    "service",
    "state",
    "opens",
    "due",
    "lapsed",
    "reason",
    "last visit",
    "next visit",
    "may be mailed",
    "product blocked",
    "invited",
    "invited last",
];

/// Hands out every line that fits the filter.
pub async fn csv(State(app): State<App>, ctx: Ctx, team: Team, _proven: ProvenLook, Query(ask): Query<Ask>) -> Answer {
    let wish = Wish::from(ask);
    retouch::freshen(&app.db).await?;
    // One state of the file throughout, however many lines there are.
    let mut c = app.db.snapshot().await?;
    let list = List::load(&mut c, ctx.studio()?, app.clock.now(), &wish).await?;
    let mut out = Vec::new();
    write_row(&mut out, COLUMNS);
    for skip in (0..list.count).step_by(PRINTED_STEP) {
        for row in &list.rows(&mut c, &wish, skip, PRINTED).await? {
            let fields = Language::English.within(|| row.fields());
            write_row(&mut out, fields.iter().map(String::as_str));
        }
    }
    drop(c);
    looked(&app, &team.0, "retouch.exported", None, &format!("{} lines", list.count)).await?;
    Ok(page::csv("retouch.csv", out))
}
