//! Answers and a dated set of them. Their `Debug` never shows content.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::fmt::Write as _;

use serde::{Deserialize, Serialize};
use time::Date;

use super::Section;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::iso;
use crate::tf;

/// One answer. A blank is no answer at all, and never a no.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// Yes.
    Yes,
    /// No.
    No,
    /// She would rather talk about it.
    PreferToTalk,
    /// A day.
    Date(#[serde(with = "iso::day")] Date),
    /// The key of an option.
    Choice(String),
    /// A few words.
    Text(String),
}

impl Answer {
    /// Whether this answer opens a follow-up, or fires a rule, that waits for `word`.
    pub fn opens(&self, word: &str) -> bool {
        match self {
            Self::Yes => word == "yes",
            Self::Choice(option) => option == word,
            Self::No | Self::PreferToTalk | Self::Date(_) | Self::Text(_) => false,
        }
    }

    /// The value that a form field carries for it, so that a stored answer can be shown to confirm or
    /// change; [`super::Section::read`] reads it back.
    pub fn form_value(&self) -> String {
        match self {
            Self::Yes => "yes".to_owned(),
            Self::No => "no".to_owned(),
            Self::PreferToTalk => super::TALK.to_owned(),
            Self::Date(day) => day.to_string(),
            Self::Choice(option) => option.clone(),
            Self::Text(text) => text.clone(),
        }
    }

    fn canonical(&self) -> (&'static str, String) {
        match self {
            Self::Yes => ("yes", String::new()),
            Self::No => ("no", String::new()),
            Self::PreferToTalk => ("talk", String::new()),
            Self::Date(day) => ("date", day.to_string()),
            Self::Choice(option) => ("choice", option.clone()),
            Self::Text(text) => ("text", text.clone()),
        }
    }
}

impl fmt::Debug for Answer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Answer(..)")
    }
}

/// Answers by the key of their question.
#[derive(Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Answers(BTreeMap<String, Answer>);

impl Answers {
    /// The answer to a question, if one was given.
    pub fn get(&self, key: &str) -> Option<&Answer> {
        self.0.get(key)
    }

    /// Records an answer in place of an earlier one.
    pub fn set(&mut self, key: impl Into<String>, answer: Answer) {
        self.0.insert(key.into(), answer);
    }

    /// Every answer in the order of the keys.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Answer)> {
        self.0.iter().map(|(key, answer)| (key.as_str(), answer))
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether nothing was answered.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The others, without those to these questions.
    #[must_use]
    pub fn without(mut self, these: impl Fn(&str) -> bool) -> Self {
        self.0.retain(|key, _| !these(key));
        self
    }

    /// Puts what a section's page gave in place of all that was answered there before.
    pub fn replace_section(&mut self, section: &Section, given: Self) {
        for question in &section.questions {
            self.0.remove(&question.key);
        }
        self.0.extend(given.0);
    }

    /// The keys whose answer differs between two sets, given or taken away.
    pub fn changed_since<'a>(&'a self, earlier: &'a Self) -> BTreeSet<&'a str> {
        let keys = self.0.keys().chain(earlier.0.keys());
        keys.filter(|key| self.get(key) != earlier.get(key)).map(String::as_str).collect()
    }

    /// The bytes whose SHA-256 is [`Self::fingerprint`]: one line an answer in the order of the
    /// keys, with the length of the content so that no content can pass for another.
    pub fn canonical(&self) -> String {
        self.0.iter().fold(String::new(), |mut lines, (key, answer)| {
            let (word, content) = answer.canonical();
            // Writing to a String can't fail.
            let _ = writeln!(lines, "{key} {word} {} {content}", content.len());
            lines
        })
    }

    /// Names exactly these answers.
    pub fn fingerprint(&self) -> Fingerprint {
        Fingerprint::of(self.canonical().as_bytes())
    }
}

impl fmt::Debug for Answers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Answers({} given)", self.len())
    }
}

impl<K: Into<String>> FromIterator<(K, Answer)> for Answers {
    fn from_iter<I: IntoIterator<Item = (K, Answer)>>(answers: I) -> Self {
        Self(answers.into_iter().map(|(key, answer)| (key.into(), answer)).collect())
    }
}

/// Whose words answers are that somebody of the team took down, and how they were said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// By the client, who was there.
    ClientHere,
    /// By the client, on the phone.
    ClientPhone,
    /// By a parent or guardian, who was there.
    GuardianHere,
    /// By a parent or guardian, on the phone.
    GuardianPhone,
}

impl Told {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::ClientHere, Self::ClientPhone, Self::GuardianHere, Self::GuardianPhone];

    /// The word that the database and the form use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::ClientHere => "client_here",
            Self::ClientPhone => "client_phone",
            Self::GuardianHere => "guardian_here",
            Self::GuardianPhone => "guardian_phone",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|told| told.as_str() == word)
    }
}

/// Who took answers down, and from whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The member of the team, by name.
    pub by: String,
    /// Whose words they are.
    pub told: Told,
}

impl Taken {
    /// In words, as they follow "by".
    pub fn in_words(&self) -> String {
        let words = match self.told {
            Told::ClientHere => tf("{who}, as the client said it here"),
            Told::ClientPhone => tf("{who}, as the client said it on the phone"),
            Told::GuardianHere => tf("{who}, as a parent or guardian said it here"),
            Told::GuardianPhone => tf("{who}, as a parent or guardian said it on the phone"),
        };
        words.with("who", &self.by).to_string()
    }
}

/// Answers as a client gave or confirmed them on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AnswerSet {
    /// The version of the questionnaire that she saw.
    pub questionnaire: u32,
    /// The day on which she gave or confirmed them.
    #[serde(with = "iso::day")]
    pub given_on: Date,
    /// Whether she had answered before, so that the questions for later visits were asked.
    pub returning: bool,
    /// The answers.
    pub answers: Answers,
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    fn answers() -> Answers {
        [
            ("sight", Answer::Yes),
            ("word", Answer::Text("secret words".into())),
            ("day", Answer::Date(date!(2026 - 03 - 09))),
        ]
        .into_iter()
        .collect()
    }

    #[test]
    fn those_that_are_left_out_go_and_the_others_stay() {
        let mut answers = Answers::default();
        answers.set("changes", Answer::No);
        answers.set("contacts", Answer::Yes);
        let left = answers.without(|key| key == "changes");
        assert_eq!((left.get("changes"), left.get("contacts"), left.len()), (None, Some(&Answer::Yes), 1));
    }

    #[test]
    fn whoever_took_answers_down_says_whose_words_they_are() {
        let said: BTreeSet<String> =
            Told::ALL.map(|told| Taken { by: "Liv Tannhauer".to_owned(), told }.in_words()).into();
        assert_eq!(said.len(), 4);
        assert!(said.contains("Liv Tannhauer, as the client said it on the phone"), "{said:?}");
        assert_eq!(Told::ALL.map(|told| Told::parse(told.as_str())), Told::ALL.map(Some));
        assert_eq!(Told::parse("client"), None);
    }

    #[test]
    fn debug_shows_no_content() {
        let set = AnswerSet { questionnaire: 1, given_on: date!(2026 - 03 - 10), returning: false, answers: answers() };
        let shown = format!("{set:?} {:?} {:#?}", Answer::Text("secret words".into()), set.answers);
        for hidden in ["secret", "sight", "Yes", "2026-03-09"] {
            assert!(!shown.contains(hidden), "{shown}");
        }
    }

    #[test]
    fn stored_text_reads_back() {
        let json = serde_json::to_string(&answers()).unwrap();
        assert_eq!(json, r#"{"day":{"date":"2026-03-09"},"sight":"yes","word":{"text":"secret words"}}"#);
        assert_eq!(serde_json::from_str::<Answers>(&json).unwrap(), answers());
    }

    #[test]
    fn the_fingerprint_follows_every_answer() {
        let mut other = answers();
        assert_eq!(other.fingerprint(), answers().fingerprint());
        other.set("sight", Answer::No);
        assert_ne!(other.fingerprint(), answers().fingerprint());
        let one: Answers = [("a", Answer::Text("x\nb text 1 y".into()))].into_iter().collect();
        let two: Answers = [("a", Answer::Text("x".into())), ("b", Answer::Text("y".into()))].into_iter().collect();
        assert_ne!(one.fingerprint(), two.fingerprint(), "content can't pass for another line");
        assert_eq!(other.changed_since(&answers()), BTreeSet::from(["sight"]));
        assert_eq!(Answers::default().changed_since(&answers()).len(), 3);
    }

    #[test]
    fn a_page_puts_its_answers_in_the_place_of_those_that_were_there() {
        assert!(Answers::default().is_empty() && !answers().is_empty());
        let json = r#"{"version":1,"language":"en","sections":[{"key":"s","title":"T","intro":"","questions":[
            {"key":"sight","text":"Sight?","why":"W","kind":"yes_no"},
            {"key":"word","text":"Which?","kind":"text","optional":true,"after":{"question":"sight","is":"yes"}}]}]}"#;
        let questions = crate::domain::questionnaire::Questionnaire::parse(json).unwrap();
        let mut kept = answers();
        kept.replace_section(&questions.sections()[0], [("sight", Answer::No)].into_iter().collect());
        assert!(kept.get("sight") == Some(&Answer::No) && kept.get("word").is_none() && kept.len() == 2);
        assert!(kept.get("day") == answers().get("day"), "of another section");
        assert_eq!(format!("{:?} {:?}", Answer::No, kept), "Answer(..) Answers(2 given)");
    }
}
