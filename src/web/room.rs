//! How much a request may send, and how long it may take.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::routing::MethodRouter;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::timeout::{RequestBodyDeadlineLayer, TimeoutLayer};

use crate::app::App;
use crate::web::server::Patience;

/// The room that a route gives a request.
pub(super) struct Room {
    /// The largest body, in bytes.
    bytes: usize,
    /// How long a request may take in all, and how long its body may take to arrive.
    patience: fn(&Patience) -> Duration,
}

impl Room {
    /// For a form.
    pub(super) const FORM: Self = Self { bytes: 64 * 1024, patience: |patience| patience.form };
    /// For a form with a photo or a letter over a slow line. Somewhat more than is taken, so that a file which is too large
    /// is refused in words at its field.
    pub(super) const UPLOAD: Self = Self { bytes: 40 * 1024 * 1024, patience: |patience| patience.upload };
    /// For a package that comes over a slow line.
    pub(super) const PACKAGE: Self = Self { bytes: 512 * 1024 * 1024, patience: |patience| patience.file };

    pub(super) fn around(&self, handler: MethodRouter<App>, patience: &Patience) -> MethodRouter<App> {
        let patience = (self.patience)(patience);
        handler
            .layer::<_, Infallible>(DefaultBodyLimit::max(self.bytes))
            .layer::<_, Infallible>(RequestBodyLimitLayer::new(self.bytes))
            .layer::<_, Infallible>(RequestBodyDeadlineLayer::new(patience))
            .layer::<_, Infallible>(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, patience))
    }
}
