//! `GET /owner/trace?batch=<product>.<number>&from=&to=`: which clients came into touch with a batch, as a list and a mail
//! draft; `/owner/trace/list.csv` the same as CSV. Template: `owner/trace.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::Date;

use crate::actions::health::looked;
use crate::app::App;
use crate::documents::csv::write_row;
use crate::domain::ids::ProductId;
use crate::language::Language;
use crate::store::trace::{self, Touched};
use crate::store::{Connection, Stored, catalogue};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::guard::Team;
use crate::web::page::{self, Answer, Ctx, Page};
use crate::web::team::proof::ProvenLook;
use crate::web::words;

/// What is asked for.
#[derive(Deserialize)]
pub struct Ask {
    batch: Option<String>,
    from: Option<String>,
    to: Option<String>,
}

struct Row {
    client: String,
    name: String,
    mail: String,
    phone: String,
    when: String,
    what: &'static str,
}

#[derive(Template)]
#[template(path = "owner/trace.html")]
struct TracePage {
    ctx: Ctx,
    /// `<product>.<number>` and words.
    batches: Vec<(String, String)>,
    batch: String,
    from: String,
    to: String,
    asked: bool,
    rows: Vec<Row>,
    clients: usize,
    /// How many more had it, whose records are locked away.
    locked_away: usize,
    /// The mail addresses, each once.
    mails: String,
    subject: String,
    draft: String,
    query: String,
}

/// A batch and the days, both included.
struct Wish {
    product: ProductId,
    number: String,
    from: Date,
    to: Date,
}

impl Ask {
    /// The whole past where no days are named.
    fn wish(&self, today: Date) -> Option<Wish> {
        let (product, number) = self.batch.as_deref()?.split_once('.')?;
        Some(Wish {
            product: ProductId::parse(product).ok()?,
            number: number.to_owned(),
            from: self.from.as_deref().and_then(day::read).unwrap_or(Date::from_ordinal_date(2000, 1).unwrap_or(today)),
            to: self.to.as_deref().and_then(day::read).unwrap_or(today),
        })
    }
}

async fn find(c: &mut Connection, ctx: &Ctx, wish: &Wish) -> Result<(Vec<Touched>, usize), Fault> {
    let zone = &ctx.studio()?.zone;
    let until = zone.day_start(wish.to.next_day().unwrap_or(wish.to));
    Ok(trace::batch(c, &wish.product, &wish.number, zone.day_start(wish.from), until).await?)
}

async fn batches(c: &mut Connection) -> Stored<Vec<(String, String)>> {
    let products = catalogue::products(c).await?;
    let name = |id: &ProductId| products.iter().find(|one| one.id == *id).map_or("", |one| &one.name).to_owned();
    let all = catalogue::batches(c).await?;
    let mut all: Vec<_> = all
        .iter()
        .map(|batch| {
            let words = crate::tf("{product}, batch {number}");
            let words = words.with("product", name(&batch.product)).with("number", &batch.number);
            (format!("{}.{}", batch.product, batch.number), words.to_string())
        })
        .collect();
    all.sort_by(|a, b| a.1.cmp(&b.1));
    Ok(all)
}

/// Shows the form, and who is found.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(ask): Query<Ask>) -> Answer {
    let studio = ctx.studio()?.clone();
    let wish = ask.wish(studio.zone.date_at(app.clock.now()));
    let mut c = app.db.read().await?;
    let batches = batches(&mut c).await?;
    let (found, locked_away) = match &wish {
        Some(wish) => find(&mut c, &ctx, wish).await?,
        None => (Vec::new(), 0),
    };
    drop(c);
    if let Some(wish) = &wish {
        looked(&app, &team.0, "batch.traced", None, &format!("batch {}: {} lines", wish.number, found.len())).await?;
    }
    let mut mails: Vec<&str> = found.iter().map(|one| one.mail.as_str()).collect();
    mails.sort_unstable();
    mails.dedup();
    let mut clients: Vec<_> = found.iter().map(|one| &one.client).collect();
    clients.sort_unstable();
    clients.dedup();
    let (clients, mails) = (clients.len(), mails.join(", "));
    let query = wish.as_ref().map(|wish| {
        let pairs = [
            ("batch", format!("{}.{}", wish.product, wish.number)),
            ("from", wish.from.to_string()),
            ("to", wish.to.to_string()),
        ];
        serde_urlencoded::to_string(pairs).unwrap_or_default()
    });
    let page = TracePage {
        asked: wish.is_some(),
        batch: ask.batch.unwrap_or_default(),
        from: ask.from.unwrap_or_default(),
        to: ask.to.unwrap_or_default(),
        rows: found.iter().map(|one| row(one, &studio)).collect(),
        clients,
        locked_away,
        mails,
        subject: crate::tf("Please get in touch with {studio}").with("studio", &studio.name).to_string(),
        draft: draft(&studio.name, &studio.phone),
        query: query.unwrap_or_default(),
        batches,
        ctx,
    };
    Ok(Page::ok(page).into_response())
}

fn row(one: &Touched, studio: &crate::store::studio::Studio) -> Row {
    Row {
        client: one.client.to_string(),
        name: one.name.clone(),
        mail: one.mail.clone(),
        phone: one.phone.clone(),
        when: words::moment(studio.zone.to_civil(one.at)),
        what: if one.skin_test { crate::t("Skin test") } else { crate::t("Treatment") },
    }
}

/// Names no product and no treatment: a mail is read by others too.
fn draft(studio: &str, phone: &str) -> String {
    let touch = if phone.is_empty() {
        crate::t("Please get in touch by replying to this mail.").to_owned()
    } else {
        crate::tf("Please get in touch on {phone}.").with("phone", phone).to_string()
    };
    let draft = crate::tf(
        "Dear client,\n\nwe have a question about something that was used at one of your visits, and would like to talk to \
         you about it. {touch} If your eyes, lids or skin trouble you, please see a doctor, and tell us so that we can \
         give you the details to take along.\n\n{studio}",
    );
    draft.with("touch", touch).with("studio", studio).to_string()
}

/// Hands out the list.
pub async fn csv(State(app): State<App>, ctx: Ctx, team: Team, _proven: ProvenLook, Query(ask): Query<Ask>) -> Answer {
    let studio = ctx.studio()?.clone();
    let wish = ask.wish(studio.zone.date_at(app.clock.now())).ok_or(Fault::NotFound)?;
    let mut c = app.db.read().await?;
    let (found, _) = find(&mut c, &ctx, &wish).await?;
    drop(c);
    looked(&app, &team.0, "batch.exported", None, &format!("batch {}: {} lines", wish.number, found.len())).await?;
    let mut out = Vec::new();
    write_row(&mut out, ["client", "name", "mail", "phone", "when", "what", "batch"]);
    for one in &found {
        let row = Language::English.within(|| row(one, &studio));
        let cells: [&str; 7] = [&row.client, &row.name, &row.mail, &row.phone, &row.when, row.what, &wish.number];
        write_row(&mut out, cells);
    }
    Ok(page::csv("batch.csv", out))
}
