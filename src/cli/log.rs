//! What the program writes down about itself: a line of JSON for each thing that happens.

use std::panic::PanicHookInfo;

use tracing::Subscriber;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::fmt::MakeWriter;

/// Takes the lines that `filter` lets through to `writer`.
pub fn lines<W>(filter: EnvFilter, writer: W) -> impl Subscriber + Send + Sync
where
    W: for<'a> MakeWriter<'a> + Send + Sync + 'static,
{
    tracing_subscriber::fmt().json().with_env_filter(filter).with_writer(writer).finish()
}

/// Where the program broke, and nothing of what it broke on: that may be somebody's health.
pub fn broke(info: &PanicHookInfo<'_>) {
    let place = info.location().map(ToString::to_string).unwrap_or_default();
    tracing::error!(place, "the program broke");
}
