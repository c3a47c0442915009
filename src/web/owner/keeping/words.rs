//! How the pages say how long records are kept, and why.

use crate::domain::retention::{Blocks, Class, Fate, Keeps, OnRequest, Term};
use crate::when;
use crate::{t, tf, tn};

/// What a class is called.
pub(super) fn title(class: Class) -> &'static str {
    match class {
        Class::Treated => t("Records of clients who were treated"),
        Class::Contact => t("Records of clients who were not treated"),
        Class::Invitations => t("Invitations and wishes for another time"),
        Class::Letters => t("Which mail went to which address"),
    }
}

/// What is in a class.
pub(super) fn holds(class: Class) -> &'static str {
    match class {
        Class::Treated => t(
            "Treatments with products and batches, health answers, signatures, skin tests, photos, doctors’ letters, reactions, visits, and her contact data.",
        ),
        Class::Contact => {
            t("Health answers, signatures, skin tests, visits that didn’t take place, and her contact data.")
        }
        Class::Invitations => {
            t("When a client was asked back, and for which service; which earlier times she wished for.")
        }
        Class::Letters => t("The address, the kind of mail and the day. The text is not kept."),
    }
}

/// From what on it is counted.
pub(super) fn event(class: Class) -> &'static str {
    match class {
        Class::Treated => t("from the last treatment, or from the last entry about a reaction"),
        Class::Contact => t("from the last time she was in touch"),
        Class::Invitations => t("from the day it was written"),
        Class::Letters => t("from the day it left"),
    }
}

/// `7 years`, `18 months`.
pub(super) fn months(months: u16) -> String {
    match (months, months % 12) {
        (1.., 0) => tn("{n} year", "{n} years", months / 12),
        _ => tn("{n} month", "{n} months", months),
    }
    .to_string()
}

/// A term in full.
pub(super) fn term(class: Class, term: Term) -> String {
    let usual = format!("{}, {}", months(term.months), event(class));
    match term.until_age {
        Some(age) => {
            let said = tf("{usual}; of clients who were under 18 then, at least until they are {age}");
            said.with("usual", usual).with("age", age).to_string()
        }
        None => usual,
    }
}

pub(super) fn keeps(why: Keeps) -> &'static str {
    match why {
        Keeps::Treatment => t("the time since her last treatment"),
        Keeps::Reaction => t("the time since the last entry about a reaction"),
        Keeps::SkinTest => t("the time since her last skin test"),
        Keeps::Contact => t("the time since she was last in touch"),
        Keeps::Minor => t("she was under 18 at the time"),
        Keeps::Visit => t("a visit is booked"),
        Keeps::Written => t("the time since it was written"),
    }
}

/// What becomes of a record.
pub(super) fn fate(fate: Fate) -> String {
    match fate {
        Fate::Goes { kept_to, why } => tf("May go. It was kept to {day} ({why}).")
            .with("day", when::day(kept_to))
            .with("why", keeps(why))
            .to_string(),
        Fate::Stays { to, why } => {
            tf("Stays to {day} ({why}).").with("day", when::day(to)).with("why", keeps(why)).to_string()
        }
        Fate::Blocked(Blocks::Hold) => t("Stays until the hold on it is lifted.").to_owned(),
        Fate::Blocked(Blocks::Reaction) => t("Stays until the report of a reaction is settled.").to_owned(),
    }
}

/// What happens to whoever asks to be erased.
pub(super) fn on_request(answer: OnRequest) -> String {
    match answer {
        OnRequest::VisitAhead => t("She has a visit ahead. Cancel it first.").to_owned(),
        OnRequest::Erase => t("Everything of hers goes: no claim can rest on it any more.").to_owned(),
        OnRequest::Restrict(Fate::Blocked(_)) => {
            t("A hold or an open report of a reaction keeps everything. Her record is locked away: nobody meets her on any page, and she gets no more mail.").to_owned()
        }
        OnRequest::Restrict(kept) => {
            let now = t(
                "Photos from before and after, invitations, wishes and mail go at once. The rest is locked away for claims.",
            );
            format!("{now} {}", fate(kept))
        }
    }
}
