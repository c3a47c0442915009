//! Which health answers say that the lashes are out of their steady state.

use super::Disturbance;
use crate::domain::questionnaire::Answers;

/// Question, the answer that tells, and what it tells of.
///
/// The kinds are those of the model's assumption. That a retinoid by mouth makes hair fall is from memory; that the months
/// after a birth count is common knowledge, and the questions know of them only while she breastfeeds.
const TELLING: [(&str, &[&str], Disturbance); 11] = [
    ("pg_drops", &["yes"], Disturbance::Drug),
    ("isotretinoin", &["yes"], Disturbance::Drug),
    ("serum", &["yes"], Disturbance::Serum),
    ("chemo", &["yes"], Disturbance::Chemotherapy),
    ("chemo_past", &["yes"], Disturbance::Chemotherapy),
    ("extensions_now", &["yes"], Disturbance::Extensions),
    ("trich_state", &["now", "broken_skin"], Disturbance::Pulling),
    ("pregnant", &["yes"], Disturbance::Pregnancy),
    ("breastfeeding", &["yes"], Disturbance::Pregnancy),
    ("alopecia_state", &["active", "none_left"], Disturbance::HairFall),
    ("thyroid_which", &["hair_loss"], Disturbance::HairFall),
];

impl Disturbance {
    /// What these answers tell of, each kind once.
    pub fn told_by(answers: &Answers) -> Vec<Self> {
        let mut told = Vec::new();
        for (question, words, kind) in TELLING {
            let tells = answers.get(question).is_some_and(|answer| words.iter().any(|word| answer.opens(word)));
            if tells && !told.contains(&kind) {
                told.push(kind);
            }
        }
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::questionnaire::{Answer, Questionnaire};

    #[test]
    fn every_telling_answer_can_be_given() {
        let asked = Questionnaire::built_in().unwrap();
        for (key, words, _) in TELLING {
            let question = asked.question(key).unwrap_or_else(|| panic!("nobody asks {key}"));
            for word in words {
                let offered = *word == "yes" || question.options.iter().any(|option| option.key == *word);
                assert!(offered, "{key} has no answer {word}");
            }
        }
    }

    #[test]
    fn a_kind_is_told_once_and_a_no_tells_nothing() {
        let answers = |pairs: &[(&str, Answer)]| pairs.iter().map(|(k, a)| ((*k).to_owned(), a.clone())).collect();
        let none: Answers = answers(&[("serum", Answer::No), ("trich_state", Answer::Choice("stable".to_owned()))]);
        assert!(Disturbance::told_by(&none).is_empty());
        let two: Answers = answers(&[
            ("chemo", Answer::Yes),
            ("chemo_past", Answer::Yes),
            ("trich_state", Answer::Choice("now".to_owned())),
        ]);
        assert_eq!(Disturbance::told_by(&two), [Disturbance::Chemotherapy, Disturbance::Pulling]);
    }
}
