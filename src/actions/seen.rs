//! How saving a form ends that may have been filled from what somebody else has changed meanwhile.

use serde::Serialize;

use crate::domain::mark::Mark;

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

/// Whether something else is stored now than what a form was filled from. The program itself has seen no form.
pub(super) fn overtaken(seen: Option<&Mark>, stored: &impl Serialize) -> bool {
    seen.is_some_and(|seen| seen.holds(&Mark::of(stored)).is_err())
}
