//! What stored words are called on a paper that is read years later.

use std::fmt::Write as _;

use super::collect::Collector;
use crate::documents::record::{Aftercare, Answer, Drawing, ProductUse, Step, Treatment};
use crate::domain::catalogue::Chemistry;
use crate::domain::consent::{self, ConsentText};
use crate::domain::ids::ProductId;
use crate::domain::questionnaire::{Answers, Questionnaire};
use crate::domain::skin_test::SkinTest;
use crate::domain::timing::SideTime;
use crate::domain::verdict::{About, Earliest, Reason, Verdict};
use crate::domain::visit::VisitState;
use crate::store::audit::Entry;
use crate::store::treatments::{self, Outcome, Version};

pub(super) const THE_CLIENT: &str = "the client";

/// A text, or nothing when it is empty.
pub(super) fn said(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

pub(super) fn filled_in_by(word: &str) -> String {
    if word == "client" { THE_CLIENT.to_owned() } else { format!("a {word}, for the client") }
}

/// Every question that was answered, in the order of the form.
pub(super) fn answers(questions: &Questionnaire, answers: &Answers) -> Vec<Answer> {
    let asked = questions.questions().filter_map(|question| {
        let answer = answers.get(&question.key)?;
        Some(Answer {
            key: question.key.clone(),
            question: question.text.clone(),
            answer: question.in_words(answer),
            detail: None,
        })
    });
    asked.collect()
}

/// The text as it was shown, headings in lines of their own.
pub(super) fn consent_text(text: &ConsentText, guardian: bool) -> String {
    let parts = text.paragraphs().iter().map(|part| format!("{}\n{}", part.title, part.text));
    parts.chain(guardian.then(|| text.guardian().to_owned())).collect::<Vec<_>>().join("\n\n")
}

pub(super) fn drawing(drawing: &consent::Drawing) -> Drawing {
    Drawing {
        width: consent::Drawing::WIDTH,
        height: consent::Drawing::HEIGHT,
        strokes: drawing.strokes().iter().map(|stroke| stroke.iter().map(|p| (p.x, p.y)).collect()).collect(),
    }
}

pub(super) fn caveat(test: &SkinTest) -> Option<String> {
    match test.voided {
        Some(cause) => Some(format!("does not count: {}", cause.as_str().replace('_', " "))),
        None if !test.reliable => Some("a medicine may have kept a reaction down".to_owned()),
        None => None,
    }
}

pub(super) fn state(state: VisitState) -> &'static str {
    match state {
        VisitState::Held | VisitState::HoldExpired => "not booked",
        VisitState::Booked => "booked",
        VisitState::Arrived => "client has come",
        VisitState::InTreatment => "in treatment",
        VisitState::Done => "treated",
        VisitState::CancelledByClient => "cancelled by the client",
        VisitState::CancelledByStudio => "cancelled by the studio",
        VisitState::NoShow => "client did not come",
    }
}

/// Who booked: a client's first booking is made by a visitor.
pub(super) fn booker(entry: &Entry) -> String {
    match entry.actor_kind.as_str() {
        "visitor" | "client" => "the client, online".to_owned(),
        _ => actor(entry),
    }
}

pub(super) fn actor(entry: &Entry) -> String {
    match entry.actor_kind.as_str() {
        "client" => THE_CLIENT.to_owned(),
        "visitor" => "somebody not signed in".to_owned(),
        "program" => "the program".to_owned(),
        "command" => "the command line".to_owned(),
        role => format!("{} ({role})", entry.actor_name),
    }
}

pub(super) fn done(entry: &Entry) -> String {
    let action = entry.action.replace('.', " ");
    if entry.detail.is_empty() { action } else { format!("{action}: {}", entry.detail) }
}

pub(super) fn verdict(verdict: Verdict, from: Option<Earliest>) -> String {
    match (verdict, from) {
        (Verdict::WaitUntil, Some(Earliest::Day(day))) => format!("{verdict} {day}"),
        (Verdict::WaitUntil, Some(Earliest::Moment(moment))) => {
            format!("{verdict} {}, {:02}:{:02}", moment.date(), moment.hour(), moment.minute())
        }
        _ => verdict.to_string(),
    }
}

/// A reason with what it takes to defend it: what it is about, the rule and what that rests on.
pub(super) fn reason(reason: &Reason, product: impl Fn(&ProductId) -> Option<String>) -> String {
    let mut line = verdict(reason.verdict, reason.from);
    let about = match &reason.about {
        About::SkinTest(id) | About::Product(id) => product(id).unwrap_or_else(|| id.to_string()),
        About::Question(key) => key.replace('_', " "),
        About::Age | About::Answers | About::Consent | About::Window => String::new(),
    };
    // Writing into a String can't fail.
    if !about.is_empty() {
        let _ = write!(line, ", {about}");
    }
    let _ = write!(line, ": {} (rule {}, version {}", reason.say, reason.rule, reason.version);
    let basis = reason.basis.to_string();
    if !basis.is_empty() {
        let _ = write!(line, "; {basis}");
    }
    line.push(')');
    line
}

fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::AsWished => "as wished",
        Outcome::LessThanWished => "less than wished",
        Outcome::Stopped => "stopped before its end",
        Outcome::Reaction => "with a reaction",
    }
}

fn used_for(chemistry: Chemistry) -> &'static str {
    match chemistry {
        Chemistry::Lotion => "lotion",
        Chemistry::Tint => "tint",
        Chemistry::Adhesive => "glue",
    }
}

impl Collector {
    /// Every version of a record, the first one first.
    pub(super) fn treatments(&self, treatment: treatments::Treatment) -> Vec<Treatment> {
        let id = treatment.id;
        treatment.versions.into_iter().rev().map(|version| self.version(&id, version)).collect()
    }

    fn version(&self, id: &crate::domain::ids::TreatmentId, version: Version) -> Treatment {
        let minutes = [
            ("first lotion", version.lotion_one_minutes),
            ("second lotion", version.lotion_two_minutes),
            ("tint", version.tint_minutes),
        ];
        let step = |(name, minutes): (&str, Option<u16>)| Some(Step { name: name.to_owned(), minutes: minutes? });
        let count = version.count.map(|(counted, lifted)| Answer {
            key: "lashes_counted".to_owned(),
            question: "Lashes counted in a marked stretch".to_owned(),
            answer: format!("{counted}, of which {lifted} were still lifted from before"),
            detail: None,
        });
        Treatment {
            id: id.clone(),
            version: version.version,
            written_at: self.moment(version.written_at),
            written_by: version.written_by,
            why_corrected: said(&version.reason),
            practitioner: self.practitioner(&version.practitioner),
            certificate: None,
            service: self.services.get(&version.service).cloned().unwrap_or_default(),
            started_at: self.moment(version.started_at),
            ended_at: Some(self.moment(version.ended_at)),
            shield: said(&version.shield),
            shade: None,
            products: version.products.into_iter().map(|(product, batch)| self.product_use(product, batch)).collect(),
            steps: minutes
                .into_iter()
                .filter_map(step)
                .chain(version.times.iter().map(|time| self.worn(time)))
                .collect(),
            checks: count.into_iter().collect(),
            outcome: Some(outcome(version.outcome).to_owned()),
            client_comment: None,
            notes: said(&version.notes),
            // Which text was given is not stored; that some was, is.
            aftercare: version.aftercare_given.then(|| Aftercare {
                text: String::new(),
                version: String::new(),
                hash: String::new(),
                given: "yes".to_owned(),
            }),
        }
    }

    /// A step on one side with its times to the second, on the studio's clock.
    fn worn(&self, time: &SideTime) -> Step {
        let clock = |at| {
            let civil = self.moment(at).local;
            format!("{:02}:{:02}:{:02}", civil.hour(), civil.minute(), at.second())
        };
        let beyond = match (time.late(), time.over()) {
            (_, Some(over)) => format!(", {} s over the label's longest time", over.whole_seconds()),
            (Some(late), None) => format!(", {} s after its time was up", late.whole_seconds()),
            (None, None) => String::new(),
        };
        let (side, on, off) = (time.side.as_str(), clock(time.on), clock(time.off));
        let minutes = (time.length().whole_seconds() + 30) / 60;
        Step {
            name: format!("{}, {side} side, {on} to {off}{beyond}", time.step),
            minutes: u16::try_from(minutes).unwrap_or(u16::MAX),
        }
    }

    fn product_use(&self, id: ProductId, batch: String) -> ProductUse {
        let product = self.products.get(&id);
        let key = (id, batch);
        ProductUse {
            step: product.map(|product| used_for(product.chemistry)).unwrap_or_default().to_owned(),
            product: product.map(|product| product.name.clone()).unwrap_or_default(),
            expires: self.batches.get(&key).copied().flatten(),
            batch: Some(key.1),
        }
    }
}
