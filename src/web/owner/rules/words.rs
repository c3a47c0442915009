//! What rules and questions are called on their pages.

use crate::domain::catalogue::{Area, Chemistry};
use crate::domain::questionnaire::{Kind, Question, Questionnaire};
use crate::domain::screening::{
    Cause, EditRefused, Outcome, Rule, RuleTable, RuleTableRefused, Scope, TestEffect, Then,
};
use crate::domain::span::Span;
use crate::domain::verdict::{BasisKind, Verdict};
use crate::web::words;

/// What kind of answer a question takes.
pub(super) const KINDS: [(&str, &str, Kind); 4] = [
    ("yes_no", "Yes or no", Kind::YesNo),
    ("date", "A day in the past", Kind::Date),
    ("choice", "One of several answers", Kind::Choice),
    ("text", "A few words", Kind::Text),
];

/// What a rule may say.
pub(super) const VERDICTS: [(Verdict, &str); 6] = [
    (Verdict::Clear, "Clear: it means nothing for the visit"),
    (Verdict::Note, "Note: go on, and tick on the day that it was read"),
    (Verdict::Ask, "Ask: the practitioner asks and decides"),
    (Verdict::WaitUntil, "Wait until a day"),
    (Verdict::LetterNeeded, "Letter needed"),
    (Verdict::DoNotTreat, "Do not treat"),
];

/// What is left when a wait is over.
pub(super) const THENS: [(&str, &str, Then); 3] =
    [("clear", "Nothing", Then::Clear), ("note", "A note", Then::Note), ("ask", "The practitioner asks", Then::Ask)];

/// Why a rule says `do not treat`.
pub(super) const CAUSES: [(&str, &str, Cause); 3] = [
    ("known_allergy", "A known allergy: nothing overrides it", Cause::KnownAllergy),
    ("active_infection", "An infection now: nothing overrides it", Cause::ActiveInfection),
    ("other", "Something else", Cause::Other),
];

/// How firm the ground under a rule is.
pub(super) const GROUNDS: [(&str, &str, BasisKind); 4] = [
    ("source", "A published source", BasisKind::Source),
    ("practice", "Common practice, no source", BasisKind::Practice),
    ("inference", "Reasoned from a source on something near", BasisKind::Inference),
    ("memory", "From memory, to be checked", BasisKind::Memory),
];

/// What an answer means for skin tests.
pub(super) const TESTS: [(&str, &str); 5] = [
    ("", "Nothing"),
    ("do_not_test", "No skin test at all"),
    ("wait", "No skin test for some days after the answers"),
    ("unreliable", "A clear skin test can’t be trusted"),
    ("voids", "Earlier skin tests no longer count"),
];

/// The word of a verdict in [`VERDICTS`].
pub(super) fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clear => "Clear",
        Verdict::Note => "Note",
        Verdict::Ask => "Ask",
        Verdict::WaitUntil => "Wait",
        Verdict::LetterNeeded => "Letter needed",
        Verdict::DoNotTreat => "Do not treat",
    }
}

/// The shape of a verdict.
pub(super) fn shape(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clear | Verdict::Note => "clear",
        Verdict::Ask => "ask",
        Verdict::WaitUntil => "wait",
        Verdict::LetterNeeded => "letter",
        Verdict::DoNotTreat => "stop",
    }
}

pub(super) fn of_outcome(outcome: &Outcome) -> Verdict {
    match outcome {
        Outcome::Clear => Verdict::Clear,
        Outcome::Note => Verdict::Note,
        Outcome::Ask => Verdict::Ask,
        Outcome::WaitUntil { .. } => Verdict::WaitUntil,
        Outcome::LetterNeeded => Verdict::LetterNeeded,
        Outcome::DoNotTreat { .. } => Verdict::DoNotTreat,
    }
}

/// A wait: `14 days`, `3 months`.
pub(super) fn span(span: Span) -> String {
    match span {
        Span::Days(1) => "1 day".to_owned(),
        Span::Days(days) => format!("{days} days"),
        Span::Months(1) => "1 month".to_owned(),
        Span::Months(months) => format!("{months} months"),
    }
}

/// What a rule says, with all that goes with it.
pub(super) fn outcome(rule: &Rule, questions: &Questionnaire) -> String {
    let asked = |key: &str| questions.question(key).map_or_else(|| key.to_owned(), |question| question.text.clone());
    let mut said = match &rule.outcome {
        Outcome::WaitUntil { from, wait, then, letter } => {
            let since = from.as_deref().map_or_else(
                || "the day of the answers".to_owned(),
                |key| format!("the day given for “{}”", asked(key)),
            );
            let then = THENS.iter().find(|(_, _, one)| one == then).map_or("", |(_, words, _)| words);
            let letter = if *letter { "; a letter shortens it" } else { "" };
            format!("{} after {since}; then: {}{letter}", span(*wait), then.to_lowercase())
        }
        Outcome::DoNotTreat { cause, overridable, letter, lasts } => {
            let cause = CAUSES.iter().find(|(_, _, one)| one == cause).map_or("", |(_, words, _)| words);
            let lasts =
                lasts.map_or(String::new(), |lasts| format!("; for {} after the day of the answers", span(lasts)));
            let letter = if *letter { "; a letter lifts it" } else { "" };
            let over = if *overridable { "; a written reason may override it" } else { "" };
            format!("{cause}{lasts}{letter}{over}")
        }
        Outcome::Clear | Outcome::Note | Outcome::Ask | Outcome::LetterNeeded => String::new(),
    };
    if !rule.shared.is_empty() {
        let held: Vec<_> = rule.shared.iter().map(|held| words::ingredient(*held)).collect();
        said = format!("{said}; only if the products hold one of: {}; otherwise it asks", held.join(", "));
    }
    said
}

/// What a rule means for skin tests.
pub(super) fn test(effect: Option<TestEffect>) -> Option<String> {
    Some(match effect? {
        TestEffect::DoNotTest => "No skin test at all".to_owned(),
        TestEffect::Wait(wait) => format!("No skin test for {} after the answers", span(wait)),
        TestEffect::Unreliable => "A clear skin test can’t be trusted".to_owned(),
        TestEffect::Voids => "Earlier skin tests no longer count".to_owned(),
    })
}

/// The services that a rule speaks of.
pub(super) fn scope(scope: &Scope) -> String {
    let chemicals: Vec<&str> = scope.chemistries.iter().map(|one| chemical(*one)).collect();
    let areas: Vec<&str> = scope.areas.iter().map(|one| words::area(*one)).collect();
    match (chemicals.is_empty(), areas.is_empty()) {
        (true, true) => "Every service".to_owned(),
        (false, true) => format!("Services with {}", chemicals.join(" or ")),
        (true, false) => format!("Services on {}", areas.join(" or ")),
        (false, false) => format!("Services with {} on {}", chemicals.join(" or "), areas.join(" or ")),
    }
}

fn chemical(chemistry: Chemistry) -> &'static str {
    match chemistry {
        Chemistry::Lotion => "lotion",
        Chemistry::Tint => "tint",
        Chemistry::Adhesive => "glue",
    }
}

/// A family of chemicals in forms.
pub(super) fn chemical_label(chemistry: Chemistry) -> &'static str {
    words::chemistry(chemistry)
}

/// The word of an area in forms.
pub(super) fn area_word(area: Area) -> &'static str {
    match area {
        Area::Lash => "lash",
        Area::Brow => "brow",
    }
}

/// An answer that fires or opens something.
pub(super) fn answer(question: Option<&Question>, word: &str) -> String {
    let label = question.and_then(|question| question.options.iter().find(|option| option.key == word));
    label.map_or_else(|| if word == "yes" { "Yes".to_owned() } else { word.to_owned() }, |option| option.label.clone())
}

/// Why a draft can't be published yet: the words, and the question to look at.
pub(super) fn misfit(refusal: &RuleTableRefused, questions: &Questionnaire, rules: &RuleTable) -> (String, String) {
    let asked = |key: &str| questions.question(key).map_or_else(|| key.to_owned(), |question| question.text.clone());
    let of_rule = |key: &str| rules.rule(key).map_or_else(|| key.to_owned(), |rule| rule.question.clone());
    match refusal {
        RuleTableRefused::Unused(key) => (
            format!("No rule uses “{}”, so it must not be asked: add a rule, or retire the question.", asked(key)),
            key.clone(),
        ),
        RuleTableRefused::Silent(key, word) => (
            format!(
                "No rule says what “{}” means as an answer to “{}”.",
                answer(questions.question(key), word),
                asked(key)
            ),
            key.clone(),
        ),
        RuleTableRefused::NoDay(key) => {
            let question = of_rule(key);
            (format!("A rule on “{}” counts from a question that need not give a day.", asked(&question)), question)
        }
        RuleTableRefused::Unknown(key)
        | RuleTableRefused::Key(key)
        | RuleTableRefused::NoWords(key)
        | RuleTableRefused::Override(key)
        | RuleTableRefused::Shape(key) => {
            let question = of_rule(key);
            (
                format!("A rule on “{}” reads a question or an answer that is no longer there.", asked(&question)),
                question,
            )
        }
    }
}

/// Why a step was not taken.
pub(super) fn edit(refusal: &EditRefused) -> String {
    match refusal {
        EditRefused::Softened(_) => SOFTENED.to_owned(),
        EditRefused::Questions(_) => {
            "The questions would no longer fit together: look at what this one follows and at its answers.".to_owned()
        }
        EditRefused::Rules(_) => {
            "The rule would be incomplete: it needs words for the client, and a source where it claims one.".to_owned()
        }
        EditRefused::Unknown(_) => "It is no longer there. Look at the draft again.".to_owned(),
    }
}

/// A guarded rule would grow milder.
pub(super) const SOFTENED: &str = "This rule stands on a known allergy or an infection now. It may grow stricter or say it \
     in other words, but not milder: it stays “do not treat”, in use, for at least these services and as long.";
