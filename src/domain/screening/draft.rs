//! Questions and rules that are being edited. Every step is well formed; what still has to be put right before it can be
//! published is listed, and what no studio may soften is refused at once.

use std::collections::BTreeSet;

use super::{Cause, Outcome, Rule, RuleTable, RuleTableRefused, TestEffect};
use crate::domain::catalogue::ServiceKind;
use crate::domain::questionnaire::{Question, Questionnaire, QuestionnaireRefused};
use crate::domain::span::Span;

/// A set of questions with the rules on their answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// The questions.
    pub questionnaire: Questionnaire,
    /// The rules.
    pub rules: RuleTable,
}

/// Why a step is not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditRefused {
    /// The questions would no longer be well formed.
    #[error(transparent)]
    Questions(#[from] QuestionnaireRefused),
    /// The rules would no longer be well formed.
    #[error(transparent)]
    Rules(#[from] RuleTableRefused),
    /// A rule on a known allergy or an active infection would grow milder, or go.
    #[error("the rule {0} stands on a known allergy or an active infection and may not grow milder")]
    Softened(String),
    /// There is no such question, section or rule.
    #[error("{0} is not there")]
    Unknown(String),
    /// Somebody changed the same since it was looked at.
    #[error("it was changed meanwhile")]
    Overtaken,
}

impl Draft {
    /// Everything that keeps it from being published; nothing when it can be.
    pub fn misfits(&self) -> Vec<RuleTableRefused> {
        self.rules.misfits(&self.questionnaire)
    }

    /// With a rule changed, or added when its key is new. `shipped` is the table that no studio may soften.
    ///
    /// # Errors
    /// See [`EditRefused`].
    pub fn with_rule(&self, rule: Rule, shipped: &RuleTable) -> Result<Self, EditRefused> {
        let mut rules = self.rules.rules().to_vec();
        match rules.iter_mut().find(|known| known.key == rule.key) {
            Some(known) => *known = rule,
            None => rules.push(rule),
        }
        self.with(self.questionnaire.clone(), rules, shipped)
    }

    /// Without a rule.
    ///
    /// # Errors
    /// See [`EditRefused`].
    pub fn without_rule(&self, key: &str, shipped: &RuleTable) -> Result<Self, EditRefused> {
        let rules = self.rules.rules().iter().filter(|rule| rule.key != key).cloned().collect();
        self.with(self.questionnaire.clone(), rules, shipped)
    }

    /// With a question changed, or added to a section when its key is new: a follow-up after the question that it
    /// follows, any other at the end. Rules on options that it no longer has go with them.
    ///
    /// # Errors
    /// See [`EditRefused`].
    pub fn with_question(&self, section: &str, question: Question, shipped: &RuleTable) -> Result<Self, EditRefused> {
        let mut sections = self.questionnaire.sections().to_vec();
        let known = sections.iter_mut().flat_map(|section| &mut section.questions).find(|one| one.key == question.key);
        let rules = self.rules.rules().iter();
        let rules =
            rules.filter(|rule| rule.question != question.key || question.can_be(&rule.when)).cloned().collect();
        if let Some(known) = known {
            *known = question;
        } else {
            let unknown = || EditRefused::Unknown(section.to_owned());
            let section = sections.iter_mut().find(|one| one.key == section).ok_or_else(unknown)?;
            let follows =
                |one: &Question, key: &str| one.key == key || one.after.as_ref().is_some_and(|a| a.question == key);
            let after = question.after.as_ref().map(|after| after.question.as_str());
            let place = after.and_then(|key| section.questions.iter().rposition(|one| follows(one, key)));
            section.questions.insert(place.map_or(section.questions.len(), |place| place + 1), question);
        }
        self.with(self.questionnaire.with(sections)?, rules, shipped)
    }

    /// Without a question, what follows it, and the rules on them.
    ///
    /// # Errors
    /// See [`EditRefused`].
    pub fn without_question(&self, key: &str, shipped: &RuleTable) -> Result<Self, EditRefused> {
        if self.questionnaire.question(key).is_none() {
            return Err(EditRefused::Unknown(key.to_owned()));
        }
        let mut gone = BTreeSet::from([key]);
        // A follow-up stands after the question that it follows, so one walk finds all of them.
        for question in self.questionnaire.questions() {
            if question.after.as_ref().is_some_and(|after| gone.contains(after.question.as_str())) {
                gone.insert(&question.key);
            }
        }
        let stays = |rule: &&Rule| {
            !gone.contains(rule.question.as_str()) && rule.counts_from().is_none_or(|from| !gone.contains(from))
        };
        let mut rules: Vec<Rule> = self.rules.rules().iter().filter(stays).cloned().collect();
        for rule in &mut rules {
            rule.details.retain(|detail| !gone.contains(detail.as_str()));
        }
        let mut sections = self.questionnaire.sections().to_vec();
        for section in &mut sections {
            section.questions.retain(|question| !gone.contains(question.key.as_str()));
        }
        self.with(self.questionnaire.with(sections)?, rules, shipped)
    }

    fn with(&self, questionnaire: Questionnaire, rules: Vec<Rule>, shipped: &RuleTable) -> Result<Self, EditRefused> {
        let rules = self.rules.with(rules)?;
        match rules.softened(shipped) {
            Some(key) => Err(EditRefused::Softened(key.to_owned())),
            None => Ok(Self { questionnaire, rules }),
        }
    }

    /// The keys of the rules that differ from those of another version: changed, added or gone.
    pub fn changed_rules<'a>(&'a self, other: &'a Self) -> BTreeSet<&'a str> {
        let differs = |one: &&Rule, in_other: &RuleTable| in_other.rule(&one.key) != Some(*one);
        let here = self.rules.rules().iter().filter(|rule| differs(rule, &other.rules));
        let there = other.rules.rules().iter().filter(|rule| differs(rule, &self.rules));
        here.chain(there).map(|rule| rule.key.as_str()).collect()
    }

    /// The keys of the questions that differ from those of another version: changed, added or gone.
    pub fn changed_questions<'a>(&'a self, other: &'a Self) -> BTreeSet<&'a str> {
        let differs = |one: &&Question, in_other: &Questionnaire| in_other.question(&one.key) != Some(*one);
        let here = self.questionnaire.questions().filter(|question| differs(question, &other.questionnaire));
        let there = other.questionnaire.questions().filter(|question| differs(question, &self.questionnaire));
        here.chain(there).map(|question| question.key.as_str()).collect()
    }
}

impl RuleTable {
    /// The first shipped rule on a known allergy or an active infection that is missing here, or milder than it ships:
    /// those can never be overridden, so no edit may open a way around them. Stricter is always allowed.
    pub fn softened<'a>(&self, shipped: &'a Self) -> Option<&'a str> {
        let mut guarded = shipped.rules().iter().filter(|rule| rule.is_guarded());
        guarded.find(|rule| !self.rule(&rule.key).is_some_and(|now| now.holds(rule))).map(|rule| rule.key.as_str())
    }
}

impl Rule {
    /// Whether it stands on a known allergy or an active infection.
    pub fn is_guarded(&self) -> bool {
        matches!(self.outcome, Outcome::DoNotTreat { cause: Cause::KnownAllergy | Cause::ActiveInfection, .. })
    }

    /// Whether it is at least as strict as another, guarded one, wherever that one speaks.
    fn holds(&self, other: &Self) -> bool {
        let Outcome::DoNotTreat { letter, lasts, .. } = &self.outcome else { return false };
        let Outcome::DoNotTreat { letter: was_letter, lasts: lasted, .. } = &other.outcome else { return false };
        let lasts = match (lasts, lasted) {
            (None, _) => true,
            (Some(_), None) => false,
            (Some(now), Some(was)) => is_as_long(*now, *was),
        };
        let covers = ServiceKind::ALL.iter().all(|kind| !other.scope.covers(*kind) || self.scope.covers(*kind));
        let shared = self.shared.is_empty()
            || (!other.shared.is_empty() && other.shared.iter().all(|held| self.shared.contains(held)));
        let test = match (self.test, other.test) {
            (now, Some(TestEffect::DoNotTest)) => now == Some(TestEffect::DoNotTest),
            (Some(TestEffect::Wait(now)), Some(TestEffect::Wait(was))) => is_as_long(now, was),
            (now, Some(TestEffect::Wait(_))) => now == Some(TestEffect::DoNotTest),
            (_, None | Some(TestEffect::Unreliable | TestEffect::Voids)) => true,
        };
        let same = self.question == other.question && self.when == other.when;
        !self.off && self.is_guarded() && same && covers && shared && lasts && test && (*was_letter || !letter)
    }
}

/// Months have 28 days at least and 31 at most.
fn is_as_long(now: Span, was: Span) -> bool {
    match (now, was) {
        (Span::Days(now), Span::Days(was)) | (Span::Months(now), Span::Months(was)) => now >= was,
        (Span::Days(now), Span::Months(was)) => u32::from(now) >= u32::from(was) * 31,
        (Span::Months(now), Span::Days(was)) => u32::from(now) * 28 >= u32::from(was),
    }
}
