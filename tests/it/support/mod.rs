//! A server of its own for each test, and people who use it as a browser does.
#![expect(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test may fail where it stands")]

pub(crate) mod app;
pub(crate) mod booking;
pub(crate) mod chair;
pub(crate) mod device;
pub(crate) mod hostile;
pub(crate) mod html;
pub(crate) mod person;
pub(crate) mod phone;
pub(crate) mod studio;

pub(crate) use app::TestApp;
pub(crate) use html::Html;
pub(crate) use person::Person;
pub(crate) use studio::Studio;

/// An id that nothing has.
pub(crate) const NOBODY: &str = "aaaaaaaaaaaaaaaaaaaaaaaaaa";

/// A route's pattern with these in the place of its parts, and what nothing has in the place of the others.
pub(crate) fn address(pattern: &str, known: &[(&str, &str)]) -> String {
    let parts = pattern.split('/').map(|part| match part.strip_prefix('{').and_then(|part| part.strip_suffix('}')) {
        Some("n") if !known.iter().any(|(name, _)| *name == "n") => "1",
        Some(name) => known.iter().find(|(other, _)| *other == name).map_or(NOBODY, |(_, value)| value),
        None => part,
    });
    parts.collect::<Vec<_>>().join("/")
}
