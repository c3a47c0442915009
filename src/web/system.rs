//! `GET /healthz` and the browser's own request for an icon.

use axum::extract::State;
use axum::response::{IntoResponse, Response};

use crate::app::App;
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::page::see_other;

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
