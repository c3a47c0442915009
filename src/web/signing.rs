//! The consent form, wherever it is signed: the text, a tick for each agreement, a typed name, a drawing, a guardian's
//! part. Template: `parts/consent.html`.

use std::collections::BTreeSet;

use crate::domain::consent::{ConsentText, Drawing, Guardian, Offer, Subject, Tick, TypedName};
use crate::domain::ids::ConsentId;
use crate::domain::person::PersonNameRefused;
use crate::domain::readiness::Readiness;
use crate::domain::verdict::{About, Clears, Start};
use crate::t;
use crate::web::form::{Errors, Fields};
use crate::web::public::book::review::Answered;
use crate::web::words;

/// A tick with its words.
pub(super) struct TickView {
    pub(super) name: &'static str,
    pub(super) text: String,
    pub(super) ticked: bool,
    pub(super) needed: bool,
}

/// What a parent or guardian has to do.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// Nothing.
    Nothing,
    /// Sign.
    Signature,
    /// Sign, and be there.
    Presence,
}

impl Wanted {
    /// From the verdict without any guardian's part.
    pub(super) fn of(readiness: &Readiness) -> Self {
        let asks = readiness
            .reasons
            .iter()
            .find(|reason| reason.about == About::Age && reason.clears.contains(&Clears::Guardian));
        match asks {
            None => Self::Nothing,
            // Without her parent there no treatment begins, whatever the reason.
            Some(reason) if reason.start == Start::No => Self::Presence,
            Some(_) => Self::Signature,
        }
    }
}

/// The form as a page shows it.
pub(super) struct ConsentForm {
    /// Names the text that is shown.
    pub(super) hash: String,
    pub(super) paragraphs: Vec<(String, String)>,
    pub(super) ticks: Vec<TickView>,
    /// The health answers that are signed for.
    pub(super) answers: Answered,
    pub(super) guardian: Option<String>,
    pub(super) presence: bool,
    pub(super) fields: Fields,
    pub(super) errors: Errors,
}

impl ConsentForm {
    pub(super) fn new(text: &ConsentText, answers: Answered, wanted: Wanted, fields: Fields, errors: Errors) -> Self {
        let tick = |tick: &crate::domain::consent::TickText| TickView {
            name: tick.tick.as_str(),
            text: tick.text.clone(),
            ticked: fields.ticked(tick.tick.as_str()),
            needed: tick.tick.is_needed(),
        };
        Self {
            hash: text.fingerprint().to_string(),
            paragraphs: text.paragraphs().iter().map(|p| (p.title.clone(), p.text.clone())).collect(),
            ticks: text.ticks().iter().map(tick).collect(),
            answers,
            guardian: (wanted != Wanted::Nothing).then(|| text.guardian().to_owned()),
            presence: wanted == Wanted::Presence,
            fields,
            errors,
        }
    }

    pub(super) fn of(&self, name: &str) -> Option<&str> {
        self.errors.of(name)
    }
}

/// Whether a form was sent from this text: what was on her screen is what she signs.
pub(super) fn shows(fields: &Fields, text: &ConsentText) -> bool {
    fields.get("text") == text.fingerprint().to_string()
}

/// Reads what was signed.
pub(super) fn read(fields: &Fields, wanted: Wanted, id: ConsentId, subject: Subject) -> Result<Offer, Errors> {
    let mut errors = Errors::new();
    let ticks: BTreeSet<Tick> = Tick::ALL.into_iter().filter(|tick| fields.ticked(tick.as_str())).collect();
    for tick in Tick::ALL.into_iter().filter(|tick| tick.is_needed() && !ticks.contains(tick)) {
        errors.add(tick.as_str(), t("Please tick this if you agree. Without it we can’t treat you."));
    }
    let name = errors.take("typed_name", TypedName::parse(fields.get("typed_name")), words::name);
    let guardian = if wanted == Wanted::Nothing { None } else { guardian(fields, wanted, &mut errors) };
    match name {
        Some(name) if errors.is_empty() => {
            Ok(Offer { id, subject, ticks, name, drawing: drawing(fields.get("drawing")), guardian })
        }
        _ => Err(errors),
    }
}

/// A drawing that can't be read counts as none: the typed name alone is a signature.
fn drawing(text: &str) -> Option<Drawing> {
    Drawing::parse(text).ok().filter(|drawing| !drawing.strokes().is_empty())
}

fn guardian(fields: &Fields, wanted: Wanted, errors: &mut Errors) -> Option<Guardian> {
    let why = |refusal: &PersonNameRefused| words::name(refusal);
    let name = errors.take("guardian_name", TypedName::parse(fields.get("guardian_name")), why);
    let relation =
        errors.take("guardian_relation", TypedName::parse(fields.get("guardian_relation")), |refusal| match refusal {
            PersonNameRefused::Missing => t("Please say what they are to you, such as mother or guardian.").to_owned(),
            other => words::name(other),
        });
    let present = fields.ticked("guardian_present");
    if wanted == Wanted::Presence && !present {
        errors.add("guardian_present", t("At this age a parent or guardian has to come along and stay."));
    }
    Some(Guardian { name: name?, relation: relation?, present, drawing: drawing(fields.get("guardian_drawing")) })
}
