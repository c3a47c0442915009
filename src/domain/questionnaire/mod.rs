//! The health questions, as versioned data, and the answers to them.
//!
//! The default set ships in `default.json` beside this file. Which questions a service needs is
//! decided by the rules that use them, in [`super::screening`].

mod answers;
mod form;

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

pub use answers::{Answer, AnswerSet, Answers, Taken, Told};
pub use form::{AnswerRefused, FieldRefused, SectionRefused, TALK, TEXT_MAX};

use super::fingerprint::Fingerprint;
use super::shipped::respeak;
use crate::language::{self, Language};
use crate::t;

/// One version of the health questions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Questionnaire {
    content: Content,
    /// Where each question stands, by its key: its section, and its place there.
    index: BTreeMap<String, (usize, usize)>,
    canonical: String,
    fingerprint: Fingerprint,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Content {
    version: u32,
    language: String,
    sections: Vec<Section>,
}

impl Content {
    /// All that is there to be read.
    fn words(&mut self) -> impl Iterator<Item = &mut String> {
        self.sections.iter_mut().flat_map(|section| {
            [&mut section.title, &mut section.intro]
                .into_iter()
                .chain(section.questions.iter_mut().flat_map(Question::words))
        })
    }
}

/// Questions that are shown together, one group to a page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Section {
    /// Its stable key.
    pub key: String,
    /// Its heading.
    pub title: String,
    /// A sentence that opens it.
    pub intro: String,
    /// Its questions, a follow-up after the question it follows.
    pub questions: Vec<Question>,
}

/// One question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// Its stable key, unique in the questionnaire.
    pub key: String,
    /// The question in plain words.
    pub text: String,
    /// Why it is asked, in one short sentence. Empty for follow-ups that need none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
    /// What kind of answer it takes.
    pub kind: Kind,
    /// The options of a choice; empty for other kinds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub options: Vec<ChoiceOption>,
    /// Asked only after this answer to an earlier question of the section.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<After>,
    /// May be left blank without being asked about. Follow-ups only.
    #[serde(default, skip_serializing_if = "is_false")]
    pub optional: bool,
    /// One of the twelve that matter most.
    #[serde(default, skip_serializing_if = "is_false")]
    pub core: bool,
    /// Shown to the practitioner who treats, not to the booking desk.
    #[serde(default, skip_serializing_if = "is_false")]
    pub sensitive: bool,
    /// Asked from the second visit on.
    #[serde(default, skip_serializing_if = "is_false")]
    pub returning: bool,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands skip_serializing_if a reference")]
fn is_false(flag: &bool) -> bool {
    !flag
}

/// What kind of answer a question takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Yes, no, or prefer to talk about it.
    YesNo,
    /// A day in the past, or prefer to talk about it.
    Date,
    /// One of the options, or prefer to talk about it.
    Choice,
    /// A few words, at most [`TEXT_MAX`] characters, or prefer to talk about it.
    Text,
}

/// One option of a choice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChoiceOption {
    /// Its stable key, unique in the question.
    pub key: String,
    /// Its words.
    pub label: String,
}

/// The answer after which a follow-up is asked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct After {
    /// The key of the earlier question.
    pub question: String,
    /// `yes`, or the key of one of its options.
    pub is: String,
}

/// Why a text is not a questionnaire.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuestionnaireRefused {
    /// It is not JSON of the right shape.
    #[error("not a questionnaire: {0}")]
    Shape(String),
    /// A key is not of a-z, 0-9 and _, or stands twice.
    #[error("the key {0} is malformed or stands twice")]
    Key(String),
    /// A question or section has no words.
    #[error("{0} has no words")]
    NoWords(String),
    /// Options belong to a choice, and a choice has at least two.
    #[error("the options of {0} don't fit its kind")]
    Options(String),
    /// A follow-up names no earlier question of its section, or an answer that can't be given.
    #[error("{0} follows an answer that can't be given before it")]
    After(String),
    /// Only a follow-up may be left blank.
    #[error("{0} may be left blank but follows no answer")]
    Optional(String),
}

impl Questionnaire {
    /// The set that ships with the program, in the language that is spoken: whoever answers years later for what was
    /// asked needs the words that were read, so these are what is published.
    ///
    /// # Errors
    /// [`QuestionnaireRefused`] if the shipped file were malformed; a test keeps it well formed.
    pub fn built_in() -> Result<Self, QuestionnaireRefused> {
        let mut content = Self::parse(include_str!("default.json"))?.content;
        content.language = Language::spoken().code().to_owned();
        for words in content.words() {
            *words = t(words).to_owned();
        }
        Self::of(content)
    }

    /// Reads and checks one version.
    ///
    /// # Errors
    /// [`QuestionnaireRefused`] names the first thing that is wrong.
    pub fn parse(json: &str) -> Result<Self, QuestionnaireRefused> {
        let content = serde_json::from_str(json).map_err(|error| QuestionnaireRefused::Shape(error.to_string()))?;
        Self::of(content)
    }

    /// With other sections.
    ///
    /// # Errors
    /// [`QuestionnaireRefused`] names the first thing that is wrong.
    pub fn with(&self, sections: Vec<Section>) -> Result<Self, QuestionnaireRefused> {
        Self::of(Content { sections, ..self.content.clone() })
    }

    /// In another language, where it says what ships; words of the studio's own stay.
    ///
    /// # Errors
    /// Never for questions that were checked.
    pub fn respoken(&self, from: Language, to: Language) -> Result<Self, QuestionnaireRefused> {
        let (mut before, mut after) = (from.within(Self::built_in)?.content, to.within(Self::built_in)?.content);
        let mut content = Content { language: to.code().to_owned(), ..self.content.clone() };
        respeak(content.words(), before.words(), after.words());
        Self::of(content)
    }

    /// With another version number.
    ///
    /// # Errors
    /// Never for questions that were checked.
    pub fn numbered(&self, version: u32) -> Result<Self, QuestionnaireRefused> {
        Self::of(Content { version, ..self.content.clone() })
    }

    fn of(content: Content) -> Result<Self, QuestionnaireRefused> {
        let shape = |error: serde_json::Error| QuestionnaireRefused::Shape(error.to_string());
        let index = check(&content)?;
        let canonical = serde_json::to_string(&content).map_err(shape)?;
        let fingerprint = Fingerprint::of(canonical.as_bytes());
        Ok(Self { content, index, canonical, fingerprint })
    }

    /// Its version number.
    pub fn version(&self) -> u32 {
        self.content.version
    }

    /// The language it is written in, as an IETF tag such as `en`.
    pub fn language(&self) -> &str {
        &self.content.language
    }

    /// The sections with every question.
    pub fn sections(&self) -> &[Section] {
        &self.content.sections
    }

    /// The text whose SHA-256 is [`Self::fingerprint`]: compact JSON in a fixed order.
    pub fn canonical(&self) -> &str {
        &self.canonical
    }

    /// Names this exact version.
    pub fn fingerprint(&self) -> Fingerprint {
        self.fingerprint
    }

    /// Every question in order.
    pub fn questions(&self) -> impl Iterator<Item = &Question> {
        self.content.sections.iter().flat_map(|section| &section.questions)
    }

    /// The question with this key.
    pub fn question(&self, key: &str) -> Option<&Question> {
        let (section, question) = self.index.get(key)?;
        self.content.sections.get(*section)?.questions.get(*question)
    }

    /// Whether a question is open after these answers: each question it follows got the answer that
    /// opens it. Questions that follow none always are.
    pub fn is_open(&self, question: &Question, answers: &Answers) -> bool {
        question.after.as_ref().is_none_or(|after| {
            answers.get(&after.question).is_some_and(|answer| answer.opens(&after.is))
                && self.question(&after.question).is_some_and(|earlier| self.is_open(earlier, answers))
        })
    }

    /// The question that all those before this one hang on; itself when it follows none.
    pub fn root<'a>(&'a self, question: &'a Question) -> &'a Question {
        let before = question.after.as_ref().and_then(|after| self.question(&after.question));
        before.map_or(question, |before| self.root(before))
    }

    /// Whether a question, or one that it follows, is for the practitioner who treats and not for the
    /// booking desk. A key that is not known is kept from the desk.
    pub fn is_sensitive(&self, key: &str) -> bool {
        self.question(key).is_none_or(|question| {
            question.sensitive || question.after.as_ref().is_some_and(|after| self.is_sensitive(&after.question))
        })
    }

    /// The sections with the questions that `keep` wants; sections without any are left out.
    pub fn keeping(&self, keep: impl Fn(&Question) -> bool) -> Vec<Section> {
        let kept = self.content.sections.iter().map(|section| Section {
            questions: section.questions.iter().filter(|question| keep(question)).cloned().collect(),
            ..section.clone()
        });
        kept.filter(|section| !section.questions.is_empty()).collect()
    }
}

impl Question {
    fn words(&mut self) -> impl Iterator<Item = &mut String> {
        [&mut self.text, &mut self.why].into_iter().chain(self.options.iter_mut().map(|option| &mut option.label))
    }

    /// An answer to it in words, a day as `3 March 2026`.
    pub fn in_words(&self, answer: &Answer) -> String {
        match answer {
            Answer::Yes => t("Yes").to_owned(),
            Answer::No => t("No").to_owned(),
            Answer::PreferToTalk => t("Rather talk about it").to_owned(),
            Answer::Date(day) => language::date(*day),
            Answer::Choice(key) => {
                let option = self.options.iter().find(|option| option.key == *key);
                option.map_or_else(|| key.clone(), |option| option.label.clone())
            }
            Answer::Text(text) => text.clone(),
        }
    }

    /// Whether `word` (`yes`, or an option's key) is an answer that can open a follow-up.
    pub fn can_be(&self, word: &str) -> bool {
        match self.kind {
            Kind::YesNo => word == "yes",
            Kind::Choice => self.options.iter().any(|option| option.key == word),
            Kind::Date | Kind::Text => false,
        }
    }
}

fn well_formed(key: &str) -> bool {
    !key.is_empty()
        && key.len() <= 60
        && key.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_')
}

/// Where each question stands, by its key: its section, and its place there.
fn check(content: &Content) -> Result<BTreeMap<String, (usize, usize)>, QuestionnaireRefused> {
    let mut sections = BTreeSet::new();
    let mut index = BTreeMap::new();
    for (number, section) in content.sections.iter().enumerate() {
        if !well_formed(&section.key) || !sections.insert(&section.key) {
            return Err(QuestionnaireRefused::Key(section.key.clone()));
        }
        if section.title.trim().is_empty() {
            return Err(QuestionnaireRefused::NoWords(section.key.clone()));
        }
        let mut earlier: BTreeMap<&str, &Question> = BTreeMap::new();
        for (place, question) in section.questions.iter().enumerate() {
            if !well_formed(&question.key) || index.insert(question.key.clone(), (number, place)).is_some() {
                return Err(QuestionnaireRefused::Key(question.key.clone()));
            }
            check_question(question, &earlier)?;
            earlier.insert(&question.key, question);
        }
    }
    Ok(index)
}

fn check_question(question: &Question, earlier: &BTreeMap<&str, &Question>) -> Result<(), QuestionnaireRefused> {
    let key = || question.key.clone();
    let root = question.after.is_none();
    if question.text.trim().is_empty() || (root && question.why.trim().is_empty()) {
        return Err(QuestionnaireRefused::NoWords(key()));
    }
    let options: BTreeSet<&str> = question.options.iter().map(|option| option.key.as_str()).collect();
    let distinct = options.len() == question.options.len();
    let words = question.options.iter().all(|option| well_formed(&option.key) && !option.label.trim().is_empty());
    let fits = match question.kind {
        Kind::Choice => options.len() >= 2 && !options.contains(TALK) && !options.contains("yes"),
        Kind::YesNo | Kind::Date | Kind::Text => options.is_empty(),
    };
    if !(fits && distinct && words) {
        return Err(QuestionnaireRefused::Options(key()));
    }
    if root && question.optional {
        return Err(QuestionnaireRefused::Optional(key()));
    }
    let follows = |after: &After| earlier.get(after.question.as_str()).is_some_and(|before| before.can_be(&after.is));
    if question.after.as_ref().is_some_and(|after| !follows(after)) {
        return Err(QuestionnaireRefused::After(key()));
    }
    Ok(())
}

#[cfg(test)]
mod tests;
