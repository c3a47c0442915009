//! What she signed, and which of her skin tests still count.

use time::OffsetDateTime;

use super::Known;
use crate::domain::age::GuardianPart;
use crate::domain::consent::{self, ConsentRecord, ConsentStanding, Signed, Subject};
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::VisitId;
use crate::domain::questionnaire::{Answer, Answers};
use crate::domain::screening;
use crate::domain::skin_test::{SkinTest, VoidCause};

impl Known {
    /// What a signature would be for now.
    pub fn subject(&self) -> Subject {
        Subject {
            text: self.in_force.consent.fingerprint(),
            answers: self.answers().map_or_else(|| Answers::default().fingerprint(), |set| set.answers.fingerprint()),
            products: self.product_ids().collect(),
            service: Some(self.service.id.clone()),
        }
    }

    /// The consent that counts here: the newest for the same service and products, since another service may have been signed for
    /// in between; but whoever refused or withdrew last has not agreed.
    pub(super) fn consent(&self) -> Option<&ConsentRecord> {
        let agreed =
            |record: &ConsentRecord| matches!(record, ConsentRecord::Signed(signed) if signed.withdrawn_at.is_none());
        let planned = self.subject();
        // Not to sign for one service says nothing of another that was signed for.
        let here = |record: &&ConsentRecord| match record {
            ConsentRecord::Signed(_) => true,
            ConsentRecord::Refused { subject, .. } => subject.same_plan(&planned),
        };
        let newest = self.consents.iter().find(here)?;
        let same =
            |record: &&ConsentRecord| matches!(record, ConsentRecord::Signed(s) if s.subject.same_plan(&planned));
        if agreed(newest) { self.consents.iter().find(same).or(Some(newest)) } else { Some(newest) }
    }

    /// Where the consent stands.
    pub fn consent_standing(&self) -> ConsentStanding {
        let mut now = self.subject();
        if let Some(ConsentRecord::Signed(signed)) = self.consent()
            && self.says_as_before(signed.subject.answers)
        {
            now.answers = signed.subject.answers;
        }
        consent::standing(self.consent(), &now)
    }

    /// Whether no health answer changed since answers that were signed for: that nothing has changed is none.
    fn says_as_before(&self, signed: Fingerprint) -> bool {
        let Some(newest) = self.answers() else { return false };
        let Some(before) = self.answers.iter().find(|given| given.set.answers.fingerprint() == signed) else {
            return false;
        };
        let only_asked_again = |key: &str| {
            let question = self.in_force.questionnaire.question(key);
            question.is_some_and(|question| question.returning)
                && newest.answers.get(key).is_none_or(|answer| *answer == Answer::No)
        };
        newest.answers.changed_since(&before.set.answers).into_iter().all(only_asked_again)
    }

    /// The questions on allergies that she answered yes to once, and no to since.
    pub(super) fn taken_back(&self) -> Vec<String> {
        let sets: Vec<_> = self.answers.iter().map(|given| (&given.set, given.by_team)).collect();
        screening::taken_back(&self.in_force.questionnaire, &self.in_force.rules, &sets, self.service.kind)
    }

    /// The same case before anybody has signed, to see what a guardian still has to do.
    #[must_use]
    pub fn unsigned(self) -> Self {
        Self { consents: Vec::new(), ..self }
    }

    /// When the consent that holds was signed, and which one it is.
    pub fn signed(&self) -> Option<&Signed> {
        match self.consent() {
            Some(ConsentRecord::Signed(signed)) if self.consent_standing() == ConsentStanding::SignedCurrent => {
                Some(signed)
            }
            _ => None,
        }
    }

    pub(super) fn guardian(&self) -> GuardianPart {
        let promised = match self.consent() {
            Some(ConsentRecord::Signed(signed)) if signed.withdrawn_at.is_none() => signed.guardian_part(),
            _ => GuardianPart::default(),
        };
        GuardianPart { present: self.guardian_here.unwrap_or(promised.present), ..promised }
    }

    /// Whether she reacted to anything after a test: in a treatment, or in the skin test of another product than this one.
    fn reacted_after(&self, test: &SkinTest, at: OffsetDateTime, but: Option<&VisitId>) -> bool {
        let failing = self.harm.iter().filter(|harm| harm.in_test && harm.product != test.product);
        let elsewhere = self.reactions.iter().filter(|(_, visit)| but.is_none() || visit.as_ref() != but);
        let mut reacted = elsewhere.map(|(when, _)| *when).chain(failing.map(|harm| harm.at));
        reacted.any(|when| when > test.applied_at && when <= at)
    }

    /// Her tests as of a moment, with those that a later answer or a later reaction made void; one at the visit `but` doesn't.
    pub(super) fn tests(&self, at: OffsetDateTime, but: Option<&VisitId>) -> Vec<SkinTest> {
        let voided = |test: &SkinTest| {
            self.answers.windows(2).any(|pair| match pair {
                [given, before] if given.at > test.applied_at && given.at <= at => {
                    !self.screening(&given.set).voided_by(Some(&before.set), self.service.kind).is_empty()
                }
                _ => false,
            })
        };
        let mut tests = self.tests.clone();
        for test in &mut tests {
            if test.voided.is_none() && voided(test) {
                test.voided = Some(VoidCause::HealthChange);
            }
            if test.voided.is_none() && self.reacted_after(test, at, but) {
                test.voided = Some(VoidCause::Reaction);
            }
        }
        tests
    }
}
