//! How much a request may send, and how long it may take.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::routing::MethodRouter;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::timeout::{RequestBodyDeadlineLayer, TimeoutLayer};

use crate::app::App;

/// The room that a route gives a request.
pub(super) struct Room {
    /// The largest body, in bytes.
    bytes: usize,
    /// How long a request may take in all, and how long its body may take to arrive.
    patience: Duration,
}

impl Room {
    /// For a form.
    pub(super) const FORM: Self = Self { bytes: 64 * 1024, patience: Duration::from_secs(30) };
    /// For a form with a photo or a letter over a slow line. Somewhat more than is taken, so that a file which is too large
    /// is refused in words at its field.
    pub(super) const UPLOAD: Self = Self { bytes: 40 * 1024 * 1024, patience: Duration::from_secs(5 * 60) };
    /// For a package that comes over a slow line.
    pub(super) const PACKAGE: Self = Self { bytes: 512 * 1024 * 1024, patience: Duration::from_secs(15 * 60) };

    pub(super) fn around(&self, handler: MethodRouter<App>) -> MethodRouter<App> {
        handler
            .layer::<_, Infallible>(DefaultBodyLimit::max(self.bytes))
            .layer::<_, Infallible>(RequestBodyLimitLayer::new(self.bytes))
            .layer::<_, Infallible>(RequestBodyDeadlineLayer::new(self.patience))
            .layer::<_, Infallible>(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, self.patience))
    }
}
