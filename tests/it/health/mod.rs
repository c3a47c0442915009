//! The health rules against what is published and practised.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that can't go on fails")]

mod answered;
mod core_questions;
mod edited;
mod people;
mod properties;
mod published;
mod rows;
mod skin_tests;
mod walk;

use std::sync::LazyLock;

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::questionnaire::{Answer, AnswerSet, Answers, Questionnaire};
use palpebra::domain::screening::{RuleTable, Screening};
use palpebra::domain::verdict::Reason;
use time::Date;
use time::macros::date;

/// The day on which the answers of these tests are given.
const GIVEN: Date = date!(2026 - 03 - 09);

/// The shipped questions and rules.
struct Shipped {
    questionnaire: Questionnaire,
    rules: RuleTable,
}

impl Shipped {
    fn new() -> Self {
        Self { questionnaire: Questionnaire::built_in().unwrap(), rules: RuleTable::built_in().unwrap() }
    }

    /// Read once for tests that ask thousands of times.
    fn once() -> &'static Self {
        static ONCE: LazyLock<Shipped> = LazyLock::new(Shipped::new);
        &ONCE
    }

    /// A no to every question.
    fn all_no(&self) -> Answers {
        let roots = self.questionnaire.questions().filter(|question| question.after.is_none());
        roots.map(|question| (question.key.clone(), Answer::No)).collect()
    }

    /// A no to every question but these.
    fn no_but(&self, given: &[(&str, Answer)]) -> AnswerSet {
        let mut answers = self.all_no();
        for (key, answer) in given {
            assert!(self.questionnaire.question(key).is_some(), "no question {key}");
            answers.set(*key, answer.clone());
        }
        set(answers)
    }

    fn reasons(&self, set: &AnswerSet, service: ServiceKind, on: Date) -> Vec<Reason> {
        self.screening(set).reasons(service, on)
    }

    fn screening<'a>(&'a self, set: &'a AnswerSet) -> Screening<'a> {
        Screening { questionnaire: &self.questionnaire, rules: &self.rules, set, letters: &[], ingredients: None }
    }
}

fn set(answers: Answers) -> AnswerSet {
    AnswerSet { questionnaire: 1, given_on: GIVEN, returning: true, answers }
}

#[test]
fn the_shipped_rules_fit_the_shipped_questions() {
    let shipped = Shipped::new();
    shipped.rules.fits(&shipped.questionnaire).unwrap();
}

#[test]
fn a_no_to_everything_is_clear_for_every_service() {
    let shipped = Shipped::new();
    for service in ServiceKind::ALL {
        assert!(shipped.reasons(&set(shipped.all_no()), service, GIVEN).is_empty(), "{service:?}");
    }
}
