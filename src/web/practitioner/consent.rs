//! `GET /desk/clients/{id}/consents/{consent}`: the exact text that was signed. Template: `practitioner/consent.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::view::Names;
use crate::actions::{health as looks, treating};
use crate::app::App;
use crate::domain::consent::{ConsentRecord, ConsentText, Drawing, Signed};
use crate::domain::ids::{ClientId, ConsentId};
use crate::store::{clients, health};
use crate::web::error::Fault;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "practitioner/consent.html")]
struct ConsentPage {
    ctx: Ctx,
    who: String,
    client: ClientId,
    at: String,
    withdrawn: String,
    text: ConsentText,
    signed: Box<Signed>,
    products: String,
    drawings: Vec<(String, String)>,
}

impl ConsentPage {
    fn ticked(&self, tick: &crate::domain::consent::Tick) -> bool {
        self.signed.ticks.contains(tick)
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path((id, consent)): Path<(String, String)>) -> Answer {
    let id = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let consent = ConsentId::parse(&consent).map_err(|_| Fault::NotFound)?;
    let mut c = app.db.read().await?;
    if !treating::may_see(&mut c, &team.0, &id).await? {
        return Err(Fault::NotFound);
    }
    let client = clients::get(&mut c, &id).await?.ok_or(Fault::NotFound)?;
    let stored = health::consents(&mut c, &id).await?.into_iter().find(|one| one.id == consent);
    let stored = stored.ok_or(Fault::NotFound)?;
    let text = health::consent_text(&mut c, stored.text_version).await?;
    let names = Names::load(&mut c, ctx.studio()?).await?;
    drop(c);
    looks::looked(&app, &team.0, "consent.seen", Some(&id), consent.as_str()).await?;
    let ConsentRecord::Signed(signed) = stored.record else { return Err(Fault::NotFound) };
    let who = client.name.as_str().to_owned();
    Ok(Page::ok(page(ctx, who, id, text, signed, &names)).into_response())
}

fn page(ctx: Ctx, who: String, client: ClientId, text: ConsentText, signed: Box<Signed>, names: &Names) -> ConsentPage {
    let products: Vec<&str> = signed.subject.products.iter().map(|id| names.product(id)).collect();
    let own = signed.drawing.as_ref().map(|drawing| (signed.name.as_str().to_owned(), path(drawing)));
    let guardian = signed.guardian.as_ref();
    let theirs = guardian.and_then(|g| g.drawing.as_ref().map(|drawing| (g.name.as_str().to_owned(), path(drawing))));
    ConsentPage {
        at: names.moment(signed.at),
        withdrawn: signed.withdrawn_at.map_or_else(String::new, |at| names.moment(at)),
        products: products.join(", "),
        drawings: own.into_iter().chain(theirs).collect(),
        ctx,
        who,
        client,
        text,
        signed,
    }
}

/// A drawn signature as the data of an SVG path.
fn path(drawing: &Drawing) -> String {
    let mut data = String::new();
    for stroke in drawing.strokes() {
        for (index, point) in stroke.iter().enumerate() {
            let command = if index == 0 { 'M' } else { 'L' };
            data.push_str(&format!("{command}{} {}", point.x, point.y));
        }
    }
    data
}
