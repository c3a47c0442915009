//! Pages: a request comes in, a page or a redirect goes out.
//!
//! [`routes`] lists every route with who may call it. A handler reads through [`crate::store`] or calls one
//! function of [`crate::actions`]; its page struct stands beside it, its template under the mirrored path.

use std::any::Any;

use axum::Router;
use axum::http::{HeaderName, HeaderValue, Request, StatusCode};
use axum::response::{IntoResponse, Response};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, NotForContentType, Predicate};
use tower_http::csrf::CsrfLayer;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::trace::TraceLayer;

use crate::app::App;
use crate::web::error::Refusal;

pub mod assets;
pub mod client;
mod day;
mod deeds;
pub mod error;
pub mod face;
pub mod files;
pub mod form;
pub mod guard;
mod hurried;
pub mod letters;
pub mod limits;
pub mod owner;
pub mod page;
pub mod practitioner;
pub mod public;
mod room;
pub mod routes;
pub mod server;
pub mod session;
pub mod sign_ins;
mod signing;
pub mod system;
pub mod team;
pub mod why;
pub mod words;

const HEADERS: [(&str, &str); 8] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; \
         manifest-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    // Not no-referrer: browsers would then send `Origin: null` with our own forms.
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(self), microphone=(), geolocation=()"),
    ("x-robots-tag", "noindex"),
    ("x-frame-options", "DENY"),
];

/// The whole of the web side.
pub fn router(app: App) -> Router {
    let routes = routes::build(&app).fallback(error::not_found).method_not_allowed_fallback(error::wrong_method);
    dressed(app, routes)
}

/// What becomes of a handler that breaks. The words it broke with are told nowhere: they may hold what it broke on.
fn broken(_: Box<dyn Any + Send>) -> Response {
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}

/// Routes with all that goes around them: who asks, the headers, the log, and what happens when a handler breaks.
pub fn dressed(app: App, routes: Router) -> Router {
    // The inner one gives a broken handler its page; the outer one catches what breaks around it.
    let mut router = routes
        .layer(CatchPanicLayer::custom(broken))
        .layer(axum::middleware::from_fn_with_state(app.clone(), session::see))
        .layer(CsrfLayer::new())
        .layer(CatchPanicLayer::custom(broken));
    for (name, value) in HEADERS {
        router = router.layer(SetResponseHeaderLayer::if_not_present(
            HeaderName::from_static(name),
            HeaderValue::from_static(value),
        ));
    }
    if app.address.https {
        router = router.layer(SetResponseHeaderLayer::overriding(
            HeaderName::from_static("strict-transport-security"),
            HeaderValue::from_static("max-age=63072000"),
        ));
    }
    let trace = TraceLayer::new_for_http()
        .make_span_with(|request: &Request<axum::body::Body>| {
            let id = request.extensions().get::<session::RequestId>().map(|id| id.0.clone()).unwrap_or_default();
            // The route's pattern, never the path: paths hold ids and the tokens of links.
            let route =
                request.extensions().get::<axum::extract::MatchedPath>().map_or("-", |path| path.as_str()).to_owned();
            let who = tracing::field::Empty;
            tracing::info_span!("request", id, method = %request.method(), route, who)
        })
        .on_request(())
        .on_response(|response: &Response, took: std::time::Duration, _: &tracing::Span| {
            let (status, ms) = (response.status().as_u16(), u64::try_from(took.as_millis()).unwrap_or(u64::MAX));
            match Refusal::of(response) {
                Some(why) => tracing::warn!(status, ms, why = why.as_str(), "refused"),
                None => tracing::info!(status, ms, "answered"),
            }
        })
        .on_failure(());
    router
        .layer(trace)
        .layer(
            CompressionLayer::new()
                .compress_when(DefaultPredicate::new().and(NotForContentType::new("application/zip"))),
        )
        .layer(axum::middleware::from_fn_with_state(app, session::name_request))
}
