//! What answers mean for skin tests: whether one may be applied, trusted, or still counts.

use time::Date;

use super::{Outcome, Rule, Screening, TestEffect};
use crate::domain::age;
use crate::domain::catalogue::ServiceKind;
use crate::domain::person::BirthDate;
use crate::domain::questionnaire::AnswerSet;

/// Whether a skin test may be applied on a day.
#[derive(Clone, PartialEq, Eq)]
pub enum TestPermission {
    /// It may.
    Yes,
    /// It may, and a clear result can't be trusted: a medicine may suppress a reaction.
    Unreliable,
    /// Not before this day.
    NotBefore(Date),
    /// Not before a letter is there that lifts what stands against it.
    LetterFirst,
    /// Not before somebody of the team has asked her: an answer that decides on it is open.
    AskFirst,
    /// Not before a reaction of hers is settled.
    ReactionOpen,
    /// Not at all, by this rule.
    No {
        /// The key of the rule, or [`TestPermission::AGE`].
        rule: String,
    },
}

impl TestPermission {
    /// The key that stands for the client's age.
    pub const AGE: &str = "age_test";
}

impl std::fmt::Debug for TestPermission {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("TestPermission(..)")
    }
}

impl Rule {
    fn takes_letter(&self) -> bool {
        matches!(
            self.outcome,
            Outcome::LetterNeeded | Outcome::WaitUntil { letter: true, .. } | Outcome::DoNotTreat { letter: true, .. }
        )
    }
}

impl<'a> Screening<'a> {
    fn effects(&self, service: ServiceKind) -> impl Iterator<Item = (&'a Rule, TestEffect)> {
        let rules = self.rules.in_use().filter(move |rule| rule.scope.covers(service) && self.fires(rule));
        rules.filter_map(|rule| rule.test.map(|effect| (rule, effect)))
    }

    /// Whether a skin test of a product for this service may be applied on a day: not under 16, not
    /// on a known allergy, not on broken or inflamed skin, not while a cream may suppress it. The
    /// strictest rule wins; what she left open, or would rather talk about, is taken for no permission.
    pub fn may_test(&self, birth: Option<BirthDate>, service: ServiceKind, on: Date) -> TestPermission {
        if !age::may_test(birth, on) {
            return TestPermission::No { rule: TestPermission::AGE.to_owned() };
        }
        let bars = |(rule, effect): &(&Rule, TestEffect)| {
            *effect == TestEffect::DoNotTest && !self.is_lifted(rule, service, on)
        };
        let (letters, never): (Vec<_>, Vec<_>) =
            self.effects(service).filter(bars).partition(|(rule, _)| rule.takes_letter());
        if let Some((rule, _)) = never.first() {
            return TestPermission::No { rule: rule.key.clone() };
        }
        if !letters.is_empty() {
            return TestPermission::LetterFirst;
        }
        if self.is_undecided(service) {
            return TestPermission::AskFirst;
        }
        let mut not_before = None;
        let mut unreliable = false;
        for (_, effect) in self.effects(service) {
            match effect {
                TestEffect::Wait(span) => not_before = not_before.max(Some(span.after(self.set.given_on))),
                TestEffect::Unreliable => unreliable = true,
                TestEffect::DoNotTest | TestEffect::Voids => {}
            }
        }
        match not_before.filter(|day| on < *day) {
            Some(day) => TestPermission::NotBefore(day),
            None if unreliable => TestPermission::Unreliable,
            None => TestPermission::Yes,
        }
    }

    /// Whether a letter lifts what a rule says, of treatments and so of the test before them.
    fn is_lifted(&self, rule: &Rule, service: ServiceKind, on: Date) -> bool {
        rule.takes_letter() && self.letters.iter().any(|letter| self.letter_covers(letter, &rule.question, service, on))
    }

    /// Whether an answer is open that could forbid a skin test or put it off. One that could only make it uncertain voids
    /// the test once it is given.
    fn is_undecided(&self, service: ServiceKind) -> bool {
        let bars = |rule: &&Rule| matches!(rule.test, Some(TestEffect::DoNotTest | TestEffect::Wait(_)));
        let mut rules = self.rules.in_use().filter(|rule| rule.scope.covers(service)).filter(bars);
        rules.any(|rule| self.is_open_on(&rule.question))
    }

    /// Whether a question, or one that it follows, has no answer.
    fn is_open_on(&self, key: &str) -> bool {
        self.questionnaire.question(key).is_some_and(|question| {
            let after = question.after.as_ref();
            self.is_unanswered(question) || after.is_some_and(|after| self.is_open_on(&after.question))
        })
    }

    /// The questions whose new answer makes earlier skin tests void for this service: a rule that
    /// voids, or that makes a test unreliable, fires now on an answer that was another before.
    /// Without earlier answers nothing is known to have changed.
    pub fn voided_by(&self, earlier: Option<&AnswerSet>, service: ServiceKind) -> Vec<&'a str> {
        let Some(earlier) = earlier else { return Vec::new() };
        let changed = self.set.answers.changed_since(&earlier.answers);
        self.effects(service)
            .filter(|(_, effect)| matches!(effect, TestEffect::Voids | TestEffect::Unreliable | TestEffect::DoNotTest))
            .map(|(rule, _)| rule.question.as_str())
            .filter(|question| changed.contains(question))
            .collect()
    }
}
