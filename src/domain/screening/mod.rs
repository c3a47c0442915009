//! The rule table: what an answer means for a service.
//!
//! Rules are versioned data; the default table ships in `default.json` beside this file. Its waits
//! are common practice unless a rule names a source: regulators publish limits on chemistry and age
//! and almost nothing on waiting times, so the label, the insurer and local codes come first.

mod draft;
mod evaluate;
mod fits;
mod taken_back;
mod testing;

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

pub use draft::{Draft, EditRefused};
pub use evaluate::{BLANK, Screening};
pub use taken_back::taken_back;
pub use testing::TestPermission;

use super::catalogue::{Area, Chemistry, ServiceKind};
use super::fingerprint::Fingerprint;
use super::limits::Ingredient;
use super::questionnaire::{Questionnaire, Section};
use super::shipped::respeak;
use super::span::Span;
use super::verdict::{Basis, BasisKind, Verdict};
use crate::language::Language;
use crate::t;

/// One version of the rules.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleTable {
    content: Content,
    canonical: String,
    fingerprint: Fingerprint,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Content {
    version: u32,
    rules: Vec<Rule>,
}

impl Content {
    /// All that is there to be read.
    fn words(&mut self) -> impl Iterator<Item = &mut String> {
        self.rules.iter_mut().flat_map(|rule| [&mut rule.say, &mut rule.basis.text])
    }
}

/// What one answer to one question means.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Its stable key.
    pub key: String,
    /// The question, by its key.
    pub question: String,
    /// The answer that fires it: `yes`, or the key of an option.
    pub when: String,
    /// The services that it speaks of.
    #[serde(default, skip_serializing_if = "Scope::is_any")]
    pub scope: Scope,
    /// What it says.
    pub outcome: Outcome,
    /// When not empty: the outcome stands if the products hold one of these, or if it is not known
    /// what they hold; otherwise the rule asks.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shared: Vec<Ingredient>,
    /// What it means for skin tests.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub test: Option<TestEffect>,
    /// Further questions whose answers the practitioner reads with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub details: Vec<String>,
    /// What it rests on.
    pub basis: Basis,
    /// The sentence for the client.
    pub say: String,
    /// Whether the studio has taken it out of use: then it says nothing.
    #[serde(default, skip_serializing_if = "is_false")]
    pub off: bool,
}

/// The services that a rule speaks of. An empty list stands for all.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scope {
    /// Any of these chemicals.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub chemistries: Vec<Chemistry>,
    /// Any of these areas.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub areas: Vec<Area>,
}

impl Scope {
    /// Whether it speaks of a service.
    pub fn covers(&self, service: ServiceKind) -> bool {
        let chemistry = self.chemistries.is_empty()
            || service.chemistries().iter().any(|chemistry| self.chemistries.contains(chemistry));
        chemistry && (self.areas.is_empty() || self.areas.contains(&service.area()))
    }

    /// Whether it speaks of every service.
    pub fn is_any(&self) -> bool {
        self.chemistries.is_empty() && self.areas.is_empty()
    }
}

/// What a rule says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "verdict", rename_all = "snake_case", deny_unknown_fields)]
pub enum Outcome {
    /// Nothing stands against it.
    Clear,
    /// Go on, and tick on the day.
    Note,
    /// The practitioner follows up.
    Ask,
    /// Not before a date.
    WaitUntil {
        /// The question whose day the wait counts from; without it, the day of the answers.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<String>,
        /// How long.
        wait: Span,
        /// What is left when the wait is over.
        #[serde(default)]
        then: Then,
        /// Whether a clinician's letter shortens it.
        #[serde(default, skip_serializing_if = "is_false")]
        letter: bool,
    },
    /// A clinician's letter is needed.
    LetterNeeded,
    /// Not with this service.
    DoNotTreat {
        /// Why: some causes can never be overridden.
        cause: Cause,
        /// Whether the practitioner may go ahead with a written reason.
        #[serde(default, skip_serializing_if = "is_false")]
        overridable: bool,
        /// Whether a clinician's letter lifts it.
        #[serde(default, skip_serializing_if = "is_false")]
        letter: bool,
        /// How long it stands after the day of the answers; without it, until a new answer.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lasts: Option<Span>,
    },
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands skip_serializing_if a reference")]
fn is_false(flag: &bool) -> bool {
    !flag
}

/// What is left when a wait is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Then {
    /// Nothing.
    #[default]
    Clear,
    /// A note to look at it on the day.
    Note,
    /// The practitioner follows up.
    Ask,
}

impl Then {
    /// As a verdict.
    pub fn verdict(self) -> Verdict {
        match self {
            Self::Clear => Verdict::Clear,
            Self::Note => Verdict::Note,
            Self::Ask => Verdict::Ask,
        }
    }
}

/// Why a rule says `do not treat`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// A known allergy: never overridden.
    KnownAllergy,
    /// An infection or infestation now: never overridden.
    ActiveInfection,
    /// Anything else: as the rule says.
    Other,
}

/// What an answer means for skin tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TestEffect {
    /// Don't apply a skin test at all.
    DoNotTest,
    /// Don't apply one before this has passed since the day of the answers.
    Wait(Span),
    /// A test made now can't be trusted: a reaction may be suppressed.
    Unreliable,
    /// Tests made before this answer was new no longer count.
    Voids,
}

/// Why a text is not a rule table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RuleTableRefused {
    /// It is not JSON of the right shape.
    #[error("not a rule table: {0}")]
    Shape(String),
    /// A rule's key is empty or stands twice.
    #[error("the rule {0} has no key of its own")]
    Key(String),
    /// A rule has no sentence for the client, or no source though it claims one.
    #[error("the rule {0} says nothing to the client or names no source")]
    NoWords(String),
    /// A known allergy or an active infection can't be overridden.
    #[error("the rule {0} may not be overridden")]
    Override(String),
    /// A rule names a question or an answer that the questionnaire lacks.
    #[error("the rule {0} uses a question or answer that is not in the questionnaire")]
    Unknown(String),
    /// A wait counts from a question that takes no day, or that may be left blank.
    #[error("the rule {0} counts from a question that need not give a day")]
    NoDay(String),
    /// No rule uses this question, so it must not be asked.
    #[error("no rule uses the question {0}")]
    Unused(String),
    /// No rule speaks on this answer.
    #[error("no rule speaks on the answer {1} to {0}")]
    Silent(String, String),
}

impl RuleTable {
    /// The table that ships with the program, in the language that is spoken. Titles of sources stay as they were
    /// published.
    ///
    /// # Errors
    /// [`RuleTableRefused`] if the shipped file were malformed; a test keeps it well formed.
    pub fn built_in() -> Result<Self, RuleTableRefused> {
        let mut content = Self::parse(include_str!("default.json"))?.content;
        for words in content.words() {
            *words = t(words).to_owned();
        }
        Self::of(content)
    }

    /// Reads and checks one version.
    ///
    /// # Errors
    /// [`RuleTableRefused`] names the first rule that is wrong.
    pub fn parse(json: &str) -> Result<Self, RuleTableRefused> {
        let content = serde_json::from_str(json).map_err(|error| RuleTableRefused::Shape(error.to_string()))?;
        Self::of(content)
    }

    /// With other rules.
    ///
    /// # Errors
    /// [`RuleTableRefused`] names the first rule that is wrong.
    pub fn with(&self, rules: Vec<Rule>) -> Result<Self, RuleTableRefused> {
        Self::of(Content { rules, ..self.content.clone() })
    }

    /// In another language, where it says what ships; words of the studio's own stay.
    ///
    /// # Errors
    /// Never for a table that was checked.
    pub fn respoken(&self, from: Language, to: Language) -> Result<Self, RuleTableRefused> {
        let (mut before, mut after) = (from.within(Self::built_in)?.content, to.within(Self::built_in)?.content);
        let mut content = self.content.clone();
        respeak(content.words(), before.words(), after.words());
        Self::of(content)
    }

    /// With another version number.
    ///
    /// # Errors
    /// Never for a table that was checked.
    pub fn numbered(&self, version: u32) -> Result<Self, RuleTableRefused> {
        Self::of(Content { version, ..self.content.clone() })
    }

    fn of(content: Content) -> Result<Self, RuleTableRefused> {
        let shape = |error: serde_json::Error| RuleTableRefused::Shape(error.to_string());
        let mut keys = BTreeSet::new();
        for rule in &content.rules {
            if rule.key.trim().is_empty() || !keys.insert(&rule.key) {
                return Err(RuleTableRefused::Key(rule.key.clone()));
            }
            let sourced = rule.basis.kind == BasisKind::Practice || !rule.basis.text.trim().is_empty();
            if rule.say.trim().is_empty() || !sourced {
                return Err(RuleTableRefused::NoWords(rule.key.clone()));
            }
            if let Outcome::DoNotTreat {
                cause: Cause::KnownAllergy | Cause::ActiveInfection, overridable: true, ..
            } = rule.outcome
            {
                return Err(RuleTableRefused::Override(rule.key.clone()));
            }
        }
        let canonical = serde_json::to_string(&content).map_err(shape)?;
        let fingerprint = Fingerprint::of(canonical.as_bytes());
        Ok(Self { content, canonical, fingerprint })
    }

    /// Its version number.
    pub fn version(&self) -> u32 {
        self.content.version
    }

    /// Its rules, in use or not.
    pub fn rules(&self) -> &[Rule] {
        &self.content.rules
    }

    /// The rules that speak.
    pub fn in_use(&self) -> impl Iterator<Item = &Rule> {
        self.content.rules.iter().filter(|rule| !rule.off)
    }

    /// The rule with this key.
    pub fn rule(&self, key: &str) -> Option<&Rule> {
        self.content.rules.iter().find(|rule| rule.key == key)
    }

    /// The text whose SHA-256 is [`Self::fingerprint`]: compact JSON in a fixed order.
    pub fn canonical(&self) -> &str {
        &self.canonical
    }

    /// Names this exact version.
    pub fn fingerprint(&self) -> Fingerprint {
        self.fingerprint
    }

    /// The sections and questions to ask for these services: only those that a rule uses.
    /// Questions for later visits are asked when `returning`.
    pub fn sections_for(
        &self,
        questionnaire: &Questionnaire,
        services: &[ServiceKind],
        returning: bool,
    ) -> Vec<Section> {
        let used: BTreeSet<&str> = services.iter().flat_map(|service| self.used_for(questionnaire, *service)).collect();
        questionnaire.keeping(|question| used.contains(question.key.as_str()) && (returning || !question.returning))
    }

    /// The keys of the questions that rules use for a service, with the questions these follow.
    fn used_for<'a>(&'a self, questionnaire: &'a Questionnaire, service: ServiceKind) -> BTreeSet<&'a str> {
        let rules = self.in_use().filter(|rule| rule.scope.covers(service));
        let mut open: Vec<&str> = rules.flat_map(Rule::uses).collect();
        let mut used = BTreeSet::new();
        while let Some(key) = open.pop() {
            if used.insert(key) {
                let after = questionnaire.question(key).and_then(|question| question.after.as_ref());
                open.extend(after.map(|after| after.question.as_str()));
            }
        }
        used
    }

    /// The questions on which a clinician's letter can lift or shorten what a rule says, by key; some more than once.
    pub fn with_letter(&self) -> impl Iterator<Item = &str> {
        let helps = |rule: &&Rule| match &rule.outcome {
            Outcome::LetterNeeded => true,
            Outcome::WaitUntil { letter, .. } | Outcome::DoNotTreat { letter, .. } => *letter,
            Outcome::Clear | Outcome::Note | Outcome::Ask => false,
        };
        self.in_use().filter(helps).map(|rule| rule.question.as_str())
    }
}

impl Rule {
    /// The question whose day its wait counts from.
    pub fn counts_from(&self) -> Option<&str> {
        match &self.outcome {
            Outcome::WaitUntil { from, .. } => from.as_deref(),
            Outcome::Clear | Outcome::Note | Outcome::Ask | Outcome::LetterNeeded | Outcome::DoNotTreat { .. } => None,
        }
    }

    fn uses(&self) -> impl Iterator<Item = &str> {
        [self.question.as_str()].into_iter().chain(self.counts_from()).chain(self.details.iter().map(String::as_str))
    }
}

#[cfg(test)]
mod tests;
