//! What has changed between two verdicts on one visit.

use super::Readiness;
use crate::domain::verdict::{Reason, Verdict};

impl Readiness {
    /// Whether both rest on the same; days that merely move on are no change.
    pub fn says_the_same_as(&self, other: &Self) -> bool {
        let keys = |readiness: &Self| {
            let key = |one: &Reason| (one.rule.clone(), format!("{:?}", one.start), one.verdict);
            let mut keys: Vec<_> = readiness.reasons.iter().map(key).collect();
            keys.sort();
            keys
        };
        keys(self) == keys(other)
    }

    /// What stands against the visit now and did not in an earlier verdict, or not as much: only what somebody has to do
    /// something about.
    pub fn against_since<'a>(&'a self, earlier: &'a Self) -> impl Iterator<Item = &'a Reason> {
        let known = |reason: &Reason| {
            let same = |old: &Reason| old.rule == reason.rule && old.about == reason.about;
            earlier.reasons.iter().any(|old| same(old) && old.verdict >= reason.verdict)
        };
        self.reasons.iter().filter(move |reason| reason.verdict >= Verdict::Ask && !known(reason))
    }
}
