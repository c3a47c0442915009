//! Whether rules and questions fit each other.

use std::collections::BTreeSet;

use super::{RuleTable, RuleTableRefused};
use crate::domain::catalogue::ServiceKind;
use crate::domain::questionnaire::{Kind, Question, Questionnaire};

impl RuleTable {
    /// Checks that rules and questionnaire fit each other: every rule reads an answer that can be
    /// given, every question is used, and every answer that can fire has a rule that speaks on it.
    ///
    /// # Errors
    /// [`RuleTableRefused`] names the first rule or question that doesn't fit.
    pub fn fits(&self, questionnaire: &Questionnaire) -> Result<(), RuleTableRefused> {
        self.misfits(questionnaire).into_iter().next().map_or(Ok(()), Err)
    }

    /// Everything that keeps [`Self::fits`] from being so.
    pub fn misfits(&self, questionnaire: &Questionnaire) -> Vec<RuleTableRefused> {
        let mut found = Vec::new();
        for rule in self.rules() {
            let asks = questionnaire.question(&rule.question);
            let known = asks.is_some_and(|question| question.can_be(&rule.when))
                && rule.details.iter().all(|detail| questionnaire.question(detail).is_some());
            let from = rule.counts_from().map(|from| questionnaire.question(from));
            if !known || from == Some(None) {
                found.push(RuleTableRefused::Unknown(rule.key.clone()));
            } else if from.flatten().is_some_and(|day| day.kind != Kind::Date || day.optional) {
                found.push(RuleTableRefused::NoDay(rule.key.clone()));
            }
        }
        let used: BTreeSet<&str> =
            ServiceKind::ALL.iter().flat_map(|service| self.used_for(questionnaire, *service)).collect();
        for question in questionnaire.questions() {
            if used.contains(question.key.as_str()) {
                found.extend(self.silent_on(question, questionnaire));
            } else {
                found.push(RuleTableRefused::Unused(question.key.clone()));
            }
        }
        found
    }

    /// The answers that can fire and have neither a rule nor a follow-up that must be answered.
    fn silent_on(&self, question: &Question, questionnaire: &Questionnaire) -> Vec<RuleTableRefused> {
        let answers: Vec<&str> = match question.kind {
            Kind::YesNo => vec!["yes"],
            Kind::Choice => question.options.iter().map(|option| option.key.as_str()).collect(),
            Kind::Date | Kind::Text => Vec::new(),
        };
        let key = question.key.as_str();
        let silent = |answer: &&str| {
            let ruled = self.in_use().any(|rule| rule.question == key && rule.when == **answer);
            let followed = questionnaire.questions().any(|later| {
                !later.optional
                    && later.after.as_ref().is_some_and(|after| after.question == key && after.is == **answer)
            });
            !ruled && !followed
        };
        let refused = |answer: &str| RuleTableRefused::Silent(key.to_owned(), answer.to_owned());
        answers.into_iter().filter(silent).map(refused).collect()
    }
}
