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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::questionnaire::Answers;
    use time::macros::date;

    /// Answers with whether the team took them down, newest first.
    fn back(given: &[(&[(&str, Answer)], bool)], service: ServiceKind) -> Vec<String> {
        let (questionnaire, rules) = (Questionnaire::built_in().unwrap(), RuleTable::built_in().unwrap());
        let sets: Vec<(AnswerSet, bool)> = given
            .iter()
            .map(|(pairs, by_team)| {
                let mut answers = Answers::default();
                for (key, answer) in *pairs {
                    answers.set(*key, answer.clone());
                }
                let given_on = date!(2026 - 03 - 02);
                (AnswerSet { questionnaire: questionnaire.version(), given_on, returning: false, answers }, *by_team)
            })
            .collect();
        let sets: Vec<_> = sets.iter().map(|(set, by_team)| (set, *by_team)).collect();
        taken_back(&questionnaire, &rules, &sets, service)
    }

    fn dye(answers: &[(Option<Answer>, bool)]) -> bool {
        let pairs: Vec<Vec<(&str, Answer)>> = answers
            .iter()
            .map(|(answer, _)| answer.iter().map(|one| ("dye_reaction", one.clone())).collect())
            .collect();
        let given: Vec<_> =
            pairs.iter().zip(answers).map(|(pairs, (_, by_team))| (pairs.as_slice(), *by_team)).collect();
        back(&given, ServiceKind::LashTint) == ["dye_reaction"]
    }

    #[test]
    fn a_yes_and_a_no_since_are_told_until_somebody_of_the_team_has_asked() {
        let (yes, no, talk) = (Some(Answer::Yes), Some(Answer::No), Some(Answer::PreferToTalk));
        for (answers, told) in [
            (&[(no.clone(), false), (yes.clone(), false)][..], true),
            (&[(no.clone(), false), (no.clone(), false), (yes.clone(), true)], true),
            (&[(no.clone(), false), (None, false), (yes.clone(), false)], true),
            (&[(yes.clone(), false), (no.clone(), false)], false),
            (&[(yes.clone(), false), (no.clone(), false), (yes.clone(), false)], false),
            (&[(no.clone(), true), (yes.clone(), false)], false),
            (&[(no.clone(), false), (no.clone(), true), (yes.clone(), false)], false),
            (&[(no.clone(), false)], false),
            // A talk is open as it is.
            (&[(talk, false), (yes.clone(), false)], false),
            (&[(None, false), (yes, false)], false),
            (&[], false),
        ] {
            assert_eq!(dye(answers), told, "{}", answers.len());
        }
    }

    #[test]
    fn only_what_does_not_pass_is_told_and_only_where_it_matters() {
        let both: [(&[(&str, Answer)], bool); 2] = [
            (&[("dye_reaction", Answer::No), ("anaphylaxis", Answer::No), ("pregnant", Answer::No)], false),
            (&[("dye_reaction", Answer::Yes), ("anaphylaxis", Answer::Yes), ("pregnant", Answer::Yes)], false),
        ];
        assert_eq!(back(&both, ServiceKind::LashTint), ["anaphylaxis", "dye_reaction"], "each once");
        assert_eq!(back(&both, ServiceKind::LashLift), ["anaphylaxis"], "a lotion holds no dye");
    }
}
