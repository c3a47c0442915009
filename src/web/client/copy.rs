//! `POST /me/data/copy`: makes a client's copy of her own data; `GET /me/data/copies/{id}/my-data.zip` fetches it.

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use time::OffsetDateTime;

use crate::actions::export::{self, BY_HERSELF, Order, Place, Why};
use crate::app::App;
use crate::documents::record::Scope;
use crate::domain::ids::{ClientId, ExportId};
use crate::domain::role::Actor;
use crate::domain::zone::Zone;
use crate::store::exports::{self, Export};
use crate::store::{Connection, Stored};
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::SignedIn;
use crate::web::limits::What;
use crate::web::owner::exports::{Made, made_in_time};
use crate::web::owner::package;
use crate::web::page::{Answer, see_other};
use crate::when;
use crate::{msg, t};

/// Why such a package is made.
const WHY: &str = msg("Her own copy (GDPR, art. 15 and 20)");

/// Whether a package is a copy that she made herself.
fn hers(made: &Export, client: &ClientId) -> bool {
    let of = serde_json::from_str(&made.scope);
    made.made_by == BY_HERSELF && matches!(of, Ok(Scope::Client { client: of }) if of == *client)
}

/// Where the copies are that she made and can still fetch, and to when.
pub(super) async fn kept(
    app: &App,
    c: &mut Connection,
    zone: &Zone,
    client: &ClientId,
) -> Stored<Vec<(String, String)>> {
    let now: OffsetDateTime = app.clock.now();
    let mut found = Vec::new();
    for id in exports::made_after(c, now - export::KEPT).await? {
        let made = exports::get(c, &id).await?.filter(|made| hers(made, client));
        if let Some(made) = made.filter(|made| export::kept(app, made, now).is_some()) {
            let until = when::moment(zone.to_civil(made.made_at + export::KEPT));
            found.push((format!("/me/data/copies/{id}/my-data.zip"), until));
        }
    }
    Ok(found)
}

/// Makes it.
pub async fn post(State(app): State<App>, who: SignedIn, _: Fields) -> Answer {
    app.limits.count(What::Export, who.0.as_str(), app.clock.now()).map_err(Fault::TooMany)?;
    let why = Why::parse(t(WHY)).map_err(Fault::internal)?;
    let scope = Scope::Client { client: who.0.clone() };
    let order = Order { scope, why, place: Place::Kept, passphrase: None };
    match made_in_time(&app, Actor::Client(who.0), order).await? {
        Made::Done | Made::Later => Ok(see_other("/me/data")),
        Made::Nobody => Err(Fault::NotFound),
    }
}

/// The file.
pub async fn get(State(app): State<App>, who: SignedIn, Path(id): Path<String>, asked: HeaderMap) -> Answer {
    let id = ExportId::parse(&id).map_err(|_| Fault::NotFound)?;
    let made = exports::get(&mut *app.db.read().await?, &id).await?;
    let made = made.filter(|made| hers(made, &who.0)).ok_or(Fault::NotFound)?;
    package::send(&app, &Actor::Client(who.0), &made, "my-data.zip", &asked).await
}
