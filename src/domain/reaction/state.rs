//! The life of a reaction report as one state machine.
//!
//! ```text
//! reported ─ ask again ─> followed up ─ settle ─> settled
//!     └─ settle (expected only) ──────────────────┘  └─ reopen ─> reported
//! ```
//! It is asked again while open; somebody is told, or a photo added, at any time. A level rises, and never falls.

use super::Level;

/// Where a report stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum State {
    /// It was written down, and nobody has asked again.
    Reported,
    /// Somebody asked again.
    FollowedUp,
    /// It is over, with its outcome.
    Settled,
}

/// What happens to a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Event {
    /// The client is asked again, or tells more.
    AskAgain,
    /// Supplier, insurer, doctor or authority are told.
    Tell,
    /// It is over.
    Settle,
    /// It came back, or was not over.
    Reopen,
}

/// Why an event does not fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EventRefused {
    /// The state does not allow it.
    #[error("the report's state does not allow that")]
    State {
        /// Where the report stands.
        state: State,
        /// What was asked.
        event: Event,
    },
    /// Nobody has asked again how it is: from mild on that comes first.
    #[error("ask again before it is settled")]
    AskFirst,
    /// A level never falls.
    #[error("the level can't fall below {0}")]
    Falls(Level),
}

impl State {
    /// Every state.
    pub const ALL: [Self; 3] = [Self::Reported, Self::FollowedUp, Self::Settled];

    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Reported => "reported",
            Self::FollowedUp => "followed_up",
            Self::Settled => "settled",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.as_str() == word)
    }

    /// Whether it is not over.
    pub fn is_open(self) -> bool {
        self != Self::Settled
    }

    /// The client is asked again, and it is now as grave as `to`.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn ask_again(self, from: Level, to: Level) -> Result<Self, EventRefused> {
        match self {
            Self::Settled => Err(EventRefused::State { state: self, event: Event::AskAgain }),
            Self::Reported | Self::FollowedUp if to < from => Err(EventRefused::Falls(from)),
            Self::Reported | Self::FollowedUp => Ok(Self::FollowedUp),
        }
    }

    /// Somebody is told; the state stays.
    ///
    /// # Errors
    /// Never: also after it was settled.
    pub fn tell(self) -> Result<Self, EventRefused> {
        Ok(self)
    }

    /// It is over.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn settle(self, level: Level) -> Result<Self, EventRefused> {
        match self {
            Self::Settled => Err(EventRefused::State { state: self, event: Event::Settle }),
            Self::Reported if level > Level::Expected => Err(EventRefused::AskFirst),
            Self::Reported | Self::FollowedUp => Ok(Self::Settled),
        }
    }

    /// It is not over after all.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn reopen(self) -> Result<Self, EventRefused> {
        match self {
            Self::Settled => Ok(Self::Reported),
            Self::Reported | Self::FollowedUp => Err(EventRefused::State { state: self, event: Event::Reopen }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::State::{FollowedUp, Reported, Settled};
    use super::*;

    #[test]
    fn each_event_in_each_state_at_each_level() {
        for level in Level::ALL {
            for state in State::ALL {
                let refused = |event| Err(EventRefused::State { state, event });
                let open = state != Settled;
                let asked = if open { Ok(FollowedUp) } else { refused(Event::AskAgain) };
                assert_eq!(state.ask_again(level, level), asked);
                assert_eq!(state.tell(), Ok(state));
                let settled = match state {
                    Settled => refused(Event::Settle),
                    Reported if level > Level::Expected => Err(EventRefused::AskFirst),
                    Reported | FollowedUp => Ok(Settled),
                };
                assert_eq!(state.settle(level), settled);
                assert_eq!(state.reopen(), if open { refused(Event::Reopen) } else { Ok(Reported) });
                for lower in Level::ALL.into_iter().filter(|lower| *lower < level && open) {
                    assert_eq!(state.ask_again(level, lower), Err(EventRefused::Falls(level)));
                    assert_eq!(state.ask_again(lower, level), Ok(FollowedUp));
                }
                assert_eq!(State::parse(state.as_str()), Some(state));
            }
        }
    }

    #[test]
    fn a_report_is_open_until_it_is_settled() {
        assert_eq!([Reported, FollowedUp, Settled].map(State::is_open), [true, true, false]);
    }
}
