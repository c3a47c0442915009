//! Reading the posted fields of one section.
//!
//! A field carries the key of its question. Its value is `yes`, `no`, an option's key, a day as
//! `2026-03-09`, or words; the value [`TALK`] stands for "prefer to talk about it" and may come
//! beside an empty day or text field, as a ticked box sends it.

use std::fmt;

use time::Date;

use super::{Answer, Answers, Kind, Question, Section};
use crate::domain::person::{is_control, iso_date};

/// The value that stands for "prefer to talk about it".
pub const TALK: &str = "talk";
/// The longest text answer, in characters.
pub const TEXT_MAX: usize = 300;
/// The earliest day that an answer may name, in years before today.
const OLDEST_YEARS: i32 = 120;

/// Why one field is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AnswerRefused {
    /// It was left open; "prefer to talk about it" is always there to choose.
    #[error("an answer is needed")]
    Missing,
    /// The value is none of those on offer.
    #[error("the answer is none of those on offer")]
    NotOnOffer,
    /// The field came more than once with different values.
    #[error("the question was answered twice")]
    Twice,
    /// It is no day of the calendar written as year-month-day.
    #[error("write the day as year-month-day, such as 2026-03-09")]
    NoDay,
    /// The day lies in the future.
    #[error("the day lies in the future")]
    Future,
    /// The day lies more than 120 years back.
    #[error("the day lies too far back")]
    TooLongAgo,
    /// The text has more characters than this.
    #[error("at most {0} characters")]
    TooLong(usize),
    /// The text holds a character that can't be shown.
    #[error("the text holds a character that can't be shown")]
    ControlCharacter,
}

/// One field that is refused.
#[derive(Clone, PartialEq, Eq)]
pub struct FieldRefused {
    /// The key of the question.
    pub key: String,
    /// Why.
    pub why: AnswerRefused,
}

/// A section that is refused: which fields, what could be read, and all that was typed.
///
/// `Debug` shows how many fields are refused and no content.
#[derive(Clone, PartialEq, Eq)]
pub struct SectionRefused {
    /// The refused fields in the order of the questions.
    pub fields: Vec<FieldRefused>,
    /// The answers that could be read.
    pub read: Answers,
    /// The posted fields of this section as they came, to be shown again.
    pub raw: Vec<(String, String)>,
}

impl SectionRefused {
    /// Why this question's field is refused, if it is.
    pub fn why(&self, key: &str) -> Option<AnswerRefused> {
        self.fields.iter().find(|field| field.key == key).map(|field| field.why)
    }

    /// What was typed or chosen for this question; [`TALK`] is told by [`Self::wants_to_talk`].
    pub fn raw(&self, key: &str) -> &str {
        let mut values = values(&self.raw, key);
        values.find(|value| *value != TALK).unwrap_or_default()
    }

    /// Whether "prefer to talk about it" was ticked for this question.
    pub fn wants_to_talk(&self, key: &str) -> bool {
        values(&self.raw, key).any(|value| value == TALK)
    }
}

impl fmt::Debug for FieldRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("FieldRefused(..)")
    }
}

impl fmt::Debug for SectionRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SectionRefused({} fields)", self.fields.len())
    }
}

fn values<'a>(posted: &'a [(String, String)], key: &str) -> impl Iterator<Item = &'a str> {
    posted.iter().filter(move |(name, _)| name == key).map(|(_, value)| value.trim()).filter(|value| !value.is_empty())
}

impl Section {
    /// Reads the posted fields of this section, asked as it stands here. Follow-ups whose question
    /// got another answer are dropped, whatever was typed there; other fields are ignored.
    ///
    /// # Errors
    /// [`SectionRefused`] with every refused field and all that was typed.
    pub fn read(&self, posted: &[(String, String)], today: Date) -> Result<Answers, SectionRefused> {
        let mut read = Answers::default();
        let mut fields = Vec::new();
        for question in &self.questions {
            if !self.is_open_here(question, &read) {
                continue;
            }
            match read_field(question, posted, today) {
                Ok(Some(answer)) => read.set(question.key.clone(), answer),
                Ok(None) => {}
                Err(why) => fields.push(FieldRefused { key: question.key.clone(), why }),
            }
        }
        if fields.is_empty() {
            return Ok(read);
        }
        let ours = |name: &str| self.questions.iter().any(|question| question.key == name);
        let raw = posted.iter().filter(|(name, _)| ours(name)).cloned().collect();
        Err(SectionRefused { fields, read, raw })
    }

    /// A dropped follow-up leaves no answer behind, so the question just before it is enough.
    fn is_open_here(&self, question: &Question, read: &Answers) -> bool {
        question
            .after
            .as_ref()
            .is_none_or(|after| read.get(&after.question).is_some_and(|answer| answer.opens(&after.is)))
    }
}

fn read_field(question: &Question, posted: &[(String, String)], today: Date) -> Result<Option<Answer>, AnswerRefused> {
    let mut given = values(posted, &question.key).filter(|value| *value != TALK);
    let Some(value) = given.next() else {
        return match values(posted, &question.key).next() {
            Some(_) => Ok(Some(Answer::PreferToTalk)),
            None if question.optional => Ok(None),
            None => Err(AnswerRefused::Missing),
        };
    };
    // A chosen answer beside "prefer to talk" contradicts itself; a day or text beside it adds to it.
    let beside_talk = values(posted, &question.key).any(|value| value == TALK);
    let single = matches!(question.kind, Kind::YesNo | Kind::Choice);
    if given.any(|other| other != value) || (single && beside_talk) {
        return Err(AnswerRefused::Twice);
    }
    let answer = match question.kind {
        Kind::YesNo if value == "yes" => Answer::Yes,
        Kind::YesNo if value == "no" => Answer::No,
        Kind::Choice if question.can_be(value) => Answer::Choice(value.to_owned()),
        Kind::YesNo | Kind::Choice => return Err(AnswerRefused::NotOnOffer),
        Kind::Date => Answer::Date(read_day(value, today)?),
        Kind::Text => Answer::Text(read_text(value)?),
    };
    Ok(Some(answer))
}

fn read_day(value: &str, today: Date) -> Result<Date, AnswerRefused> {
    let day = iso_date(value).ok_or(AnswerRefused::NoDay)?;
    if day > today {
        Err(AnswerRefused::Future)
    } else if day.year() < today.year() - OLDEST_YEARS {
        Err(AnswerRefused::TooLongAgo)
    } else {
        Ok(day)
    }
}

fn read_text(value: &str) -> Result<String, AnswerRefused> {
    if value.chars().any(is_control) {
        Err(AnswerRefused::ControlCharacter)
    } else if value.chars().count() > TEXT_MAX {
        Err(AnswerRefused::TooLong(TEXT_MAX))
    } else {
        Ok(value.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::questionnaire::Questionnaire;
    use time::macros::date;

    const TODAY: Date = date!(2026 - 03 - 09);

    fn section() -> Section {
        let json = r#"{"version":1,"language":"en","sections":[{"key":"s","title":"T","intro":"","questions":[
            {"key":"op","text":"Operation?","why":"W","kind":"yes_no"},
            {"key":"op_date","text":"When?","kind":"date","after":{"question":"op","is":"yes"}},
            {"key":"op_words","text":"Which?","kind":"text","optional":true,"after":{"question":"op","is":"yes"}},
            {"key":"lids","text":"Lids?","why":"W","kind":"choice",
             "options":[{"key":"calm","label":"Calm"},{"key":"sore","label":"Sore"}]}]}]}"#;
        Questionnaire::parse(json).unwrap().sections()[0].clone()
    }

    fn read(fields: &[(&str, &str)]) -> Result<Answers, SectionRefused> {
        let posted: Vec<_> = fields.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect();
        section().read(&posted, TODAY)
    }

    #[test]
    fn a_filled_section_reads_and_other_fields_are_ignored() {
        let answers = read(&[("op", "yes"), ("op_date", " 2026-01-02 "), ("lids", "calm"), ("token", "x")]).unwrap();
        assert!(answers.get("op_date") == Some(&Answer::Date(date!(2026 - 01 - 02))));
        assert!(answers.get("op_words").is_none(), "an optional blank stays blank");
        assert_eq!(answers.len(), 3);
    }

    #[test]
    fn a_blank_is_refused_and_never_read_as_no() {
        let refused = read(&[("op", ""), ("op_date", "2026-01-02")]).unwrap_err();
        assert_eq!(refused.why("op"), Some(AnswerRefused::Missing));
        assert_eq!(refused.why("lids"), Some(AnswerRefused::Missing));
        assert_eq!(refused.why("op_date"), None, "not asked while the question before it is open");
        assert!(refused.read.is_empty());
        assert_eq!(refused.raw("op_date"), "2026-01-02", "nothing typed is lost");
    }

    #[test]
    fn a_follow_up_is_asked_after_yes_and_dropped_after_no() {
        let refused = read(&[("op", "yes"), ("lids", "sore")]).unwrap_err();
        assert_eq!(refused.why("op_date"), Some(AnswerRefused::Missing));
        assert_eq!(refused.fields.len(), 1);
        let answers = read(&[("op", "no"), ("op_date", "not a day"), ("lids", "sore")]).unwrap();
        assert!(answers.get("op_date").is_none());
    }

    #[test]
    fn prefer_to_talk_is_an_answer_to_every_kind() {
        let answers = read(&[("op", "talk"), ("lids", "talk")]).unwrap();
        assert!(answers.iter().all(|(_, answer)| *answer == Answer::PreferToTalk));
        let answers = read(&[("op", "yes"), ("op_date", ""), ("op_date", "talk"), ("lids", "calm")]).unwrap();
        assert!(answers.get("op_date") == Some(&Answer::PreferToTalk));
        let answers = read(&[("op", "yes"), ("op_date", "2026-01-02"), ("op_date", "talk"), ("lids", "calm")]).unwrap();
        assert!(answers.get("op_date") == Some(&Answer::Date(date!(2026 - 01 - 02))), "the day is the stricter answer");
    }

    #[test]
    fn each_bad_value_is_refused_at_its_field() {
        let cases = [
            ("op", "maybe", AnswerRefused::NotOnOffer),
            ("lids", "yes", AnswerRefused::NotOnOffer),
            ("op_date", "9.3.2026", AnswerRefused::NoDay),
            ("op_date", "2026-02-30", AnswerRefused::NoDay),
            ("op_date", "2026-03-10", AnswerRefused::Future),
            ("op_date", "1905-12-31", AnswerRefused::TooLongAgo),
            ("op_words", "a\u{7}b", AnswerRefused::ControlCharacter),
            ("op_words", &"é".repeat(TEXT_MAX + 1), AnswerRefused::TooLong(TEXT_MAX)),
        ];
        for (key, value, why) in cases {
            let mut fields = vec![("op", "yes"), ("op_date", "2026-01-02"), ("lids", "calm")];
            fields.retain(|(other, _)| *other != key);
            fields.push((key, value));
            let refused = read(&fields).unwrap_err();
            assert_eq!(refused.why(key), Some(why), "{key} {value}");
            assert_eq!(refused.raw(key), value);
        }
        let text = "é".repeat(TEXT_MAX);
        assert!(read(&[("op", "yes"), ("op_date", "2026-03-09"), ("op_words", &text), ("lids", "calm")]).is_ok());
        let refused = read(&[("op", "yes"), ("op", "no"), ("lids", "calm")]).unwrap_err();
        assert_eq!(refused.why("op"), Some(AnswerRefused::Twice));
        let refused = read(&[("op", "no"), ("op", "talk"), ("lids", "calm")]).unwrap_err();
        assert_eq!(refused.why("op"), Some(AnswerRefused::Twice));
    }

    #[test]
    fn debug_of_a_refusal_shows_no_content() {
        let refused = read(&[("op", "yes"), ("op_words", "secret\u{7}")]).unwrap_err();
        let shown = format!("{refused:?} {:?}", refused.fields);
        assert!(!shown.contains("secret") && !shown.contains("op_"), "{shown}");
    }

    #[test]
    fn a_refused_page_keeps_what_was_typed_in_its_own_fields() {
        let refused = read(&[("op", "talk"), ("op", "yes"), ("lids", "calm"), ("token", "x")]).unwrap_err();
        assert!(refused.wants_to_talk("op") && !refused.wants_to_talk("lids"));
        let names: Vec<&str> = refused.raw.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["op", "op", "lids"], "no token of the form");
        let shown = format!("{refused:?} {:?}", refused.fields);
        assert_eq!(shown, "SectionRefused(1 fields) [FieldRefused(..)]");
        let oldest = read(&[("op", "yes"), ("op_date", "1906-01-01"), ("lids", "calm")]);
        assert!(oldest.is_ok(), "120 years back, as old as anybody is");
    }
}
