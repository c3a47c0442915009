//! What rules and questions are called on their pages.

use crate::domain::catalogue::{Area, Chemistry};
use crate::domain::questionnaire::{Kind, Question, Questionnaire};
use crate::domain::screening::{
    Cause, EditRefused, Outcome, Rule, RuleTable, RuleTableRefused, Scope, TestEffect, Then,
};
use crate::domain::span::Span;
use crate::domain::verdict::{BasisKind, Verdict};
use crate::web::words;
use crate::{msg, t, tc, tf, tn};

/// What kind of answer a question takes.
pub(super) const KINDS: [(&str, &str, Kind); 4] = [
    ("yes_no", msg("Yes or no"), Kind::YesNo),
    ("date", msg("A day in the past"), Kind::Date),
    ("choice", msg("One of several answers"), Kind::Choice),
    ("text", msg("A few words"), Kind::Text),
];

/// What a rule may say.
pub(super) const VERDICTS: [(Verdict, &str); 6] = [
    (Verdict::Clear, msg("Clear: it means nothing for the visit")),
    (Verdict::Note, msg("Note: go on, and tick on the day that it was read")),
    (Verdict::Ask, msg("Ask: the practitioner asks and decides")),
    (Verdict::WaitUntil, msg("Wait until a day")),
    (Verdict::LetterNeeded, msg("Letter needed")),
    (Verdict::DoNotTreat, msg("Do not treat")),
];

/// What is left when a wait is over.
pub(super) const THENS: [(&str, &str, Then); 3] = [
    ("clear", msg("Nothing"), Then::Clear),
    ("note", msg("A note"), Then::Note),
    ("ask", msg("The practitioner asks"), Then::Ask),
];

/// Why a rule says `do not treat`.
pub(super) const CAUSES: [(&str, &str, Cause); 3] = [
    ("known_allergy", msg("A known allergy: nothing overrides it"), Cause::KnownAllergy),
    ("active_infection", msg("An infection now: nothing overrides it"), Cause::ActiveInfection),
    ("other", msg("Something else"), Cause::Other),
];

/// How firm the ground under a rule is.
pub(super) const GROUNDS: [(&str, &str, BasisKind); 4] = [
    ("source", msg("A published source"), BasisKind::Source),
    ("practice", msg("Common practice, no source"), BasisKind::Practice),
    ("inference", msg("Reasoned from a source on something near"), BasisKind::Inference),
    ("memory", msg("From memory, to be checked"), BasisKind::Memory),
];

/// What an answer means for skin tests.
pub(super) const TESTS: [(&str, &str); 5] = [
    ("", msg("Nothing")),
    ("do_not_test", msg("No skin test, unless a letter lifts the rule")),
    ("wait", msg("No skin test for some days after the answers")),
    ("unreliable", msg("A clear skin test can’t be trusted")),
    ("voids", msg("Earlier skin tests no longer count")),
];

/// The word of a verdict in [`VERDICTS`].
pub(super) fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clear => tc("verdict", "Clear"),
        Verdict::Note => tc("verdict", "Note"),
        Verdict::Ask => tc("verdict", "Ask"),
        Verdict::WaitUntil => tc("verdict", "Wait"),
        Verdict::LetterNeeded => t("Letter needed"),
        Verdict::DoNotTreat => t("Do not treat"),
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
        Span::Days(days) => tn("{n} day", "{n} days", days),
        Span::Months(months) => tn("{n} month", "{n} months", months),
    }
    .to_string()
}

/// What a rule says, with all that goes with it.
pub(super) fn outcome(rule: &Rule, questions: &Questionnaire) -> String {
    let asked = |key: &str| questions.question(key).map_or(key, |question| question.text.as_str()).to_owned();
    let mut said = match &rule.outcome {
        Outcome::WaitUntil { from, wait, then, letter } => {
            let then = match then {
                Then::Clear => t("nothing"),
                Then::Note => t("a note"),
                Then::Ask => t("the practitioner asks"),
            };
            let said = match from.as_deref() {
                Some(key) => {
                    tf("{span} after the day given for “{question}”; then: {then}").with("question", asked(key))
                }
                None => tf("{span} after the day of the answers; then: {then}"),
            };
            let said = said.with("span", span(*wait)).with("then", then).to_string();
            [Some(said), letter.then(|| t("a letter shortens it").to_owned())]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join("; ")
        }
        Outcome::DoNotTreat { cause, overridable, letter, lasts } => {
            let cause = CAUSES.iter().find(|(_, _, one)| one == cause).map_or("", |(_, words, _)| t(words));
            let lasts =
                lasts.map(|lasts| tf("for {span} after the day of the answers").with("span", span(lasts)).into());
            let letter = letter.then(|| t("a letter lifts it").to_owned());
            let over = overridable.then(|| t("a written reason may override it").to_owned());
            [Some(cause.to_owned()), lasts, letter, over].into_iter().flatten().collect::<Vec<_>>().join("; ")
        }
        Outcome::Clear | Outcome::Note | Outcome::Ask | Outcome::LetterNeeded => String::new(),
    };
    if !rule.shared.is_empty() {
        let held: Vec<_> = rule.shared.iter().map(|held| words::ingredient(*held)).collect();
        let only = tf("only if the products hold one of: {ingredients}; otherwise it asks");
        said = format!("{said}; {}", only.with("ingredients", held.join(", ")));
    }
    said
}

/// What a rule means for skin tests.
pub(super) fn test(effect: Option<TestEffect>) -> Option<String> {
    Some(match effect? {
        TestEffect::DoNotTest => t("No skin test, unless a letter lifts the rule").to_owned(),
        TestEffect::Wait(wait) => tf("No skin test for {span} after the answers").with("span", span(wait)).to_string(),
        TestEffect::Unreliable => t("A clear skin test can’t be trusted").to_owned(),
        TestEffect::Voids => t("Earlier skin tests no longer count").to_owned(),
    })
}

/// The services that a rule speaks of.
pub(super) fn scope(scope: &Scope) -> String {
    let chemicals: Vec<&str> = scope.chemistries.iter().map(|one| chemical(*one)).collect();
    let areas: Vec<&str> = scope.areas.iter().map(|one| words::area(*one)).collect();
    let said = match (chemicals.is_empty(), areas.is_empty()) {
        (true, true) => tf("Every service"),
        (false, true) => tf("Services with {chemicals}"),
        (true, false) => tf("Services on {areas}"),
        (false, false) => tf("Services with {chemicals} on {areas}"),
    };
    said.with("chemicals", either(&chemicals)).with("areas", either(&areas)).to_string()
}

/// `lotion or tint`
fn either(words: &[&str]) -> String {
    let two =
        |first: String, second: &&str| tf("{one} or {other}").with("one", first).with("other", second).to_string();
    words.split_first().map_or_else(String::new, |(first, rest)| rest.iter().fold((*first).to_owned(), two))
}

fn chemical(chemistry: Chemistry) -> &'static str {
    match chemistry {
        Chemistry::Lotion => t("lotion"),
        Chemistry::Tint => t("tint"),
        Chemistry::Adhesive => t("glue"),
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
    label.map_or_else(|| if word == "yes" { t("Yes") } else { word }, |option| option.label.as_str()).to_owned()
}

/// Why a draft can't be published yet: the words, and the question to look at.
pub(super) fn misfit(refusal: &RuleTableRefused, questions: &Questionnaire, rules: &RuleTable) -> (String, String) {
    let asked = |key: &str| questions.question(key).map_or(key, |question| question.text.as_str()).to_owned();
    let of_rule = |key: &str| rules.rule(key).map_or_else(|| key.to_owned(), |rule| rule.question.clone());
    match refusal {
        RuleTableRefused::Unused(key) => (
            tf("No rule uses “{question}”, so it must not be asked: add a rule, or retire the question.")
                .with("question", asked(key))
                .to_string(),
            key.clone(),
        ),
        RuleTableRefused::Silent(key, word) => (
            tf("No rule says what “{answer}” means as an answer to “{question}”.")
                .with("answer", answer(questions.question(key), word))
                .with("question", asked(key))
                .to_string(),
            key.clone(),
        ),
        RuleTableRefused::NoDay(key) => {
            let question = of_rule(key);
            let said = tf("A rule on “{question}” counts from a question that need not give a day.");
            (said.with("question", asked(&question)).to_string(), question)
        }
        RuleTableRefused::Unknown(key)
        | RuleTableRefused::Key(key)
        | RuleTableRefused::NoWords(key)
        | RuleTableRefused::Override(key)
        | RuleTableRefused::Shape(key) => {
            let question = of_rule(key);
            let said = tf("A rule on “{question}” reads a question or an answer that is no longer there.");
            (said.with("question", asked(&question)).to_string(), question)
        }
    }
}

/// Why a step was not taken.
pub(super) fn edit(refusal: &EditRefused) -> String {
    match refusal {
        EditRefused::Softened(_) => t(SOFTENED).to_owned(),
        EditRefused::Questions(_) => {
            t("The questions would no longer fit together: look at what this one follows and at its answers.")
                .to_owned()
        }
        EditRefused::Rules(_) => {
            t("The rule would be incomplete: it needs words for the client, and a source where it claims one.")
                .to_owned()
        }
        EditRefused::Unknown(_) => t("It is no longer there. Look at the draft again.").to_owned(),
        EditRefused::Overtaken => t("Somebody changed this meanwhile").to_owned(),
    }
}

/// A guarded rule would grow milder.
pub(super) const SOFTENED: &str =
    msg("This rule stands on a known allergy or an infection now. It may grow stricter or say it \
     in other words, but not milder: it stays “do not treat”, in use, for at least these services and as long.");
