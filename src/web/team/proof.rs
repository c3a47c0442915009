//! A password, a code or a passkey once more before something grave, when the last one was given long ago: [`Proven`] for forms,
//! `GET` and `POST /team/prove` for looks. Template: `team/prove.html`.

use std::sync::Arc;

use askama::Template;
use axum::extract::{FromRequest, FromRequestParts, Query, Request, State};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::passkey::Button;
use crate::actions::sign_in::{self, Shown, Taken};
use crate::app::App;
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session::{Door, Seen};
use crate::web::words;

/// The field of a password or a code that is given once more.
const FIELD: &str = "proof";

/// The field of what her browser answered with a passkey in its place.
const PASSKEY: &str = "proof_passkey";

/// The field that names what was typed and isn't kept: a password or a passphrase, which no page shows.
pub(in crate::web) const LEFT_OUT: &str = "left_out";

#[derive(Template)]
#[template(path = "team/prove.html")]
struct ProofPage {
    ctx: Ctx,
    errors: Errors,
    /// Where the form goes.
    action: String,
    /// What was typed into the form that had to wait, and goes along.
    kept: Vec<(String, String)>,
    passkey: Option<Button>,
}

/// The fields of a form for something grave. When her last proof is older than [`crate::domain::role::Stay::PROOF`], she
/// is asked for one, with what she typed kept, and sent on to the same place.
pub struct Proven(pub Fields);

impl FromRequest<App> for Proven {
    type Rejection = Response;

    async fn from_request(request: Request, app: &App) -> Result<Self, Response> {
        let action = request.uri().path_and_query().map(|path| path.as_str().to_owned()).unwrap_or_default();
        let Some(seen) = request.extensions().get::<Arc<Seen>>().cloned() else {
            return Err(Fault::internal("no session layer").into_response());
        };
        let fields = Fields::from_request(request, app).await.map_err(IntoResponse::into_response)?;
        Self::of(app, seen, action, fields).await
    }
}

impl Proven {
    /// The same for a form that asks only sometimes; `action` is where it goes.
    ///
    /// # Errors
    /// The page that asks for a proof.
    pub async fn of(app: &App, seen: Arc<Seen>, action: String, fields: Fields) -> Result<Self, Response> {
        let Some(door) = seen.door.clone().filter(|door| door.first().is_none()) else {
            return Err(Fault::Forbidden.into_response());
        };
        let mut errors = Errors::new();
        if door.proved || proves(app, &door, &fields, &mut errors).await.map_err(IntoResponse::into_response)? {
            return Ok(Self(fields.without(FIELD).without(PASSKEY)));
        }
        let (secret, mut kept): (Vec<_>, Vec<_>) = fields
            .pairs()
            .into_iter()
            .filter(|(name, _)| name != FIELD && name != PASSKEY)
            .partition(|(name, _)| name.contains("password") || name.contains("passphrase"));
        if let Some((name, _)) = secret.into_iter().find(|(_, typed)| !typed.is_empty()) {
            kept.push((LEFT_OUT.to_owned(), name));
        }
        let passkey = Button::of(app, &door.member).await.map_err(IntoResponse::into_response)?;
        let page = ProofPage { ctx: Ctx::new(seen), errors, action, kept, passkey };
        Err(Page::refused(page).into_response())
    }
}

async fn proves(app: &App, door: &Door, fields: &Fields, errors: &mut Errors) -> Result<bool, Fault> {
    let shown = match (fields.get(FIELD), fields.get(PASSKEY)) {
        ("", "") => return Ok(false),
        (typed, "") => Shown::Typed(typed),
        (_, answer) => Shown::Passkey(answer),
    };
    app.limits.count(What::Proof, &sha256_hex(&door.token), app.clock.now()).map_err(Fault::TooMany)?;
    let taken = sign_in::prove(app, &door.member, &door.token, shown).await?;
    match (taken, shown) {
        (Taken::Yes, _) => return Ok(true),
        (Taken::Copied, _) => errors.add(FIELD, words::copied_passkey()),
        (Taken::No, Shown::Typed(_)) => {
            errors.add(FIELD, t("That is neither your password nor a code that is still good."));
        }
        (Taken::No, Shown::Passkey(_)) => {
            errors.add(FIELD, t("That passkey wasn’t taken. Try again, or give your password."));
        }
    }
    Ok(false)
}

/// Only for those whose last proof is fresh; others give one and come back.
pub struct ProvenLook;

impl FromRequestParts<App> for ProvenLook {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Fault> {
        let door = Door::from_request_parts(parts, app).await?;
        let here = parts.uri.path_and_query().map_or_else(|| parts.uri.path(), |here| here.as_str());
        if door.proved { Ok(Self) } else { Err(Fault::SeeOther(asking(here))) }
    }
}

/// Where somebody gives a proof who was going there.
fn asking(there: &str) -> String {
    format!("/team/prove?next={}", there.replace('%', "%25").replace('&', "%26").replace('+', "%2B"))
}

/// Where she was going.
#[derive(Deserialize)]
pub struct Going {
    #[serde(default)]
    next: String,
}

impl Going {
    /// A path of ours, and nothing that a browser could take for another site.
    fn path(&self) -> &str {
        let plain = |b: u8| b.is_ascii_alphanumeric() || b"/-_.".contains(&b);
        let (path, query) = self.next.split_once('?').unwrap_or((&self.next, ""));
        let ours = path.starts_with('/') && !path.starts_with("//") && path.bytes().all(plain);
        let ours = ours && query.bytes().all(|b| plain(b) || b"=&%+*".contains(&b));
        if ours { &self.next } else { "/desk" }
    }

    async fn page(&self, app: &App, ctx: Ctx, door: &Door, errors: Errors) -> Result<ProofPage, Fault> {
        let (action, passkey) = (asking(self.path()), Button::of(app, &door.member).await?);
        Ok(ProofPage { ctx, errors, action, kept: Vec::new(), passkey })
    }
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, door: Door, Query(going): Query<Going>) -> Answer {
    Ok(Page::ok(going.page(&app, ctx, &door, Errors::new()).await?).into_response())
}

/// Takes the proof and goes on.
pub async fn post(State(app): State<App>, ctx: Ctx, door: Door, Query(going): Query<Going>, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    if proves(&app, &door, &fields, &mut errors).await? {
        return Ok(see_other(going.path()));
    }
    if errors.is_empty() {
        errors.add(FIELD, t(words::MISSING));
    }
    Ok(Page::refused(going.page(&app, ctx, &door, errors).await?).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_on_never_leaves_the_site() {
        let to = |next: &str| Going { next: next.to_owned() }.path().to_owned();
        for ours in ["/owner/exports/aaaa/package.zip", "/owner/retouch/list.csv?q=S%C3%B8n+%26&free=yes"] {
            assert_eq!(to(ours), ours);
        }
        for odd in [
            "",
            "desk",
            "//evil.example.org",
            "/\\evil.example.org",
            "https://evil.example.org",
            "/a?b?",
            "/\n",
            "/%2f",
        ] {
            assert_eq!(to(odd), "/desk", "{odd}");
        }
    }
}
