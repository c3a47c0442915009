//! What states, results and refusals are called at the desk.

use crate::actions::health::TestRefused;
use crate::actions::treating::RecordRefused;
use crate::domain::bottle::Unfit;
use crate::domain::catalogue::Area;
use crate::domain::consent::ConsentStanding;
use crate::domain::readiness::Readiness;
use crate::domain::skin_test::ReadingRefused;
use crate::domain::steps::Trait;
use crate::domain::timing::Side;
use crate::domain::verdict::{Earliest, Verdict};
use crate::domain::visit::{EventRefused, VisitState};
use crate::domain::zone::CivilRefused;
use crate::store::treatments::Outcome;
use crate::when;

/// Where a visit stands.
pub(super) fn state(state: VisitState) -> &'static str {
    match state {
        VisitState::Held => "Held",
        VisitState::Booked => "Booked",
        VisitState::Arrived => "Here",
        VisitState::InTreatment => "Under way",
        VisitState::Done => "Done",
        VisitState::CancelledByClient => "Cancelled by the client",
        VisitState::CancelledByStudio => "Cancelled by the studio",
        VisitState::NoShow => "Did not come",
        VisitState::HoldExpired => "Given back",
    }
}

/// Why something can't happen to a visit.
pub(super) fn event(refusal: &EventRefused) -> String {
    match refusal {
        EventRefused::BeforeStart { .. } => "The visit has not begun yet, so nobody has failed to come.".to_owned(),
        EventRefused::State { state: at, .. } => {
            format!("This visit is “{}” by now, so that can’t be done. Look again below.", state(*at).to_lowercase())
        }
        EventRefused::HoldLapsed { .. } | EventRefused::HoldRuns { .. } => "This time is only held.".to_owned(),
    }
}

/// How a treatment came out.
pub(super) fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::AsWished => "As wished",
        Outcome::LessThanWished => "Less than wished",
        Outcome::Stopped => "Stopped before its end",
        Outcome::Reaction => "With a reaction",
    }
}

/// A side as the client has it.
pub(super) fn side(side: Side, area: Area) -> &'static str {
    match (side, area) {
        (Side::Right, Area::Lash) => "Right eye",
        (Side::Left, Area::Lash) => "Left eye",
        (Side::Right, Area::Brow) => "Right brow",
        (Side::Left, Area::Brow) => "Left brow",
    }
}

/// What lashes are.
pub(super) fn lashes(one: Trait) -> &'static str {
    match one {
        Trait::Fine => "fine",
        Trait::Tinted => "tinted already",
        Trait::Lifted => "lifted before",
    }
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
        Verdict::Clear => "Clear to start".to_owned(),
        Verdict::Note => "Clear to start, with notes to read".to_owned(),
        Verdict::Ask => "Ask before starting".to_owned(),
        Verdict::WaitUntil => match readiness.from {
            Some(from) => format!("Wait until {}", earliest(from)),
            None => "Wait".to_owned(),
        },
        Verdict::LetterNeeded => "Letter or guardian needed".to_owned(),
        Verdict::DoNotTreat => "Do not treat".to_owned(),
    };
    (shape(readiness.verdict), words)
}

/// A verdict in a word or two.
pub(super) fn label(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clear => "Clear",
        Verdict::Note => "Note",
        Verdict::Ask => "Ask",
        Verdict::WaitUntil => "Wait",
        Verdict::LetterNeeded => "Letter or guardian",
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

/// Where the consent stands: shape and words.
pub(super) fn consent(standing: ConsentStanding) -> (&'static str, &'static str) {
    match standing {
        ConsentStanding::SignedCurrent => ("clear", "Signed on the text in use"),
        ConsentStanding::TextChanged => ("ask", "Signed on an older text"),
        ConsentStanding::AnswersChanged => ("ask", "Signed before the answers changed"),
        ConsentStanding::OtherService => ("ask", "Signed for another service"),
        ConsentStanding::ProductsChanged => ("ask", "Signed for other products"),
        ConsentStanding::Missing => ("ask", "Not signed"),
        ConsentStanding::Refused => ("stop", "Refused"),
        ConsentStanding::Withdrawn => ("stop", "Withdrawn"),
    }
}

/// Why no skin test was stored: the field, and the words beside it.
pub(super) fn test(refusal: &TestRefused) -> Option<(&'static str, String)> {
    Some(match refusal {
        TestRefused::Store(_) | TestRefused::NotFound => return None,
        TestRefused::Event(refused) => ("product", event(refused)),
        TestRefused::OtherProduct => ("product", "Choose one of the products on the list.".to_owned()),
        TestRefused::NotBefore(day) => {
            ("product", format!("The answers ask to wait with a skin test until {}.", when::day(*day)))
        }
        TestRefused::Age => ("product", "No skin test under 16.".to_owned()),
        TestRefused::NoAnswers => {
            ("product", "The health questions were not answered yet. They come before any skin test.".to_owned())
        }
        TestRefused::Forbidden => {
            ("product", "The answers forbid a skin test of this product. Look at them on the client’s page.".to_owned())
        }
        TestRefused::NoConsent => {
            ("product", "Consent was refused or withdrawn, so nothing is put on the skin.".to_owned())
        }
        TestRefused::Expired(ended) => {
            ("batch", format!("This batch ended on {}. Take another one.", when::day(*ended)))
        }
        TestRefused::Future => ("time", FUTURE.to_owned()),
        TestRefused::Reading(ReadingRefused::BeforeApplied) => {
            ("day", "That is before the test was applied.".to_owned())
        }
        TestRefused::Reading(ReadingRefused::Future) => ("day", FUTURE.to_owned()),
    })
}

/// Why a record isn't taken: the field, and the words beside it. Batches stand at the product's own field.
pub(super) fn record(refusal: &RecordRefused) -> (String, String) {
    match refusal {
        RecordRefused::EndsBeforeStart => ("ended".to_owned(), "That is before the start.".to_owned()),
        RecordRefused::Future => ("ended".to_owned(), FUTURE.to_owned()),
        RecordRefused::Count => ("still_lifted".to_owned(), "That is more than were counted.".to_owned()),
        RecordRefused::NoProduct => (
            "products".to_owned(),
            "Write the batch of at least one product. Without any, the outcome is “stopped”.".to_owned(),
        ),
        RecordRefused::UnknownBatch(product) => (
            format!("batch_{product}"),
            "The register doesn’t know this batch. Check the label; the owner adds new batches.".to_owned(),
        ),
        RecordRefused::Unfit(product, unfit) => (format!("batch_{product}"), self::unfit(unfit)),
    }
}

/// Why what is in a bottle may not be used.
pub(super) fn unfit(unfit: &Unfit) -> String {
    match unfit {
        Unfit::Expired(day) => format!("This batch ended on {}, so it may not be used.", when::day(*day)),
        Unfit::Discarded(day) => format!("This batch was thrown away on {}, so it can’t be used.", when::day(*day)),
        Unfit::OtherArea(Area::Lash) => "Its label is not for lashes, so it may not be used on them.".to_owned(),
        Unfit::OtherArea(Area::Brow) => "Its label is not for brows, so it may not be used on them.".to_owned(),
        Unfit::BeyondLimit(warning) => {
            format!("It doesn’t fit the published limits, so it may not be used here: {}.", warning.basis.text)
        }
    }
}

/// Why a civil time is no moment.
pub(super) fn civil(refusal: CivilRefused) -> String {
    match refusal {
        CivilRefused::Missing => "The clocks jump over this time on that day.".to_owned(),
        CivilRefused::Twice => "The clocks show this time twice on that day. Write a time around it.".to_owned(),
        CivilRefused::OutOfRange => TIME.to_owned(),
    }
}

/// No time of day.
pub(super) const TIME: &str = "Write the time like 9:05 or 14:30.";
/// No time of day to the second.
pub(super) const SECOND: &str = "Write the time like 14:03:20.";
/// No day.
/// Still to come.
pub(super) const FUTURE: &str = "That is still to come.";
