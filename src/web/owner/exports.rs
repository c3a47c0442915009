//! `GET` and `POST /owner/exports`: records for the insurer, and who took which before. Template: `owner/exports.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::in_time;
use crate::actions::export::{self, ExportError, Order, Passphrase, Place, Why, WhyRefused, Work};
use crate::app::App;
use crate::documents::record::Scope;
use crate::domain::ids::ClientId;
use crate::domain::role::Actor;
use crate::store::clients;
use crate::store::exports::{self, Export};
use crate::studio_key::StudioKey;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::team::proof::{LEFT_OUT, Proven};
use crate::web::words;
use crate::when;

/// Earlier exports on the page.
const LISTED: i64 = 200;
/// Clients to choose from; a search leads to the others.
const CHOICE: i64 = 200;

struct Earlier {
    when: String,
    who: String,
    why: String,
    scope: String,
    clients: u64,
    size: String,
    encrypted: bool,
    sha256: String,
    manifest: String,
    href: Option<String>,
}

#[derive(Template)]
#[template(path = "owner/exports.html")]
struct ExportsPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    search: String,
    clients: Vec<(ClientId, String)>,
    more: bool,
    earlier: Vec<Earlier>,
    /// Those that are being made: who wants it, since when, and how far it is.
    under_way: Vec<(String, String, String)>,
    /// How many records are locked away, and so in no package of several.
    locked_away: u64,
    /// The public half of the studio's key, once it has one.
    key: Option<String>,
}

/// What the address says.
#[derive(Deserialize)]
pub struct Asked {
    /// Part of a client's name or mail.
    #[serde(default)]
    q: String,
    /// What has just been done.
    #[serde(default)]
    said: String,
}

impl ExportsPage {
    async fn new(app: &App, ctx: Ctx, search: &str, fields: Fields, errors: Errors) -> Result<Self, Fault> {
        let mut c = app.db.read().await?;
        let mut found = clients::search(&mut c, search.trim(), CHOICE + 1).await?;
        let more = i64::try_from(found.len()).is_ok_and(|count| count > CHOICE);
        found.truncate(usize::try_from(CHOICE).unwrap_or(usize::MAX));
        let zone = ctx.studio()?.zone.clone();
        let now = app.clock.now();
        let mut earlier = Vec::new();
        for made in exports::list(&mut c, LISTED).await? {
            earlier.push(Earlier {
                when: when::moment(zone.to_civil(made.made_at)),
                scope: scope_in_words(&mut c, &made).await?,
                href: export::kept(app, &made, now).map(|_| format!("/owner/exports/{}/package.zip", made.id)),
                size: size(made.bytes),
                encrypted: made.encrypted,
                who: export::maker(&made.made_by).to_owned(),
                why: made.why,
                clients: made.clients,
                sha256: made.sha256,
                manifest: made.manifest_sha256,
            });
        }
        let locked_away = exports::locked_away(&mut c, None).await?;
        let clients = found.into_iter().map(|client| {
            let label = format!("{}, {}", client.name.as_str(), client.mail.as_str());
            (client.id, label)
        });
        let key = StudioKey::load(app.db.folder()).map_err(Fault::internal)?.map(|key| key.public().to_string());
        let under_way = app.exports.list().into_iter().map(|work| {
            let since = when::moment(zone.to_civil(work.began_at));
            (export::maker(&work.made_by).to_owned(), since, how_far(&work))
        });
        let under_way = under_way.collect();
        Ok(Self {
            key,
            locked_away,
            under_way,
            clients: clients.collect(),
            ctx,
            fields,
            errors,
            search: search.to_owned(),
            more,
            earlier,
        })
    }
}

async fn scope_in_words(c: &mut crate::store::Connection, made: &Export) -> Result<String, Fault> {
    Ok(match serde_json::from_str(&made.scope).map_err(Fault::internal)? {
        Scope::Client { client } => match clients::get(c, &client).await? {
            Some(client) => client.name.as_str().to_owned(),
            None => crate::t("A client who is no longer here").to_owned(),
        },
        Scope::Days { from, to } => {
            let words = crate::tf("Visits from {from} to {to}");
            words.with("from", when::day(from)).with("to", when::day(to)).to_string()
        }
        Scope::Everyone => crate::t("Everybody").to_owned(),
    })
}

fn how_far(work: &Work) -> String {
    match work.clients {
        None => crate::t("Waits until the one before it is made").to_owned(),
        Some((_, 1)) => crate::t("1 client").to_owned(),
        Some((done, of)) if done < of => {
            crate::tf("{done} of {all} clients").with("done", grouped(done)).with("all", grouped(of)).to_string()
        }
        Some((_, of)) => crate::tf("All {all} clients are in it; their files and the checksums follow")
            .with("all", grouped(of))
            .to_string(),
    }
}

/// A number with its thousands set apart, by the mark that the language has for it.
fn grouped(number: usize) -> String {
    let digits = number.to_string();
    let parts: Vec<&str> =
        digits.as_bytes().rchunks(3).rev().filter_map(|part| std::str::from_utf8(part).ok()).collect();
    parts.join(crate::tc("mark of thousands", ","))
}

pub(super) fn size(bytes: u64) -> String {
    match bytes {
        0..1_000_000 => format!("{} kB", bytes.div_ceil(1000)),
        _ => {
            let plain = format!("{}.{} MB", bytes / 1_000_000, bytes % 1_000_000 / 100_000);
            words::decimal(&plain)
        }
    }
}

/// Shows the form and the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Query(asked): Query<Asked>) -> Answer {
    let said = match asked.said.as_str() {
        "made" => Some(crate::t("The package is made. It can be fetched for 24 hours.")),
        "later" => Some(crate::t("The package is large and still being made. How far it is stands below.")),
        _ => None,
    };
    let page = ExportsPage::new(&app, ctx.saying(said), &asked.q, Fields::default(), Errors::new()).await?;
    Ok(Page::ok(page).into_response())
}

fn read(fields: &Fields) -> Result<Order, Errors> {
    let mut errors = Errors::new();
    let why = errors.take("why", Why::parse(fields.get("why")), |refusal| match refusal {
        WhyRefused::Missing => crate::t("Write down why: who asked for the records, and for what.").to_owned(),
        WhyRefused::TooLong => {
            crate::tf("That is longer than {most} characters. A shorter form does.").with("most", Why::MOST).to_string()
        }
        WhyRefused::Control => {
            crate::t("There is a character in it that can't be written. Please type it again.").to_owned()
        }
    });
    let scope = match fields.get("scope") {
        "client" => {
            let client = errors.take("client", ClientId::parse(fields.get("client")), |_| words::CHOOSE.to_owned());
            client.map(|client| Scope::Client { client })
        }
        "days" => days(fields, &mut errors),
        "everyone" => Some(Scope::Everyone),
        _ => {
            errors.add("scope", words::CHOOSE);
            None
        }
    };
    let passphrase = passphrase(fields, &mut errors);
    let (scope, why) = scope.zip(why).filter(|_| errors.is_empty()).ok_or(errors)?;
    Ok(Order { scope, why, place: Place::Kept, passphrase })
}

/// The passphrase, where one is wanted. One that was left out on the way over a proof must not end in an open package.
fn passphrase(fields: &Fields, errors: &mut Errors) -> Option<Passphrase> {
    let (typed, again) = (fields.get("passphrase"), fields.get("passphrase_again"));
    if typed.is_empty() && again.is_empty() {
        if !fields.get(LEFT_OUT).is_empty() {
            errors.add(
                "passphrase",
                crate::t("A passphrase isn’t kept meanwhile. Type it again, or leave it empty for an open package."),
            );
        }
        return None;
    }
    let taken = errors.take("passphrase", export::passphrase(typed.to_owned()), words::password);
    if taken.is_some() && typed != again {
        errors.add("passphrase_again", crate::t("The two are not the same. Type both again."));
    }
    taken
}

fn days(fields: &Fields, errors: &mut Errors) -> Option<Scope> {
    let (from, to) = (day::field(errors, fields, "from"), day::field(errors, fields, "to"));
    let (from, to) = from.zip(to)?;
    if from > to {
        errors.add("to", crate::t("The last day is before the first."));
    }
    Some(Scope::Days { from, to })
}

/// Makes a package.
pub async fn post(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Query(asked): Query<Asked>,
    Proven(fields): Proven,
) -> Answer {
    let order = match read(&fields) {
        Ok(order) => order,
        Err(errors) => {
            return Ok(Page::refused(ExportsPage::new(&app, ctx, &asked.q, fields, errors).await?).into_response());
        }
    };
    let now = app.clock.now();
    app.limits.count(What::Export, team.0.account.as_str(), now).map_err(Fault::TooMany)?;
    let field = if matches!(order.scope, Scope::Client { .. }) { "client" } else { "from" };
    match made_in_time(&app, team.actor(), order).await? {
        Made::Done => Ok(see_other("/owner/exports?said=made")),
        Made::Later => Ok(see_other("/owner/exports?said=later")),
        Made::Nobody => {
            let mut errors = Errors::new();
            errors.add(field, crate::t("There is nobody to export: no such client, or no visit on these days."));
            Ok(Page::refused(ExportsPage::new(&app, ctx, &asked.q, fields, errors).await?).into_response())
        }
    }
}

/// How far it came while the page waited.
pub(in crate::web) enum Made {
    /// It is made.
    Done,
    /// It takes longer.
    Later,
    /// There is nobody in it.
    Nobody,
}

/// The work goes on when the browser has gone, and when it takes longer than a page may.
pub(in crate::web) async fn made_in_time(app: &App, actor: Actor, order: Order) -> Result<Made, Fault> {
    let app = app.clone();
    let made = in_time("an export", async move { export::make(&app, &actor, order).await }).await?;
    match made {
        None => Ok(Made::Later),
        Some(Ok(_)) => Ok(Made::Done),
        Some(Err(ExportError::Nobody)) => Ok(Made::Nobody),
        Some(Err(ExportError::Store(error))) => Err(error.into()),
        Some(Err(error)) => {
            tracing::error!(%error, "an export was not made");
            Err(Fault::Unavailable)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::grouped;

    #[test]
    fn thousands_are_set_apart() {
        for (number, words) in [(0, "0"), (312, "312"), (1904, "1,904"), (12_003, "12,003"), (1_000_000, "1,000,000")] {
            assert_eq!(grouped(number), words);
        }
    }
}
