//! How the pages say how long records are kept, and why.

use crate::domain::retention::{Blocks, Class, Fate, Keeps, OnRequest, Term};
use crate::when;

/// What a class is called.
pub(super) fn title(class: Class) -> &'static str {
    match class {
        Class::Treated => "Records of clients who were treated",
        Class::Contact => "Records of clients who were not treated",
        Class::Invitations => "Invitations and wishes for another time",
        Class::Letters => "Which mail went to which address",
    }
}

/// What is in a class.
pub(super) fn holds(class: Class) -> &'static str {
    match class {
        Class::Treated => {
            "Treatments with products and batches, health answers, signatures, skin tests, photos, doctors’ letters, reactions, visits, and her contact data."
        }
        Class::Contact => {
            "Health answers, signatures, skin tests, visits that didn’t take place, and her contact data."
        }
        Class::Invitations => {
            "When a client was asked back, and for which service; which earlier times she wished for."
        }
        Class::Letters => "The address, the kind of mail and the day. The text is not kept.",
    }
}

/// From what on it is counted.
pub(super) fn event(class: Class) -> &'static str {
    match class {
        Class::Treated => "from the last treatment, or from the last entry about a reaction",
        Class::Contact => "from the last time she was in touch",
        Class::Invitations => "from the day it was written",
        Class::Letters => "from the day it left",
    }
}

/// `7 years`, `18 months`.
pub(super) fn months(months: u16) -> String {
    match (months, months % 12) {
        (1, _) => "1 month".to_owned(),
        (12, _) => "1 year".to_owned(),
        (_, 0) => format!("{} years", months / 12),
        _ => format!("{months} months"),
    }
}

/// A term in full.
pub(super) fn term(class: Class, term: Term) -> String {
    let usual = format!("{}, {}", months(term.months), event(class));
    match term.until_age {
        Some(age) => format!("{usual}; of clients who were under 18 then, at least until they are {age}"),
        None => usual,
    }
}

pub(super) fn keeps(why: Keeps) -> &'static str {
    match why {
        Keeps::Treatment => "the time since her last treatment",
        Keeps::Reaction => "the time since the last entry about a reaction",
        Keeps::SkinTest => "the time since her last skin test",
        Keeps::Contact => "the time since she was last in touch",
        Keeps::Minor => "she was under 18 at the time",
        Keeps::Visit => "a visit is booked",
        Keeps::Written => "the time since it was written",
    }
}

/// What becomes of a record.
pub(super) fn fate(fate: Fate) -> String {
    match fate {
        Fate::Goes { kept_to, why } => {
            format!("May go. It was kept to {} ({}).", when::day(kept_to), keeps(why))
        }
        Fate::Stays { to, why } => format!("Stays to {} ({}).", when::day(to), keeps(why)),
        Fate::Blocked(Blocks::Hold) => "Stays until the hold on it is lifted.".to_owned(),
        Fate::Blocked(Blocks::Reaction) => "Stays until the report of a reaction is settled.".to_owned(),
    }
}

/// What happens to whoever asks to be erased.
pub(super) fn on_request(answer: OnRequest) -> String {
    match answer {
        OnRequest::VisitAhead => "She has a visit ahead. Cancel it first.".to_owned(),
        OnRequest::Erase => "Everything of hers goes: no claim can rest on it any more.".to_owned(),
        OnRequest::Restrict(Fate::Blocked(_)) => {
            "A hold or an open report of a reaction keeps everything. Her record is locked away: nobody meets her on any page, and she gets no more mail.".to_owned()
        }
        OnRequest::Restrict(kept) => format!(
            "Photos from before and after, invitations, wishes and mail go at once. The rest is locked away for claims. {}",
            fate(kept)
        ),
    }
}
