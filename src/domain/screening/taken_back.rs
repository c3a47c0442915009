//! What a client once answered yes to and later no, though it doesn't pass.

use super::{Cause, Outcome, Rule, RuleTable};
use crate::domain::catalogue::ServiceKind;
use crate::domain::questionnaire::{Answer, AnswerSet, Questionnaire};

/// A severe allergic reaction of the whole body is asked about in one question, and judged by those that follow it.
const WHOLE_BODY: &str = "anaphylaxis";

/// The questions on allergies that she answered yes to, and no to since, without anybody of the team having asked her: an
/// allergy doesn't pass (common practice, no source), so somebody talks with her first. `sets` are her answers with
/// whether somebody of the team took them down, newest first.
pub fn taken_back(
    questionnaire: &Questionnaire,
    rules: &RuleTable,
    sets: &[(&AnswerSet, bool)],
    service: ServiceKind,
) -> Vec<String> {
    let root = |rule: &Rule| {
        let question = questionnaire.question(&rule.question)?;
        Some(questionnaire.root(question).key.clone())
    };
    let lasting = rules.in_use().filter(|rule| rule.scope.covers(service)).filter_map(|rule| {
        let allergy = matches!(rule.outcome, Outcome::DoNotTreat { cause: Cause::KnownAllergy, .. });
        root(rule).filter(|key| allergy || key == WHOLE_BODY)
    });
    let mut found: Vec<String> = lasting.filter(|key| is_taken_back(sets, key)).collect();
    found.sort();
    found.dedup();
    found
}

fn is_taken_back(sets: &[(&AnswerSet, bool)], key: &str) -> bool {
    let mut denied = false;
    for (set, by_team) in sets {
        match set.answers.get(key) {
            Some(Answer::Yes) => return denied,
            Some(Answer::No) if *by_team => return false,
            Some(Answer::No) => denied = true,
            _ => {}
        }
    }
    false
}
