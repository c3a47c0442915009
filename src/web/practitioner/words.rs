//! What states, results and refusals are called at the desk.

use std::fmt::Display;

use crate::actions::health::TestRefused;
use crate::actions::treating::{RecordRefused, Refused};
use crate::domain::bottle::Unfit;
use crate::domain::catalogue::Area;
use crate::domain::consent::ConsentStanding;
use crate::domain::readiness::Readiness;
use crate::domain::skin_test::ReadingRefused;
use crate::domain::steps::{Part, Trait};
use crate::domain::timing::Side;
use crate::domain::verdict::{Earliest, Verdict};
use crate::domain::visit::{EventRefused, VisitState};
use crate::domain::zone::CivilRefused;
use crate::language::Language;
use crate::store::treatments::Outcome;
use crate::when;
use crate::{msg, t, tc, tf};

/// Where a visit stands.
pub(super) fn state(state: VisitState) -> &'static str {
    match state {
        VisitState::Held => tc("visit", "Held"),
        VisitState::Booked => t("Booked"),
        VisitState::Arrived => tc("visit", "Here"),
        VisitState::InTreatment => t("Under way"),
        VisitState::Done => t("Done"),
        VisitState::CancelledByClient => t("Cancelled by the client"),
        VisitState::CancelledByStudio => t("Cancelled by the studio"),
        VisitState::NoShow => t("Did not come"),
        VisitState::HoldExpired => t("Given back"),
    }
}

/// Words of ours within a sentence: small in English only, since German nouns keep their capitals.
pub(super) fn within(words: &str) -> String {
    if Language::spoken() == Language::English { words.to_lowercase() } else { words.to_owned() }
}

/// Why something can't happen to a visit.
pub(super) fn event(refusal: &EventRefused) -> String {
    match refusal {
        EventRefused::BeforeStart { .. } => t("The visit has not begun yet, so nobody has failed to come.").to_owned(),
        EventRefused::State { state: at, .. } => {
            tf("This visit is “{state}” by now, so that can’t be done. Look again below.")
                .with("state", within(state(*at)))
                .to_string()
        }
        EventRefused::HoldLapsed { .. } | EventRefused::HoldRuns { .. } => t("This time is only held.").to_owned(),
    }
}

/// Why a change was refused that the page stands against as a whole: where its words belong, and the words.
pub(super) fn stands(refusal: &Refused) -> Option<(&'static str, String)> {
    let said = match refusal {
        Refused::Event(refused) => event(refused),
        Refused::OtherDay(day) => other_day(*day),
        Refused::Changed(_) => t(CHANGED).to_owned(),
        _ => return None,
    };
    Some(("main", said))
}

/// How a treatment came out.
pub(super) fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::AsWished => t("As wished"),
        Outcome::LessThanWished => t("Less than wished"),
        Outcome::Stopped => t("Stopped before its end"),
        Outcome::Reaction => t("With a reaction"),
    }
}

/// How a treatment came out, within a line.
pub(super) fn outcome_within(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::AsWished => t("as wished"),
        Outcome::LessThanWished => t("less than wished"),
        Outcome::Stopped => t("stopped before its end"),
        Outcome::Reaction => t("with a reaction"),
    }
}

/// A side as the client has it.
pub(super) fn side(side: Side, area: Area) -> &'static str {
    match (side, area) {
        (Side::Right, Area::Lash) => t("Right eye"),
        (Side::Left, Area::Lash) => t("Left eye"),
        (Side::Right, Area::Brow) => t("Right brow"),
        (Side::Left, Area::Brow) => t("Left brow"),
    }
}

/// A side within a line.
pub(super) fn side_within(side: Side, area: Area) -> &'static str {
    match (side, area) {
        (Side::Right, Area::Lash) => t("right eye"),
        (Side::Left, Area::Lash) => t("left eye"),
        (Side::Right, Area::Brow) => t("right brow"),
        (Side::Left, Area::Brow) => t("left brow"),
    }
}

/// What lashes are.
pub(super) fn lashes(one: Trait) -> &'static str {
    match one {
        Trait::Fine => t("fine"),
        Trait::Tinted => t("tinted already"),
        Trait::Lifted => t("lifted before"),
    }
}

/// When something was written down, and by whom.
pub(super) fn noted(when: String, who: &str) -> String {
    tf("{when} by {who}").with("when", when).with("who", who).to_string()
}

/// A product with its batch.
pub(super) fn bottle(product: &str, batch: &str) -> String {
    tf("{product}, batch {batch}").with("product", product).with("batch", batch).to_string()
}

/// From when to when.
pub(super) fn from_to(from: impl Display, to: impl Display) -> String {
    tf("{from} to {to}").with("from", from).with("to", to).to_string()
}

/// A skin test before a service.
pub(super) fn skin_test_for(service: &str) -> String {
    tf("Skin test for {service}").with("service", service).to_string()
}

/// A visit is on another day.
pub(super) fn other_day(day: time::Date) -> String {
    tf("This visit is on {day}, not today.").with("day", when::day(day)).to_string()
}

/// From when something no longer stands.
pub(super) fn earliest(from: Earliest) -> String {
    match from {
        Earliest::Day(day) => when::day(day),
        Earliest::Moment(at) => when::moment(time::PrimitiveDateTime::new(at.date(), at.time())),
    }
}

/// The verdict's shape, and its words.
pub(super) fn verdict(readiness: &Readiness) -> (&'static str, String) {
    let words = match readiness.verdict {
        Verdict::Clear => t("Clear to start").to_owned(),
        Verdict::Note => t("Clear to start, with notes to read").to_owned(),
        Verdict::Ask => t("Ask before starting").to_owned(),
        Verdict::WaitUntil => match readiness.from {
            Some(from) => tf("Wait until {when}").with("when", earliest(from)).to_string(),
            None => tc("verdict", "Wait").to_owned(),
        },
        Verdict::LetterNeeded => t("Letter or guardian needed").to_owned(),
        Verdict::DoNotTreat => t("Do not treat").to_owned(),
    };
    (shape(readiness.verdict), words)
}

/// A verdict in a word or two.
pub(super) fn label(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clear => tc("verdict", "Clear"),
        Verdict::Note => tc("verdict", "Note"),
        Verdict::Ask => tc("verdict", "Ask"),
        Verdict::WaitUntil => tc("verdict", "Wait"),
        Verdict::LetterNeeded => t("Letter or guardian"),
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

/// Where the consent stands: shape and words.
pub(super) fn consent(standing: ConsentStanding) -> (&'static str, &'static str) {
    match standing {
        ConsentStanding::SignedCurrent => ("clear", t("Signed on the text in use")),
        ConsentStanding::TextChanged => ("ask", t("Signed on an older text")),
        ConsentStanding::AnswersChanged => ("ask", t("Signed before the answers changed")),
        ConsentStanding::OtherService => ("ask", t("Signed for another service")),
        ConsentStanding::ProductsChanged => ("ask", t("Signed for other products")),
        ConsentStanding::Missing => ("ask", t("Not signed")),
        ConsentStanding::Refused => ("stop", t("Refused")),
        ConsentStanding::Withdrawn => ("stop", t("Withdrawn")),
    }
}

/// Why no skin test was stored: the field, and the words beside it.
pub(super) fn test(refusal: &TestRefused) -> Option<(&'static str, String)> {
    Some(match refusal {
        TestRefused::Store(_) | TestRefused::NotFound => return None,
        TestRefused::Event(refused) => ("product", event(refused)),
        TestRefused::OtherProduct => ("product", t("Choose one of the products on the list.").to_owned()),
        TestRefused::OtherDay(day) => (
            "product",
            tf("This visit is on {day}, and a skin test is applied on the day of its visit. Book another visit, or apply the test now on the client’s page.")
                .with("day", when::day(*day))
                .to_string(),
        ),
        TestRefused::NotBefore(day) => (
            "product",
            tf("The answers ask to wait with a skin test until {day}.").with("day", when::day(*day)).to_string(),
        ),
        TestRefused::Age => ("product", t("No skin test under 16.").to_owned()),
        TestRefused::NoAnswers => {
            ("product", t("The health questions were not answered yet. They come before any skin test.").to_owned())
        }
        TestRefused::AskFirst => (
            "product",
            t("An answer that decides on a skin test is open, or the answers are more than six months old. Ask her first, and take it down on the client’s page.")
                .to_owned(),
        ),
        TestRefused::LetterFirst => (
            "product",
            t("The answers ask for a letter before anything is put on the skin, a skin test too. Wait until it is here and was read.")
                .to_owned(),
        ),
        TestRefused::ReactionOpen => (
            "product",
            t("A reaction of hers is still followed up. Ask her how it is and settle its report before anything is used on her.")
                .to_owned(),
        ),
        TestRefused::Guardian => (
            "product",
            t("Under 18, a parent or guardian signs for this service before anything is put on the skin, a skin test too.")
                .to_owned(),
        ),
        TestRefused::Forbidden => (
            "product",
            t("The answers forbid a skin test of this product. Look at them on the client’s page.").to_owned(),
        ),
        TestRefused::Harmed => (
            "product",
            t("She reacted to it, or a skin test of it was not clear, so it is not put on her skin again.").to_owned(),
        ),
        TestRefused::NoConsent => {
            ("product", t("Consent was refused or withdrawn, so nothing is put on the skin.").to_owned())
        }
        TestRefused::UnknownBatch => ("batch", t(UNKNOWN_BATCH).to_owned()),
        TestRefused::Expired(ended) => {
            ("batch", tf("This batch ended on {day}. Take another one.").with("day", when::day(*ended)).to_string())
        }
        TestRefused::Future => ("time", t(FUTURE).to_owned()),
        TestRefused::Reading(ReadingRefused::BeforeApplied) => {
            ("day", t("That is before the test was applied.").to_owned())
        }
        TestRefused::Reading(ReadingRefused::Future) => ("day", t(FUTURE).to_owned()),
    })
}

/// Why a record isn't taken: the field, and the words beside it. Batches stand at the product's own field.
pub(super) fn record(refusal: &RecordRefused) -> (String, String) {
    match refusal {
        RecordRefused::EndsBeforeStart => ("ended".to_owned(), t("That is before the start.").to_owned()),
        RecordRefused::TooLong => {
            ("ended".to_owned(), t("That is more than twelve hours after the start. Look at both times.").to_owned())
        }
        RecordRefused::OutsideIt => ("ended".to_owned(), t("A time by side lies outside of these two.").to_owned()),
        RecordRefused::Future => ("ended".to_owned(), t(FUTURE).to_owned()),
        RecordRefused::Count => ("still_lifted".to_owned(), t("That is more than were counted.").to_owned()),
        RecordRefused::NoProduct => (
            "products".to_owned(),
            t("Write the batch of at least one product. Without any, the outcome is “stopped”.").to_owned(),
        ),
        RecordRefused::UnknownBatch(product, _) => (format!("batch_{product}"), t(UNKNOWN_BATCH).to_owned()),
        RecordRefused::Unfit(product, _, unfit) => (format!("batch_{product}"), self::unfit(unfit)),
    }
}

/// Why what is in a bottle may not be used.
pub(super) fn unfit(unfit: &Unfit) -> String {
    match unfit {
        Unfit::Blocked => {
            t("She reacted to it, or to what shares a flagged ingredient with it, so it may not be used on her.").to_owned()
        }
        Unfit::Untested => {
            t("No skin test of it on her counts, though its label or this service asks for one, so it may not be used on her.")
                .to_owned()
        }
        Unfit::OtherService => {
            t("This service doesn’t use a product of its kind, so it may not be used here.").to_owned()
        }
        Unfit::OtherStep(Part::LotionTwo) => {
            t("It is a first lotion. The second one was on too, and no bottle of it is named.").to_owned()
        }
        Unfit::OtherStep(_) => {
            t("It is a second lotion. The first one was on too, and no bottle of it is named.").to_owned()
        }
        Unfit::Expired(day) => {
            tf("This batch ended on {day}, so it may not be used.").with("day", when::day(*day)).to_string()
        }
        Unfit::Discarded(day) => {
            tf("This batch was thrown away on {day}, so it can’t be used.").with("day", when::day(*day)).to_string()
        }
        Unfit::OtherArea(Area::Lash) => t("Its label is not for lashes, so it may not be used on them.").to_owned(),
        Unfit::OtherArea(Area::Brow) => t("Its label is not for brows, so it may not be used on them.").to_owned(),
        Unfit::BeyondLimit(warning) => tf("It doesn’t fit the published limits, so it may not be used here: {basis}.")
            .with("basis", &warning.basis.text)
            .to_string(),
    }
}

/// Why a civil time is no moment.
pub(super) fn civil(refusal: CivilRefused) -> String {
    match refusal {
        CivilRefused::Missing => t("The clocks jump over this time on that day.").to_owned(),
        CivilRefused::Twice => t("The clocks show this time twice on that day. Write a time around it.").to_owned(),
        CivilRefused::OutOfRange => t(TIME).to_owned(),
    }
}

const UNKNOWN_BATCH: &str = msg("The register doesn’t know this batch. Check the label; the owner adds new batches.");
/// A page showed what stands no longer so.
pub(super) const CHANGED: &str = msg("Something has changed in the meantime. Please read it again.");
/// No time of day.
pub(super) const TIME: &str = msg("Write the time like 9:05 or 14:30.");
/// No time of day to the second.
pub(super) const SECOND: &str = msg("Write the time like 14:03:20.");
/// No day.
/// Still to come.
pub(super) const FUTURE: &str = msg("That is still to come.");
