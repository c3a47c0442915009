//! The rules that are not in the table: age, skin tests, consent, window. Each has a key, a basis
//! and a sentence for the client. They are spoken when a verdict is drawn: what is stored with it is what was read.

use crate::domain::verdict::{Basis, BasisKind};
use crate::{msg, t};

/// The version of these rules and words; raise it with every change of either.
pub(super) const VERSION: u32 = 4;

/// A rule with its words.
pub(super) struct Fixed {
    /// Its stable key.
    pub(super) key: &'static str,
    kind: BasisKind,
    source: &'static str,
    /// The sentence for the client.
    pub(super) say: &'static str,
}

impl Fixed {
    /// What it rests on.
    pub(super) fn basis(&self) -> Basis {
        Basis { kind: self.kind, text: t(self.source).to_owned() }
    }
}

const fn practice(key: &'static str, say: &'static str) -> Fixed {
    Fixed { key, kind: BasisKind::Practice, source: "", say }
}

const fn source(key: &'static str, source: &'static str, say: &'static str) -> Fixed {
    Fixed { key, kind: BasisKind::Source, source, say }
}

pub(super) const AGE_UNKNOWN: Fixed =
    practice("age_unknown", msg("Please tell us your date of birth, so that we know what we may offer you."));
pub(super) const AGE_TINT: Fixed = source(
    "age_tint_under_16",
    msg(
        "Regulation (EC) 1223/2009, Annex III entries 8b, 9a and 22: label warning \"not intended for use on persons under \
     the age of 16\"; silver nitrate likewise, from memory",
    ),
    msg(
        "Tint is not meant for anyone under 16, so we can't offer it yet. We look forward to seeing you once you are 16.",
    ),
);
pub(super) const AGE_UNDER_16: Fixed = practice(
    "age_under_16",
    msg("We don't treat anyone under 16 here. We look forward to seeing you once you are 16."),
);
pub(super) const AGE_TEST: Fixed = source(
    "age_test_under_16",
    msg("advice of a UK trade body for hairdressing: no colour and no allergy test under 16"),
    msg("We don't test the skin of anyone under 16. Your skin test can be once you are 16, and your visit after it."),
);
pub(super) const GUARDIAN_PRESENCE: Fixed = practice(
    "age_guardian_present",
    msg("Under 16, a parent or guardian signs with you and stays with you during the visit."),
);
pub(super) const GUARDIAN_SIGNATURE: Fixed =
    practice("age_guardian_signs", msg("Under 18, a parent or guardian signs with you before the visit."));

pub(super) const PRODUCT_AREA: Fixed = practice(
    "product_area",
    msg("The label of the product that is planned doesn't allow it there. We will choose another one."),
);
pub(super) const PRODUCT_NOT_ALLOWED: Fixed = practice(
    "product_not_allowed",
    msg("The product that is planned may not be used there. We will choose another one."),
);
pub(super) const PRODUCT_ABOVE: Fixed = practice(
    "product_above_limit",
    msg("The product that is planned is stronger than what may be used there. We will choose another one."),
);
pub(super) const PRODUCT_PH: Fixed =
    practice("product_ph", msg("We will look at the label of the product that is planned before we use it."));
pub(super) const PRODUCT_AGE: Fixed = practice(
    "product_age",
    msg("The label of the product that is planned names an age that you haven't reached yet. We may find another one."),
);

pub(super) const NO_ANSWERS: Fixed =
    practice("answers_missing", msg("Please answer the health questions before your visit."));
pub(super) const OLD_ANSWERS: Fixed = practice(
    "answers_old",
    msg(
        "It is a while since you answered the health questions. Please look at them again and tell us what has changed.",
    ),
);

const FLOOR: &str =
    msg("at least 48 hours before the appointment, by default: advice of a UK trade body and of a UK trade \
     association for hair colour; the label comes first");
const SILENCE: &str = msg("UK NOS SKAB2: results of tests are interpreted and recorded");
pub(super) const TEST_NOT_DONE: Fixed =
    source("skin_test_not_done", FLOOR, msg("This product has to be tried on a small patch of your skin first."));
pub(super) const TEST_BOOKED: Fixed = source(
    "skin_test_booked",
    FLOOR,
    msg("Your skin test is booked. The visit goes ahead once it has been read as clear."),
);
pub(super) const TEST_RUNNING: Fixed = source(
    "skin_test_running",
    FLOOR,
    msg(
        "Your skin test is running. Please tell us what you see when we ask; the visit goes ahead once it has been read as \
     clear.",
    ),
);
pub(super) const TEST_TOO_EARLY: Fixed =
    source("skin_test_too_early", FLOOR, msg("Your skin test needs a little longer before it can be read."));
pub(super) const TEST_NOT_READ: Fixed = source(
    "skin_test_not_read",
    SILENCE,
    msg("Nobody has noted yet how your skin test turned out. Please show us, or tell us what you saw."),
);
pub(super) const TEST_READ_TOO_LATE: Fixed = source(
    "skin_test_read_too_late",
    msg("patch tests are read up to about day 7: European Society of Contact Dermatitis 2015, from memory"),
    msg(
        "Nobody looked at your skin test within seven days, so it tells us nothing any more and we would like to repeat it.",
    ),
);
pub(super) const TEST_REMOVED: Fixed = practice(
    "skin_test_removed_early",
    msg("Your skin test came off too early to tell us anything, so we would like to repeat it."),
);
pub(super) const TEST_UNCLEAR: Fixed = practice(
    "skin_test_unclear",
    msg("Your skin test left a faint mark that we can't judge, so we would like to repeat it once before we go on."),
);
pub(super) const TEST_UNCLEAR_TWICE: Fixed = practice(
    "skin_test_unclear_twice",
    msg("Your skin test was unclear twice, so we would rather try another product than go on with this one."),
);
pub(super) const TEST_FAILED: Fixed = practice(
    "skin_test_failed",
    msg(
        "Your skin reacted to the test, so we won't use this product on you. Please show it to a doctor or dermatologist.",
    ),
);
pub(super) const PRODUCT_BLOCKED: Fixed = practice(
    "product_blocked",
    msg(
        "You reacted to this product before, so we won't use it on you. A dermatologist can find out what you react to.",
    ),
);
pub(super) const TAKEN_BACK: Fixed = practice(
    "answer_taken_back",
    msg(
        "You once told us of an allergy, and have answered no since. An allergy doesn’t pass: please talk with us first.",
    ),
);
pub(super) const REACTION_OPEN: Fixed = practice(
    "reaction_open",
    msg("You had a reaction that we are still following up. Please tell us how it is before anything is used on you."),
);
pub(super) const TEST_EXPIRED: Fixed =
    practice("skin_test_expired", msg("Your last skin test is too long ago to count, so we would like to repeat it."));
pub(super) const TEST_VOIDED: Fixed = practice(
    "skin_test_voided",
    msg("Something has changed since your last skin test, so it no longer counts and we would like to repeat it."),
);

const PER_VISIT: &str = msg("UK NOS SKAB2: informed consent is recorded; signed again when text, product or a health \
     answer changed (common practice)");
pub(super) const CONSENT_MISSING: Fixed =
    source("consent_missing", PER_VISIT, msg("Please read and sign the consent before we start."));
pub(super) const CONSENT_TEXT: Fixed = source(
    "consent_text_changed",
    PER_VISIT,
    msg("The consent text has changed since you signed; please read and sign it."),
);
pub(super) const CONSENT_ANSWERS: Fixed = source(
    "consent_answers_changed",
    PER_VISIT,
    msg("Your health answers have changed since you signed; please sign the consent again."),
);
pub(super) const CONSENT_PRODUCTS: Fixed = source(
    "consent_products_changed",
    PER_VISIT,
    msg("Other products are planned than when you signed; please sign the consent again."),
);
pub(super) const CONSENT_SERVICE: Fixed = source(
    "consent_other_service",
    PER_VISIT,
    msg("You signed for another service; please read and sign the consent for this one."),
);
pub(super) const CONSENT_REFUSED: Fixed = source(
    "consent_refused",
    PER_VISIT,
    msg("You chose not to sign, and that is fine: we don't treat without your agreement. You may change your mind."),
);
pub(super) const CONSENT_WITHDRAWN: Fixed = source(
    "consent_withdrawn",
    PER_VISIT,
    msg("You withdrew your consent, and that is fine: we don't treat without it. You may change your mind."),
);

pub(super) const WINDOW: Fixed = practice(
    "window_not_open",
    msg("It is too soon to do this again. Lashes and brows that are treated too often can be harmed."),
);
