//! What a form was filled from, so that a change which somebody else made meanwhile is noticed when the form comes back.

use std::fmt::Debug;

use crate::domain::fingerprint::Fingerprint;

/// How saving what a form brought ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Saved<T = ()> {
    /// It is saved.
    Done(T),
    /// There is nothing of that id.
    Unknown,
    /// What the form was filled from has changed meanwhile: nothing is saved.
    Overtaken,
}

/// A sign of what a form shows: another one as soon as any of it is another.
pub fn sign_of(shown: &impl Debug) -> String {
    Fingerprint::of(format!("{shown:?}").as_bytes()).to_string()
}

/// Whether something else is stored now than what a form was filled from. The program itself has seen no form.
pub(super) fn overtaken(seen: Option<&str>, stored: &impl Debug) -> bool {
    seen.is_some_and(|seen| seen != sign_of(stored))
}
