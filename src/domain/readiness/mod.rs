//! One verdict from age, skin tests, answers, consent and window, with all its reasons.
//!
//! The same rule answers the client who books, the practitioner who is about to start, and the
//! owner's list.

mod change;
mod fixed;
mod products;
mod skin;

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime};

use super::age::{self, AgePolicy, AgeStanding, GuardianPart, Jurisdiction};
use super::catalogue::ServiceKind;
use super::consent::ConsentStanding;
use super::iso;
use super::letter::Letter;
use super::limits::Ingredient;
use super::mark::Mark;
use super::person::BirthDate;
use super::questionnaire::{AnswerSet, Questionnaire};
use super::screening::{RuleTable, Screening};
use super::skin_test::{Planned, SkinTest, TestRules};
use super::span::Span;
use super::verdict::{About, Clears, Earliest, Reason, Start, Verdict};
use fixed::Fixed;
pub use products::Shelved;

/// After how long answers are asked for again (common practice, no source). At every visit the
/// practitioner asks whether anything has changed, whatever their age.
pub const ANSWERS_COUNT_FOR: Span = Span::Months(6);

/// Everything that one verdict rests on.
#[derive(Clone, Copy)]
pub struct Case<'a> {
    /// The kind of service.
    pub service: ServiceKind,
    /// The moment of asking.
    pub now: OffsetDateTime,
    /// When the visit starts, in the studio's own offset: its date decides what "that day" is.
    /// At the chair this is `now`.
    pub at: OffsetDateTime,
    /// The client's date of birth.
    pub birth: Option<BirthDate>,
    /// The studio's choices about age.
    pub age_policy: AgePolicy,
    /// What a guardian has signed and promised.
    pub guardian: GuardianPart,
    /// The questions in force.
    pub questionnaire: &'a Questionnaire,
    /// The rules in force.
    pub rules: &'a RuleTable,
    /// The client's last answers.
    pub answers: Option<&'a AnswerSet>,
    /// The questions on allergies that she answered yes to once, and no to since.
    pub taken_back: &'a [String],
    /// Her letters.
    pub letters: &'a [Letter],
    /// What the planned products hold, when the register knows.
    pub ingredients: Option<&'a BTreeSet<Ingredient>>,
    /// Whose rules on chemicals the studio works under.
    pub place: Jurisdiction,
    /// The products on the shelf.
    pub shelf: &'a [Shelved],
    /// The products that are planned.
    pub products: &'a [Planned],
    /// All her skin tests.
    pub tests: &'a [SkinTest],
    /// The studio's choices about skin tests.
    pub test_rules: TestRules,
    /// Where the consent stands.
    pub consent: ConsentStanding,
    /// The day on which the retouch window opens, if it speaks for this service.
    pub window_opens: Option<Date>,
    /// Whether a reaction of hers, from moderate on, is not settled.
    pub reaction_open: bool,
}

/// The verdict with all its reasons, as it is shown and stored.
///
/// `Debug` shows the verdict only: the rest is health data.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Readiness {
    /// The strictest verdict of all reasons; `clear` without any.
    pub verdict: Verdict,
    /// The strictest demand of all reasons.
    pub start: Start,
    /// The latest of the moments that have to be waited for, whatever else stands against it.
    pub from: Option<Earliest>,
    /// The day of the visit that was asked about.
    #[serde(with = "iso::day")]
    pub on: Date,
    /// The day on which the answers were given or confirmed.
    #[serde(with = "iso::day::option")]
    pub answers_given_on: Option<Date>,
    /// Every reason, strictest first.
    pub reasons: Vec<Reason>,
}

impl Readiness {
    /// Joins everything.
    pub fn of(case: &Case<'_>) -> Self {
        let on = case.at.date();
        let mut reasons = Vec::new();
        reasons.extend(about_age(case, on));
        reasons.extend(products::about(case, on));
        reasons.extend(products::blocked(case, on));
        reasons.extend(case.reaction_open.then(about_open_reaction));
        reasons.extend(about_answers(case, on));
        reasons.extend(case.products.iter().filter_map(|planned| skin::about(case, planned)));
        reasons.extend(about_consent(case.consent));
        reasons.extend(about_window(case, on));
        Self::join(reasons, on, case.answers.map(|set| set.given_on))
    }

    fn join(mut reasons: Vec<Reason>, on: Date, answers_given_on: Option<Date>) -> Self {
        reasons.sort_by_key(|reason| std::cmp::Reverse((reason.verdict, reason.start)));
        let verdict = reasons.iter().map(|reason| reason.verdict).max().unwrap_or(Verdict::Clear);
        let start = reasons.iter().map(|reason| reason.start).max().unwrap_or(Start::Yes);
        let from = reasons.iter().filter_map(|reason| reason.from).reduce(Earliest::later);
        Self { verdict, start, from, on, answers_given_on, reasons }
    }

    /// Whether the practitioner may start.
    pub fn may_start(&self) -> Start {
        self.start
    }

    /// What a page says that shows every reason; when it is time to go on is left out, since that moves with the clock.
    pub fn mark(&self) -> Mark {
        let each = self.reasons.iter();
        Mark::of(&each.map(|one| (&one.rule, one.version, &one.about, one.verdict, one.start)).collect::<Vec<_>>())
    }

    /// What keeps a visit from being booked. A missing signature doesn't; a skin test does that is neither good nor booked
    /// along.
    pub fn against_booking(&self) -> impl Iterator<Item = &Reason> {
        self.reasons.iter().filter(|reason| match reason.verdict {
            Verdict::DoNotTreat | Verdict::WaitUntil => reason.about != About::Consent,
            Verdict::Clear | Verdict::Note | Verdict::Ask | Verdict::LetterNeeded => false,
        })
    }

    /// Whether nothing but waiting, and what can be done on the way, stands against a booking: no
    /// reason forbids it or needs a talk, an answer or a letter.
    pub fn can_be_booked(&self) -> bool {
        self.reasons.iter().all(|reason| match reason.verdict {
            Verdict::Clear | Verdict::Note => true,
            Verdict::Ask => reason.about == About::Consent,
            Verdict::WaitUntil | Verdict::LetterNeeded | Verdict::DoNotTreat => false,
        })
    }
}

impl fmt::Debug for Readiness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Readiness").field("verdict", &self.verdict).finish_non_exhaustive()
    }
}

impl fmt::Debug for Case<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Case").field("service", &self.service).finish_non_exhaustive()
    }
}

fn reason(fixed: &Fixed, about: About, verdict: Verdict, start: Start, clears: &[Clears]) -> Reason {
    Reason {
        about,
        rule: fixed.key.to_owned(),
        version: fixed::VERSION,
        verdict,
        start,
        from: None,
        clears: clears.to_vec(),
        basis: fixed.basis(),
        say: crate::t(fixed.say).to_owned(),
        details: Vec::new(),
        letter: None,
    }
}

fn about_age(case: &Case<'_>, on: Date) -> Vec<Reason> {
    let stands = age_itself(case, on);
    // Whoever is too young for the visit reads that alone.
    let too_young = stands.as_ref().is_some_and(|reason| reason.verdict == Verdict::DoNotTreat);
    let test = if too_young { None } else { skin::too_young(case) };
    stands.into_iter().chain(test).collect()
}

fn age_itself(case: &Case<'_>, on: Date) -> Option<Reason> {
    let at = |day| age::standing(case.birth, case.service, day, case.age_policy, case.guardian);
    // Colour touches her skin on the day of the test too: a guardian signs for whoever comes of age in between.
    let standing = match (at(on), skin::test_day(case).map(at)) {
        (AgeStanding::Clear, Some(AgeStanding::GuardianSignature)) => AgeStanding::GuardianSignature,
        (standing, _) => standing,
    };
    let (fixed, verdict, start, clears) = match standing {
        AgeStanding::Clear => return None,
        AgeStanding::Unknown => (&fixed::AGE_UNKNOWN, Verdict::Ask, Start::No, Clears::Answer),
        AgeStanding::TintUnder16 => (&fixed::AGE_TINT, Verdict::DoNotTreat, Start::No, Clears::Waiting),
        AgeStanding::Under16 => (&fixed::AGE_UNDER_16, Verdict::DoNotTreat, Start::No, Clears::Waiting),
        AgeStanding::GuardianPresence => {
            (&fixed::GUARDIAN_PRESENCE, Verdict::LetterNeeded, Start::No, Clears::Guardian)
        }
        AgeStanding::GuardianSignature => {
            (&fixed::GUARDIAN_SIGNATURE, Verdict::LetterNeeded, Start::WithReason, Clears::Guardian)
        }
    };
    let mut reason = reason(fixed, About::Age, verdict, start, &[clears]);
    if verdict == Verdict::DoNotTreat {
        reason.from = case.birth.map(|birth| Earliest::Day(age::turns(birth, age::TINT_FROM)));
    }
    Some(reason)
}

fn about_answers(case: &Case<'_>, on: Date) -> Vec<Reason> {
    let ask = |fixed| vec![reason(fixed, About::Answers, Verdict::Ask, Verdict::Ask.start(), &[Clears::Answer])];
    let Some(set) = case.answers else { return ask(&fixed::NO_ANSWERS) };
    let screening = Screening {
        questionnaire: case.questionnaire,
        rules: case.rules,
        set,
        letters: case.letters,
        ingredients: case.ingredients,
    };
    let mut reasons = screening.reasons(case.service, on);
    reasons.extend(case.taken_back.iter().map(|question| {
        let about = About::Question(question.clone());
        reason(&fixed::TAKEN_BACK, about, Verdict::Ask, Verdict::Ask.start(), &[Clears::Talk])
    }));
    if on >= ANSWERS_COUNT_FOR.after(set.given_on) {
        reasons.extend(ask(&fixed::OLD_ANSWERS));
    }
    reasons
}

fn about_consent(standing: ConsentStanding) -> Option<Reason> {
    let (fixed, verdict) = match standing {
        ConsentStanding::SignedCurrent => return None,
        ConsentStanding::Missing => (&fixed::CONSENT_MISSING, Verdict::Ask),
        ConsentStanding::TextChanged => (&fixed::CONSENT_TEXT, Verdict::Ask),
        ConsentStanding::AnswersChanged => (&fixed::CONSENT_ANSWERS, Verdict::Ask),
        ConsentStanding::OtherService => (&fixed::CONSENT_SERVICE, Verdict::Ask),
        ConsentStanding::ProductsChanged => (&fixed::CONSENT_PRODUCTS, Verdict::Ask),
        ConsentStanding::Refused => (&fixed::CONSENT_REFUSED, Verdict::DoNotTreat),
        ConsentStanding::Withdrawn => (&fixed::CONSENT_WITHDRAWN, Verdict::DoNotTreat),
    };
    Some(reason(fixed, About::Consent, verdict, Start::No, &[Clears::Signature]))
}

fn about_open_reaction() -> Reason {
    reason(&fixed::REACTION_OPEN, About::Reaction(None), Verdict::Ask, Verdict::Ask.start(), &[Clears::Talk])
}

fn about_window(case: &Case<'_>, on: Date) -> Option<Reason> {
    let opens = case.window_opens.filter(|opens| on < *opens)?;
    let mut reason =
        reason(&fixed::WINDOW, About::Window, Verdict::WaitUntil, Verdict::WaitUntil.start(), &[Clears::Waiting]);
    reason.from = Some(Earliest::Day(opens));
    Some(reason)
}

#[cfg(test)]
mod tests;
