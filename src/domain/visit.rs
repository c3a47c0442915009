//! The life of a visit as one state machine.
//!
//! ```text
//! held ─ book ─> booked ─ arrive ─> arrived ─ start ─> in treatment ─ finish ─> done
//!   └─ expire, release ─> hold expired
//! ```
//! Here by mistake, or missed by mistake, is put back to booked. A visit moves to another time while held or booked; it is cancelled while booked or arrived (the check before
//! starting may end it); it is a no-show only once its time has come.

use time::{Duration, OffsetDateTime};

/// Where a visit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum VisitState {
    /// The time is kept while the client fills the forms.
    Held,
    /// Agreed.
    Booked,
    /// The client is in the studio.
    Arrived,
    /// The practitioner has started.
    InTreatment,
    /// Over.
    Done,
    /// The client cancelled.
    CancelledByClient,
    /// The studio cancelled.
    CancelledByStudio,
    /// The client did not come.
    NoShow,
    /// The forms were not finished in time, or were given up.
    HoldExpired,
}

/// What happens to a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum VisitEvent {
    /// The forms are done.
    Book,
    /// The time of the hold is over.
    Expire,
    /// The client gives the held time back.
    Release,
    /// Another time, practitioner or room.
    Move,
    /// The client comes in.
    Arrive,
    /// The practitioner starts.
    Start,
    /// The practitioner ends.
    Finish,
    /// The client cancels.
    CancelByClient,
    /// The studio cancels.
    CancelByStudio,
    /// The client did not come.
    NoShow,
    /// She was noted as here, or as missed, by mistake.
    PutBack,
}

/// Why an event does not fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EventRefused {
    /// The state does not allow it.
    #[error("a visit that is {} cannot {}", state.as_str(), event.as_str())]
    State {
        /// Where the visit stands.
        state: VisitState,
        /// What was asked.
        event: VisitEvent,
    },
    /// The hold ran out before the forms were done.
    #[error("the hold lapsed at {until}")]
    HoldLapsed {
        /// When.
        until: OffsetDateTime,
    },
    /// The hold still runs.
    #[error("the hold runs until {until}")]
    HoldRuns {
        /// Until when.
        until: OffsetDateTime,
    },
    /// The visit has not begun, so nobody has failed to come.
    #[error("the visit begins at {starts_at}")]
    BeforeStart {
        /// When it begins.
        starts_at: OffsetDateTime,
    },
}

use VisitState::{Arrived, Booked, Held, HoldExpired, InTreatment};

impl VisitState {
    /// Every state, in the order of a visit's life.
    pub const ALL: [Self; 9] = [
        Held,
        Booked,
        Arrived,
        InTreatment,
        Self::Done,
        Self::CancelledByClient,
        Self::CancelledByStudio,
        Self::NoShow,
        HoldExpired,
    ];

    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Booked => "booked",
            Self::Arrived => "arrived",
            Self::InTreatment => "in_treatment",
            Self::Done => "done",
            Self::CancelledByClient => "cancelled_by_client",
            Self::CancelledByStudio => "cancelled_by_studio",
            Self::NoShow => "no_show",
            Self::HoldExpired => "hold_expired",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.as_str() == word)
    }

    /// Whether the visit keeps its practitioner and room from others. A no-show gives the rest of its time back.
    pub fn occupies_chair(self) -> bool {
        matches!(self, Self::Held | Self::Booked | Self::Arrived | Self::InTreatment | Self::Done)
    }

    /// Whether a price can be noted for it: the client came.
    pub fn may_have_price(self) -> bool {
        matches!(self, Self::Arrived | Self::InTreatment | Self::Done)
    }

    /// Whether nothing can happen to it any more.
    pub fn is_over(self) -> bool {
        matches!(
            self,
            Self::Done | Self::CancelledByClient | Self::CancelledByStudio | Self::NoShow | Self::HoldExpired
        )
    }

    /// The forms are done while the hold runs; at `held_until` it no longer does.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn book(self, now: OffsetDateTime, held_until: OffsetDateTime) -> Result<Self, EventRefused> {
        let booked = self.go(VisitEvent::Book, &[Held], Booked)?;
        if now < held_until { Ok(booked) } else { Err(EventRefused::HoldLapsed { until: held_until }) }
    }

    /// The hold ran out.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn expire(self, now: OffsetDateTime, held_until: OffsetDateTime) -> Result<Self, EventRefused> {
        let expired = self.go(VisitEvent::Expire, &[Held], HoldExpired)?;
        if now >= held_until { Ok(expired) } else { Err(EventRefused::HoldRuns { until: held_until }) }
    }

    /// The client gives a held time back before it runs out.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn release(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::Release, &[Held], HoldExpired)
    }

    /// To another time, practitioner or room; the state stays.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn move_to_other_time(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::Move, &[Held, Booked], self)
    }

    /// The client comes in.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn arrive(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::Arrive, &[Booked], Arrived)
    }

    /// The practitioner starts; whether she may is the readiness check's to say.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn start(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::Start, &[Arrived], InTreatment)
    }

    /// The practitioner ends, also early.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn finish(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::Finish, &[InTreatment], Self::Done)
    }

    /// The client cancels; whether she may by herself is for [`may_client_change`] to say.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn cancel_by_client(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::CancelByClient, &[Booked, Arrived], Self::CancelledByClient)
    }

    /// The studio cancels, also when the check before starting forbids the treatment.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn cancel_by_studio(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::CancelByStudio, &[Booked, Arrived], Self::CancelledByStudio)
    }

    /// The client did not come, once the visit should have begun.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn no_show(self, now: OffsetDateTime, starts_at: OffsetDateTime) -> Result<Self, EventRefused> {
        let missed = self.go(VisitEvent::NoShow, &[Booked], Self::NoShow)?;
        if now >= starts_at { Ok(missed) } else { Err(EventRefused::BeforeStart { starts_at }) }
    }

    /// Noted by mistake that she is here, or that she did not come: nothing has begun yet.
    ///
    /// # Errors
    /// [`EventRefused`]
    pub fn put_back(self) -> Result<Self, EventRefused> {
        self.go(VisitEvent::PutBack, &[Arrived, Self::NoShow], Booked)
    }

    fn go(self, event: VisitEvent, from: &[Self], to: Self) -> Result<Self, EventRefused> {
        if from.contains(&self) { Ok(to) } else { Err(EventRefused::State { state: self, event }) }
    }
}

impl VisitEvent {
    /// The word that the log uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Book => "book",
            Self::Expire => "expire",
            Self::Release => "release",
            Self::Move => "move",
            Self::Arrive => "arrive",
            Self::Start => "start",
            Self::Finish => "finish",
            Self::CancelByClient => "cancel_by_client",
            Self::CancelByStudio => "cancel_by_studio",
            Self::NoShow => "no_show",
            Self::PutBack => "put_back",
        }
    }
}

/// Whether the client may still move or cancel by herself: until `limit_hours` of true time before the start, that
/// moment included, and never once the visit has begun.
pub fn may_client_change(now: OffsetDateTime, starts_at: OffsetDateTime, limit_hours: u16) -> bool {
    now < starts_at && starts_at - now >= Duration::hours(i64::from(limit_hours))
}

#[cfg(test)]
mod tests {
    use super::*;
    use VisitState::{CancelledByClient, CancelledByStudio, Done, NoShow};
    use time::macros::datetime;

    const NOW: OffsetDateTime = datetime!(2026-03-10 10:00 UTC);
    const SOON: OffsetDateTime = datetime!(2026-03-10 10:01 UTC);

    type Step = fn(VisitState) -> Result<VisitState, EventRefused>;
    type Allowed = &'static [(VisitState, VisitState)];

    #[test]
    fn each_event_in_each_state() {
        let table: [(VisitEvent, Step, Allowed); 11] = [
            (VisitEvent::Book, |s| s.book(NOW, SOON), &[(Held, Booked)]),
            (VisitEvent::Expire, |s| s.expire(NOW, NOW), &[(Held, HoldExpired)]),
            (VisitEvent::Release, VisitState::release, &[(Held, HoldExpired)]),
            (VisitEvent::Move, VisitState::move_to_other_time, &[(Held, Held), (Booked, Booked)]),
            (VisitEvent::Arrive, VisitState::arrive, &[(Booked, Arrived)]),
            (VisitEvent::Start, VisitState::start, &[(Arrived, InTreatment)]),
            (VisitEvent::Finish, VisitState::finish, &[(InTreatment, Done)]),
            (
                VisitEvent::CancelByClient,
                VisitState::cancel_by_client,
                &[(Booked, CancelledByClient), (Arrived, CancelledByClient)],
            ),
            (
                VisitEvent::CancelByStudio,
                VisitState::cancel_by_studio,
                &[(Booked, CancelledByStudio), (Arrived, CancelledByStudio)],
            ),
            (VisitEvent::NoShow, |s| s.no_show(NOW, NOW), &[(Booked, NoShow)]),
            (VisitEvent::PutBack, VisitState::put_back, &[(VisitState::Arrived, Booked), (NoShow, Booked)]),
        ];
        for (event, step, allowed) in table {
            for state in VisitState::ALL {
                let expected = allowed.iter().find(|(from, _)| *from == state).map(|(_, to)| *to);
                assert_eq!(step(state), expected.ok_or(EventRefused::State { state, event }), "{event:?} in {state:?}");
                let ends = !state.is_over() || expected.is_none() || event == VisitEvent::PutBack;
                assert!(ends, "{event:?} in {state:?}, which is over");
            }
        }
    }

    #[test]
    fn the_clock_has_a_say() {
        assert_eq!(Held.book(NOW, NOW), Err(EventRefused::HoldLapsed { until: NOW }));
        assert_eq!(Held.expire(NOW, SOON), Err(EventRefused::HoldRuns { until: SOON }));
        assert_eq!(Booked.no_show(NOW, SOON), Err(EventRefused::BeforeStart { starts_at: SOON }));
    }

    #[test]
    fn a_word_reads_back_as_its_state() {
        for state in VisitState::ALL {
            assert_eq!(VisitState::parse(state.as_str()), Some(state));
        }
        assert_eq!(VisitState::parse("moved"), None);
    }

    #[test]
    fn whoever_gave_up_the_time_gave_up_the_chair() {
        for state in [CancelledByClient, CancelledByStudio, NoShow, HoldExpired] {
            assert!(!state.occupies_chair());
        }
        for state in [Held, Booked, Arrived, InTreatment, Done] {
            assert!(state.occupies_chair());
        }
    }

    #[test]
    fn the_limit_counts_true_hours() {
        let start = datetime!(2026-03-11 10:00 UTC);
        assert!(may_client_change(NOW, start, 24));
        assert!(!may_client_change(SOON, start, 24));
        assert!(may_client_change(NOW, SOON, 0));
        assert!(!may_client_change(NOW, NOW, 0));
    }

    #[test]
    fn a_price_is_noted_for_whoever_came_and_what_is_over_is_over() {
        for state in VisitState::ALL {
            let came = matches!(state, VisitState::Arrived | VisitState::InTreatment | Done);
            assert_eq!(state.may_have_price(), came, "{state:?}");
            let over = matches!(state, Done | CancelledByClient | CancelledByStudio | NoShow | VisitState::HoldExpired);
            assert_eq!(state.is_over(), over, "{state:?}");
        }
    }
}
