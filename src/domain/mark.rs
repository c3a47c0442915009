//! What a form showed when it was opened, as a short text that it carries: what is written is written over what was read.

use serde::Serialize;

use super::fingerprint::Fingerprint;

/// The short text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark(String);

/// What a form showed stands no longer so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("it is no longer as it was shown")]
pub struct Changed;

impl Mark {
    /// Of what is shown. What can't be written has a mark that never holds.
    pub fn of(shown: &impl Serialize) -> Self {
        let text = serde_json::to_string(shown).ok();
        Self(
            text.map_or_else(String::new, |text| {
                Fingerprint::of(text.as_bytes()).to_string().chars().take(16).collect()
            }),
        )
    }

    /// As a form sent it.
    pub fn sent(text: &str) -> Self {
        Self(text.to_owned())
    }

    /// As a form carries it.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether what was shown still stands.
    ///
    /// # Errors
    /// [`Changed`]
    pub fn holds(&self, now: &Self) -> Result<(), Changed> {
        if self == now && !now.0.is_empty() { Ok(()) } else { Err(Changed) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_is_of_what_is_shown_alone() {
        let shown = Mark::of(&("rosacea", 3));
        assert_eq!(shown.as_str().len(), 16);
        assert_eq!(Mark::sent(shown.as_str()).holds(&Mark::of(&("rosacea", 3))), Ok(()));
        assert_eq!(shown.holds(&Mark::of(&("rosacea", 4))), Err(Changed));
        assert_eq!(Mark::sent("").holds(&shown), Err(Changed));
        let unwritten = Mark::of(&std::collections::BTreeMap::from([((1, 2), 3)]));
        assert_eq!(unwritten.holds(&unwritten), Err(Changed), "no such key can be written as JSON");
    }
}
