//! Whether the chemical goes on her skin to be tested, and on which days.

use time::{Date, OffsetDateTime};

use super::Known;
use crate::actions::diary::Between;
use crate::domain::age::{self, AgeStanding, GuardianPart};
use crate::domain::consent::ConsentRecord;
use crate::domain::ids::ProductId;
use crate::domain::readiness::ANSWERS_COUNT_FOR;
use crate::domain::screening::TestPermission;
use crate::domain::verdict::{About, Verdict};
use crate::domain::visit::VisitState;
use crate::store::visits::{Purpose, Visit};

/// The key that [`TestPermission::No`] carries when the health questions were never answered.
pub const NO_ANSWERS: &str = "answers_missing";

/// A skin test that is booked.
pub(super) struct Booked {
    pub(super) at: OffsetDateTime,
    /// Those that its service wants tested.
    pub(super) products: Vec<ProductId>,
    /// Its visit; none while it is only drafted.
    pub(super) visit: Option<Visit>,
}

impl Known {
    /// Whether a skin test for this service may be applied on a day. Without answers nobody knows, so it may not; nor on old ones.
    pub fn may_test(&self, on: Date) -> TestPermission {
        match self.answers() {
            Some(set) => match self.screening(set).may_test(self.birth, self.service.kind, on) {
                TestPermission::No { rule } => TestPermission::No { rule },
                _ if self.reaction_open => TestPermission::ReactionOpen,
                _ if !self.taken_back().is_empty() => TestPermission::AskFirst,
                _ if on >= ANSWERS_COUNT_FOR.after(set.given_on) => TestPermission::AskFirst,
                other => other,
            },
            None if !age::may_test(self.birth, on) => TestPermission::No { rule: TestPermission::AGE.to_owned() },
            None => TestPermission::No { rule: NO_ANSWERS.to_owned() },
        }
    }

    /// Whether a product goes on her skin no more, not even to be tested: it did her harm, or her tests of it weren't clear.
    pub fn test_barred(&self, product: &ProductId, now: OffsetDateTime) -> bool {
        self.readiness(now, now).reasons.iter().any(|reason| match &reason.about {
            About::SkinTest(about) | About::Reaction(Some(about)) => {
                about == product && reason.verdict == Verdict::DoNotTreat
            }
            _ => false,
        })
    }

    /// Whether the skin of a minor may not be tested yet, since no parent or guardian has signed for this service.
    pub fn lacks_guardian(&self, on: Date) -> bool {
        let alone = age::standing(self.birth, self.service.kind, on, self.age_policy, GuardianPart::default());
        let wanted = matches!(alone, AgeStanding::GuardianSignature | AgeStanding::GuardianPresence);
        let signed = matches!(self.consent(), Some(ConsentRecord::Signed(signed)) if signed.withdrawn_at.is_none()
            && signed.subject.same_service(&self.subject())
            && signed.guardian_part().signed);
        wanted && !signed
    }

    /// The first day on which her skin may be tested, as far as age and waits go; nothing when any day will do. What no day
    /// clears is left to whoever applies the test.
    pub fn test_from(&self, now: OffsetDateTime) -> Option<Date> {
        let today = self.zone.date_at(now);
        let grown = self.birth.map(|born| age::turns(born, age::TINT_FROM)).filter(|day| *day > today);
        match self.may_test(grown.unwrap_or(today)) {
            TestPermission::NotBefore(day) => Some(day),
            _ => grown,
        }
    }

    /// The days on which her skin may be tested.
    pub fn test_between(&self, now: OffsetDateTime) -> Between {
        Between { earliest: self.test_from(now), ..Between::default() }
    }

    /// Whether her skin may be tested at a moment, as far as age and waits go.
    pub fn may_test_at(&self, at: OffsetDateTime, now: OffsetDateTime) -> bool {
        self.test_from(now).is_none_or(|from| self.zone.date_at(at) >= from)
    }

    /// The skin tests that are booked and can still be made.
    pub(super) fn tests_ahead(&self, now: OffsetDateTime) -> impl Iterator<Item = &Booked> {
        self.booked_tests.iter().filter(move |test| self.can_be_made(test.at, now))
    }

    /// The visit of the first of them that tests all that this service wants tested, for whatever service it is.
    pub fn test_ahead(&self, now: OffsetDateTime) -> Option<&Visit> {
        let all = |test: &&Booked| self.product_ids().all(|product| test.products.contains(&product));
        let visits = self.tests_ahead(now).filter(all).filter_map(|test| test.visit.as_ref());
        visits.min_by_key(|visit| visit.starts_at)
    }

    /// Whether a skin test that is booked can still be made: she may lie there for it, so up to the end of its day, and not on
    /// a day on which her answers forbid it. Of her age the verdict says more.
    fn can_be_made(&self, begins: OffsetDateTime, now: OffsetDateTime) -> bool {
        let day = self.zone.date_at(begins);
        let forbidden = match self.may_test(day) {
            TestPermission::NotBefore(_) => true,
            TestPermission::No { rule } => ![TestPermission::AGE, NO_ANSWERS].contains(&rule.as_str()),
            TestPermission::Yes
            | TestPermission::Unreliable
            | TestPermission::AskFirst
            | TestPermission::LetterFirst
            | TestPermission::ReactionOpen => false,
        };
        day >= self.zone.date_at(now) && !forbidden
    }
}

/// A skin test that is booked and not done.
pub(super) fn is_to_come(visit: &Visit) -> bool {
    let open = matches!(visit.state, VisitState::Booked | VisitState::Arrived | VisitState::InTreatment);
    visit.purpose == Purpose::SkinTest && open
}
