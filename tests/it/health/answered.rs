//! Drawn answers, and what the tests of all rule sets ask of the reasons they get.

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::questionnaire::{Answer, Answers, Kind, Question, Questionnaire};
use palpebra::domain::verdict::{Earliest, Reason, Start, Verdict};
use proptest::prelude::*;
use time::{Date, Duration};

use super::GIVEN;

/// More than any set in these tests has questions. Numbers are drawn and turned into answers, as drawing each answer by
/// itself takes longer than judging all of them.
const MOST: usize = 160;

pub(super) type Seeds = Vec<u16>;

pub(super) fn seeds() -> impl Strategy<Value = Seeds> {
    prop::collection::vec(any::<u16>(), MOST)
}

/// Any answer that the form could store, or none: two in seven say yes, one in eleven leave it open.
fn answer(question: &Question, seed: u16) -> Option<Answer> {
    let rest = seed / 22;
    Some(match (question.kind, seed % 22) {
        (_, 0) => return None,
        (_, 1) => Answer::PreferToTalk,
        (Kind::YesNo, _) => {
            if rest % 7 < 2 {
                Answer::Yes
            } else {
                Answer::No
            }
        }
        (Kind::Date, _) => Answer::Date(GIVEN - Duration::days(i64::from(rest % 900))),
        (Kind::Choice, _) => {
            let mut options = question.options.iter().map(|option| &option.key).cycle();
            Answer::Choice(options.nth(usize::from(rest)).cloned()?)
        }
        (Kind::Text, _) => {
            let letters = ('a'..='z').cycle().skip(usize::from(rest % 26)).step_by(usize::from(rest % 5) + 1);
            Answer::Text(letters.take(usize::from(rest % 9) + 1).collect())
        }
    })
}

/// The answers to every question of a set that these numbers stand for.
pub(super) fn answers(questions: &Questionnaire, seeds: &Seeds) -> Answers {
    assert!(questions.questions().count() <= seeds.len(), "a number for each question");
    let each = questions.questions().zip(seeds);
    each.filter_map(|(question, seed)| Some((question.key.clone(), answer(question, *seed)?))).collect()
}

pub(super) fn service() -> impl Strategy<Value = ServiceKind> {
    prop::sample::select(&ServiceKind::ALL)
}

pub(super) fn day() -> impl Strategy<Value = Date> {
    (0..400_i64).prop_map(|days| GIVEN + Duration::days(days))
}

pub(super) fn worst(reasons: &[Reason]) -> (Verdict, Start) {
    let verdict = reasons.iter().map(|reason| reason.verdict).max().unwrap_or(Verdict::Clear);
    (verdict, reasons.iter().map(|reason| reason.start).max().unwrap_or(Start::Yes))
}

pub(super) fn latest(reasons: &[Reason]) -> Option<Date> {
    reasons.iter().filter_map(|reason| reason.from).reduce(Earliest::later).map(Earliest::day)
}

/// The questions that were answered with no.
pub(super) fn noes(answers: &Answers) -> Vec<String> {
    answers.iter().filter(|(_, answer)| **answer == Answer::No).map(|(key, _)| key.to_owned()).collect()
}
