//! `GET /healthz`, `GET /.well-known/security.txt` and the browser's own request for an icon.

use axum::extract::State;
use axum::response::{IntoResponse, Response};
use time::Duration;

use crate::app::App;
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::page::{Ctx, see_other};

/// Whether the server answers and its file can be read. Says no more than that.
pub async fn health(State(app): State<App>) -> Result<Response, Fault> {
    let mut c = app.db.read().await?;
    crate::store::accounts::has_owner(&mut c).await?;
    Ok("ok\n".into_response())
}

/// `GET /favicon.ico`
pub async fn icon() -> Response {
    see_other(&assets::href("icon.svg"))
}

/// How long what `security.txt` says holds from the day it is asked for; RFC 9116, 2.5.5 advises less than a year.
const SECURITY_HOLDS: Duration = Duration::days(180);

/// `GET /.well-known/security.txt` (RFC 9116): whom to tell of a weakness. Nothing there until the studio has a mail or a
/// phone, since the one field that must be there would be missing.
pub async fn security(State(app): State<App>, ctx: Ctx) -> Result<Response, Fault> {
    let contact = match (ctx.help_mail.as_str(), ctx.help_phone.as_str()) {
        ("", "") => return Err(Fault::NotFound),
        ("", phone) => format!("tel:{}", phone.chars().filter(|c| !c.is_whitespace()).collect::<String>()),
        (mail, _) => format!("mailto:{mail}"),
    };
    let expires = (app.clock.now() + SECURITY_HOLDS).date();
    let here = &app.address.base_url;
    let text = format!(
        "Contact: {contact}\nExpires: {expires}T00:00:00Z\nPreferred-Languages: {}\nCanonical: {here}/.well-known/security.txt\n",
        ctx.lang
    );
    Ok(text.into_response())
}
