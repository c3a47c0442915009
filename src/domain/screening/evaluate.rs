//! From answers to reasons.

use std::collections::BTreeSet;

use time::Date;

use super::{Outcome, Rule, RuleTable};
use crate::domain::catalogue::ServiceKind;
use crate::domain::letter::Letter;
use crate::domain::limits::Ingredient;
use crate::domain::questionnaire::{Answer, AnswerSet, Kind, Question, Questionnaire};
use crate::domain::span::Span;
use crate::domain::verdict::{About, Basis, BasisKind, Clears, Earliest, Reason, Start, Verdict};
use crate::t;

/// A client's answers before the rules.
#[derive(Debug, Clone, Copy)]
pub struct Screening<'a> {
    /// The questions, in the version that is in force.
    pub questionnaire: &'a Questionnaire,
    /// The rules, in the version that is in force.
    pub rules: &'a RuleTable,
    /// The answers, in whatever version they were given: what is missing is asked.
    pub set: &'a AnswerSet,
    /// The client's letters.
    pub letters: &'a [Letter],
    /// What the planned products hold, when the register knows.
    pub ingredients: Option<&'a BTreeSet<Ingredient>>,
}

/// The key under which a blank or open answer is reported.
pub const BLANK: &str = "answer_open";

impl Screening<'_> {
    /// Every reason that the answers give against, or beside, a service on a day.
    pub fn reasons(&self, service: ServiceKind, on: Date) -> Vec<Reason> {
        let mut reasons = Vec::new();
        let mut undated = BTreeSet::new();
        for rule in self.rules.in_use() {
            if !rule.scope.covers(service) || !self.fires(rule) {
                continue;
            }
            if let Some(from) = rule.counts_from()
                && self.day_of(from).is_none()
            {
                undated.insert(from);
                reasons.push(self.reason(rule, Verdict::Ask, vec![Clears::Answer]));
                continue;
            }
            reasons.extend(self.judge(rule, service, on));
        }
        let open = self.open(service).into_iter().filter(|question| !undated.contains(question.key.as_str()));
        reasons.extend(open.map(|question| self.blank(question)));
        reasons
    }

    /// The questions that a service needs an answer to and that have none, or none that can be given now.
    pub fn open(&self, service: ServiceKind) -> Vec<&Question> {
        let used = self.rules.used_for(self.questionnaire, service);
        let open = |question: &&Question| used.contains(question.key.as_str()) && self.is_unanswered(question);
        self.questionnaire.questions().filter(open).collect()
    }

    /// Whether an answer fires a rule: the answer is the one it waits for, and the question is open.
    pub(super) fn fires(&self, rule: &Rule) -> bool {
        self.set.answers.get(&rule.question).is_some_and(|answer| answer.opens(&rule.when))
            && self
                .questionnaire
                .question(&rule.question)
                .is_some_and(|question| self.questionnaire.is_open(question, &self.set.answers))
    }

    fn day_of(&self, key: &str) -> Option<Date> {
        match self.set.answers.get(key) {
            Some(Answer::Date(day)) => Some(*day),
            _ => None,
        }
    }

    /// Blank, left to talk about, or of a kind that the question no longer takes.
    pub(super) fn is_unanswered(&self, question: &Question) -> bool {
        if (question.returning && !self.set.returning) || !self.questionnaire.is_open(question, &self.set.answers) {
            return false;
        }
        match (self.set.answers.get(&question.key), question.kind) {
            (None, _) => !question.optional,
            (Some(Answer::Yes | Answer::No), Kind::YesNo)
            | (Some(Answer::Date(_)), Kind::Date)
            | (Some(Answer::Text(_)), Kind::Text) => false,
            (Some(Answer::Choice(option)), Kind::Choice) => !question.can_be(option),
            (Some(_), _) => true,
        }
    }

    /// What a rule that fired says on a day; nothing once it has lapsed.
    fn judge(&self, rule: &Rule, service: ServiceKind, on: Date) -> Option<Reason> {
        if !self.may_share(rule) {
            return Some(self.reason(rule, Verdict::Ask, vec![Clears::Talk]));
        }
        let reason = match &rule.outcome {
            Outcome::Clear => return None,
            Outcome::Note => self.reason(rule, Verdict::Note, Vec::new()),
            Outcome::Ask => self.reason(rule, Verdict::Ask, vec![Clears::Talk]),
            Outcome::LetterNeeded => self.with_letter(
                rule,
                service,
                on,
                true,
                self.reason(rule, Verdict::LetterNeeded, vec![Clears::Letter]),
            ),
            Outcome::WaitUntil { from, wait, then, letter } => {
                let start = from.as_deref().map_or(Some(self.set.given_on), |key| self.day_of(key))?;
                let until = wait.after(start);
                if on >= until {
                    let clears = if then.verdict() == Verdict::Ask { vec![Clears::Talk] } else { Vec::new() };
                    self.reason(rule, then.verdict(), clears)
                } else {
                    let mut waiting = self.reason(rule, Verdict::WaitUntil, vec![Clears::Waiting]);
                    waiting.from = Some(Earliest::Day(until));
                    self.with_letter(rule, service, on, *letter, waiting)
                }
            }
            Outcome::DoNotTreat { overridable, letter, lasts, .. } => {
                let until = lasts.map(|span: Span| span.after(self.set.given_on));
                if until.is_some_and(|until| on >= until) {
                    return None;
                }
                let mut refusal = self.reason(rule, Verdict::DoNotTreat, Vec::new());
                refusal.start = if *overridable { Start::WithReason } else { Start::No };
                refusal.from = until.map(Earliest::Day);
                refusal.clears.extend(until.map(|_| Clears::Waiting));
                self.with_letter(rule, service, on, *letter, refusal)
            }
        };
        (reason.verdict > Verdict::Clear).then_some(reason)
    }

    fn may_share(&self, rule: &Rule) -> bool {
        rule.shared.is_empty()
            || self.ingredients.is_none_or(|held| rule.shared.iter().any(|ingredient| held.contains(ingredient)))
    }

    /// A letter whose scope covers the question turns what it may lift into a note.
    fn with_letter(&self, rule: &Rule, service: ServiceKind, on: Date, lifts: bool, mut reason: Reason) -> Reason {
        if !lifts {
            return reason;
        }
        if let Some(letter) = self.letters.iter().find(|letter| self.letter_covers(letter, &rule.question, service, on))
        {
            reason.letter = Some(letter.id().clone());
            reason.say = t("The letter that we have speaks of this, and allows the treatment.").to_owned();
            reason.verdict = Verdict::Note;
            reason.start = Start::Yes;
            reason.from = None;
            reason.clears.clear();
        } else if !reason.clears.contains(&Clears::Letter) {
            reason.clears.push(Clears::Letter);
        }
        reason
    }

    /// A letter may name the follow-up itself or a question that it follows. It knows of nothing that happened after it.
    pub(super) fn letter_covers(&self, letter: &Letter, key: &str, service: ServiceKind, on: Date) -> bool {
        let before = |question: &&Question| self.questionnaire.question(&question.after.as_ref()?.question);
        let line = || std::iter::successors(self.questionnaire.question(key), before);
        line().any(|question| letter.covers(&question.key, service, on))
            && line().filter_map(|question| self.happened(question)).all(|day| day <= letter.dated())
    }

    /// The day that was given to a question, or to one that follows it.
    fn happened(&self, question: &Question) -> Option<Date> {
        let follows = |one: &&Question| one.after.as_ref().is_some_and(|after| after.question == question.key);
        let all = [question].into_iter().chain(self.questionnaire.questions().filter(follows));
        let open = all.filter(|one| self.questionnaire.is_open(one, &self.set.answers));
        open.filter_map(|one| self.day_of(&one.key)).max()
    }

    fn reason(&self, rule: &Rule, verdict: Verdict, clears: Vec<Clears>) -> Reason {
        Reason {
            about: About::Question(rule.question.clone()),
            rule: rule.key.clone(),
            version: self.rules.version(),
            verdict,
            start: verdict.start(),
            from: None,
            clears,
            basis: rule.basis.clone(),
            say: rule.say.clone(),
            details: rule.details.iter().map(String::as_str).chain(rule.counts_from()).map(str::to_owned).collect(),
            letter: None,
        }
    }

    fn blank(&self, question: &Question) -> Reason {
        let talk = self.set.answers.get(&question.key) == Some(&Answer::PreferToTalk);
        let (clears, say) = if talk {
            (Clears::Talk, t("You would rather talk about this one: your practitioner will ask you in private."))
        } else {
            (
                Clears::Answer,
                t("One question is still open; please answer it, or tell us that you would rather talk about it."),
            )
        };
        Reason {
            about: About::Question(question.key.clone()),
            rule: BLANK.to_owned(),
            version: self.questionnaire.version(),
            verdict: Verdict::Ask,
            start: Verdict::Ask.start(),
            from: None,
            clears: vec![clears],
            basis: Basis {
                kind: BasisKind::Practice,
                text: t("an unknown answer is asked, never taken for a no").to_owned(),
            },
            say: say.to_owned(),
            details: Vec::new(),
            letter: None,
        }
    }
}
