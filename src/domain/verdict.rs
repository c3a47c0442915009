//! Verdicts in words, and a reason that can explain itself.

use std::fmt;

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime};

use super::ids::{LetterId, ProductId};
use super::iso;
use crate::t;

/// What the rules say, mildest first: the order is the precedence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing stands against the visit.
    Clear,
    /// Go on; the practitioner ticks on the day that she has read it.
    Note,
    /// The practitioner follows up and decides; held until then.
    Ask,
    /// Not before a date.
    WaitUntil,
    /// A clinician's letter is needed first.
    LetterNeeded,
    /// Not with this service.
    DoNotTreat,
}

impl Verdict {
    /// Every verdict, mildest first.
    pub const ALL: [Self; 6] =
        [Self::Clear, Self::Note, Self::Ask, Self::WaitUntil, Self::LetterNeeded, Self::DoNotTreat];

    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Note => "note",
            Self::Ask => "ask",
            Self::WaitUntil => "wait_until",
            Self::LetterNeeded => "letter_needed",
            Self::DoNotTreat => "do_not_treat",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|verdict| verdict.as_str() == word)
    }

    /// What a verdict alone asks before a treatment starts. A single reason may be stricter, or a
    /// rule may let a `do not treat` go ahead with a written reason.
    pub fn start(self) -> Start {
        match self {
            Self::Clear | Self::Note => Start::Yes,
            Self::Ask | Self::WaitUntil | Self::LetterNeeded => Start::WithReason,
            Self::DoNotTreat => Start::No,
        }
    }
}

/// In English, for the audit; pages and papers have words of their own.
impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Clear => "clear",
            Self::Note => "note",
            Self::Ask => "ask",
            Self::WaitUntil => "wait until",
            Self::LetterNeeded => "letter needed",
            Self::DoNotTreat => "do not treat",
        })
    }
}

/// Whether the practitioner may start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Start {
    /// She may.
    Yes,
    /// She may, if she writes down why; it is logged with her name.
    WithReason,
    /// She may not, whatever she writes.
    No,
}

/// What a rule rests on. Shown to the owner beside the rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Basis {
    /// How firm the ground is.
    pub kind: BasisKind,
    /// The source, or what was extended from it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub text: String,
}

/// How firm the ground under a rule is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BasisKind {
    /// A published source says so.
    Source,
    /// Common practice among studios, trainers and insurers; no law or guideline found.
    Practice,
    /// Stated from memory; check before relying on it.
    Memory,
    /// Reasoned from a source that speaks of something near.
    Inference,
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let opening = match self.kind {
            BasisKind::Source => "",
            BasisKind::Practice => t("common practice, no source"),
            BasisKind::Memory => t("from memory"),
            BasisKind::Inference => t("inference"),
        };
        match (opening, self.text.as_str()) {
            ("", text) => f.write_str(text),
            (opening, "") => f.write_str(opening),
            (opening, text) => write!(f, "{opening}: {text}"),
        }
    }
}

/// What a reason is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// The client's age.
    Age,
    /// The skin test of one product.
    SkinTest(ProductId),
    /// A reaction to one product, or one that is not settled.
    Reaction(Option<ProductId>),
    /// What the label of one product says.
    Product(ProductId),
    /// The answer to one question, by its key.
    Question(String),
    /// The answers as a whole: missing or old.
    Answers,
    /// The consent.
    Consent,
    /// The retouch window.
    Window,
}

/// What would clear a reason. The words for it live in the templates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Clears {
    /// Waiting until [`Reason::from`].
    Waiting,
    /// A talk with the practitioner, who then decides.
    Talk,
    /// An answer that was left open, or a new answer once things have changed.
    Answer,
    /// A clinician's letter whose scope covers it.
    Letter,
    /// A skin test, applied and read in time.
    SkinTest,
    /// Reading the skin test that was applied.
    Reading,
    /// Another product.
    OtherProduct,
    /// A signature.
    Signature,
    /// A parent or guardian who signs, and comes along where the studio asks for it.
    Guardian,
}

/// The first moment from which a reason no longer stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Earliest {
    /// From this day on.
    Day(#[serde(with = "iso::day")] Date),
    /// From this moment on, in the offset that the question was asked in.
    Moment(#[serde(with = "time::serde::rfc3339")] OffsetDateTime),
}

impl Earliest {
    /// The day it falls on.
    pub fn day(self) -> Date {
        match self {
            Self::Day(day) => day,
            Self::Moment(moment) => moment.date(),
        }
    }

    /// The order in time. A day begins before every moment in it.
    fn rank(self) -> (Date, time::Time) {
        match self {
            Self::Day(day) => (day, time::Time::MIDNIGHT),
            Self::Moment(moment) => (moment.date(), moment.time()),
        }
    }

    /// The later of two: the later wait wins.
    pub fn later(self, other: Self) -> Self {
        if other.rank() > self.rank() { other } else { self }
    }
}

/// One thing that fired, with all that is needed to defend it years later.
///
/// `Debug` shows the verdict only: the rest is health data.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// What it is about.
    pub about: About,
    /// The rule that fired.
    pub rule: String,
    /// The version of the table that held the rule.
    pub version: u32,
    /// What this reason alone says.
    pub verdict: Verdict,
    /// What this reason alone asks before a start.
    pub start: Start,
    /// From when it no longer stands, when waiting clears it.
    pub from: Option<Earliest>,
    /// What would clear it; empty when nothing does.
    pub clears: Vec<Clears>,
    /// What the rule rests on.
    pub basis: Basis,
    /// The sentence for the client.
    pub say: String,
    /// Keys of further answers that the practitioner should read with it.
    pub details: Vec<String>,
    /// The letter that softened it, if one did.
    pub letter: Option<LetterId>,
}

impl fmt::Debug for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Reason").field("verdict", &self.verdict).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::{date, datetime};

    #[test]
    fn precedence_is_the_order() {
        let mut sorted = Verdict::ALL;
        sorted.sort();
        assert_eq!(sorted, Verdict::ALL);
        assert_eq!(Verdict::ALL.into_iter().map(|verdict| Verdict::parse(verdict.as_str())).collect::<Vec<_>>(), {
            Verdict::ALL.map(Some).to_vec()
        });
        assert_eq!(Verdict::WaitUntil.to_string(), "wait until");
    }

    #[test]
    fn the_later_wait_wins() {
        let day = Earliest::Day(date!(2026 - 03 - 09));
        let moment = Earliest::Moment(datetime!(2026-03-09 10:00 UTC));
        assert_eq!(day.later(moment), moment);
        assert_eq!(moment.later(day), moment);
        assert_eq!(moment.later(Earliest::Day(date!(2026 - 03 - 10))).day(), date!(2026 - 03 - 10));
    }

    #[test]
    fn debug_of_a_reason_tells_its_verdict_alone() {
        let reason = Reason {
            about: About::Answers,
            rule: "stye".to_owned(),
            version: 1,
            verdict: Verdict::Ask,
            start: Start::WithReason,
            from: None,
            clears: Vec::new(),
            basis: Basis { kind: BasisKind::Practice, text: String::new() },
            say: "Sore.".to_owned(),
            details: Vec::new(),
            letter: None,
        };
        assert_eq!(format!("{reason:?}"), "Reason { verdict: Ask, .. }");
    }
}
