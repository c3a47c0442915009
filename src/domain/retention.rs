//! How long records are kept, and what may go on a day.
//!
//! A client's record is kept whole: what was decided at the last visit rests on answers, signatures and tests from long
//! before. So it has one last day, the latest that any of its parts asks for.

use serde::{Deserialize, Serialize};
use time::{Date, Duration};

use super::age::{ADULT_FROM, turns};
use super::person::BirthDate;
use super::span::Span;
use crate::msg;

/// What the first version of each term says of itself, as the schema writes it: stored in English, and spoken where it is
/// shown.
pub const SHIPPED: [&str; 4] = [
    msg(
        "Common practice of insurers: seven years after the last treatment, of minors to the age of 25. The law may let a \
         claim be made for less long, such as three years in England and Wales (Limitation Act 1980, s. 11).",
    ),
    msg("Common practice, no source."),
    msg("Common practice, no source; twelve months cover the longest time between two invitations."),
    msg("As the program ships it."),
];

/// Records that are kept equally long, each class from an event of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    /// The record of whoever was treated or reacted to a product: from her last treatment, and from the last entry of a
    /// reaction report.
    Treated,
    /// The record of everybody: from the last time that she was in touch, by a visit, answers, a signature, a skin test or
    /// a letter.
    Contact,
    /// Invitations and wishes for another time: each from the day it was written.
    Invitations,
    /// To which address which kind of mail left: each from the day it left.
    Letters,
}

impl Class {
    /// Every class.
    pub const ALL: [Self; 4] = [Self::Treated, Self::Contact, Self::Invitations, Self::Letters];

    /// The word that the database and paths use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Treated => "treated",
            Self::Contact => "contact",
            Self::Invitations => "invitations",
            Self::Letters => "letters",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.as_str() == word)
    }

    /// Whether its records may have to be kept for longer of somebody under age.
    pub fn knows_age(self) -> bool {
        matches!(self, Self::Treated | Self::Contact)
    }
}

/// How long a class is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Term {
    /// Calendar months from its event, 1 to 600.
    pub months: u16,
    /// Of whoever was under 18 at the event, at least to this birthday: 18 to 30.
    pub until_age: Option<u8>,
}

impl Term {
    /// Which months a term may have.
    pub const MONTHS: std::ops::RangeInclusive<u16> = 1..=600;
    /// Which ages it may have.
    pub const AGES: std::ops::RangeInclusive<u8> = ADULT_FROM..=30;

    /// The last day on which it is kept what happened on a day.
    pub fn last_day(self, event: Date) -> Date {
        Span::Months(self.months).after(event)
    }

    /// The first day of which what happened has still to be kept; what is from before may go.
    pub fn kept_since(self, today: Date) -> Date {
        let far = Duration::days(i64::from(self.months) * 31 + 1);
        let mut day = today.checked_sub(far).unwrap_or(Date::MIN);
        while self.last_day(day) < today {
            day = day.next_day().unwrap_or(Date::MAX);
        }
        day
    }
}

/// How long each class is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// [`Class::Treated`]
    pub treated: Term,
    /// [`Class::Contact`]
    pub contact: Term,
    /// [`Class::Invitations`]
    pub invitations: Term,
    /// [`Class::Letters`]
    pub letters: Term,
}

/// What of a client's records bears on how long they are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Records {
    /// Her date of birth.
    pub born: BirthDate,
    /// The days of her first and her last treatment; one that was begun counts, whether or not it was recorded.
    pub treated: Option<(Date, Date)>,
    /// The days of the first report of a reaction and of the last entry to any.
    pub reacted: Option<(Date, Date)>,
    /// The days of her first and last contact.
    pub contact: (Date, Date),
    /// The day of her last visit that is booked or under way.
    pub ahead: Option<Date>,
    /// Whether a report of a reaction is open.
    pub reaction_open: bool,
    /// Whether a hold is set on her records.
    pub held: bool,
    /// The days of her first and last skin test.
    pub tested: Option<(Date, Date)>,
    /// Whether she was erased on request, and only what a claim could rest on is kept.
    pub restricted: bool,
}

/// Why a record is kept to its last day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Keeps {
    /// The time since her last treatment.
    Treatment,
    /// The time since the last entry of a reaction report.
    Reaction,
    /// The time since her last skin test.
    SkinTest,
    /// The time since she was last in touch.
    Contact,
    /// She was under age.
    Minor,
    /// A visit is booked.
    Visit,
    /// The time since it was written.
    Written,
}

/// What has to happen before anything leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Blocks {
    /// The hold is lifted.
    Hold,
    /// The reaction report is settled.
    Reaction,
}

/// What becomes of records on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// They go: they were kept to this day.
    Goes {
        /// The last day.
        kept_to: Date,
        /// Why to that day.
        why: Keeps,
    },
    /// They stay to this day, as things stand.
    Stays {
        /// The last day.
        to: Date,
        /// Why to that day.
        why: Keeps,
    },
    /// They stay, whatever the day.
    Blocked(Blocks),
}

fn blocked(records: &Records) -> Option<Blocks> {
    match (records.held, records.reaction_open) {
        (true, _) => Some(Blocks::Hold),
        (false, true) => Some(Blocks::Reaction),
        (false, false) => None,
    }
}

fn fate(records: &Records, to: Date, why: Keeps, today: Date) -> Fate {
    match blocked(records) {
        Some(block) => Fate::Blocked(block),
        None if today > to => Fate::Goes { kept_to: to, why },
        None => Fate::Stays { to, why },
    }
}

/// The last day of a term that runs from the last of several events, and is longer when she was under age at the first.
fn last_day(term: Term, born: BirthDate, (first, last): (Date, Date), why: Keeps) -> (Date, Keeps) {
    let usual = term.last_day(last);
    let minor = term.until_age.filter(|_| born.age_on(first) < ADULT_FROM).map(|age| turns(born, age));
    match minor {
        Some(birthday) if birthday > usual => (birthday, Keeps::Minor),
        _ => (usual, why),
    }
}

/// The last day on which a claim may still rest on her record; nothing when none can.
fn claims(records: &Records, terms: &Terms) -> Option<(Date, Keeps)> {
    let born = records.born;
    let all = [
        records.treated.map(|days| last_day(terms.treated, born, days, Keeps::Treatment)),
        records.reacted.map(|days| last_day(terms.treated, born, days, Keeps::Reaction)),
        records.tested.map(|days| last_day(terms.contact, born, days, Keeps::SkinTest)),
    ];
    all.into_iter().flatten().reduce(later)
}

fn later(one: (Date, Keeps), other: (Date, Keeps)) -> (Date, Keeps) {
    if other.0 > one.0 { other } else { one }
}

/// What becomes of a client's whole record on a day.
pub fn of_record(records: &Records, terms: &Terms, today: Date) -> Fate {
    let claims = claims(records, terms);
    let contact = last_day(terms.contact, records.born, records.contact, Keeps::Contact);
    let (to, why) = match claims {
        Some(claims) if records.restricted => claims,
        _ => [claims, records.ahead.map(|day| (day, Keeps::Visit))].into_iter().flatten().fold(contact, later),
    };
    fate(records, to, why, today)
}

/// What becomes of a record whose client asks to be erased.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnRequest {
    /// A visit of hers is ahead: it has to be cancelled first.
    VisitAhead,
    /// All of it goes at once.
    Erase,
    /// Photos and all that she was sent go at once; the rest is restricted, and stays as this says.
    Restrict(Fate),
}

/// What becomes of a record whose client asks to be erased. What a claim may rest on stays to the end of its term
/// (GDPR, art. 17 (3) (e)), and no longer; that she was in touch keeps nothing.
pub fn on_request(records: &Records, terms: &Terms, today: Date) -> OnRequest {
    if records.ahead.is_some() {
        return OnRequest::VisitAhead;
    }
    let kept = claims(records, terms).map(|(to, why)| fate(records, to, why, today));
    match (blocked(records), kept) {
        (Some(block), _) => OnRequest::Restrict(Fate::Blocked(block)),
        (None, None | Some(Fate::Goes { .. })) => OnRequest::Erase,
        (None, Some(stays)) => OnRequest::Restrict(stays),
    }
}

/// The time to answer whoever asks to be erased: GDPR, art. 12 (3).
const ANSWER: Span = Span::Months(1);

/// The day by which a request that was made on a day has to be answered.
pub fn answer_due(asked: Date) -> Date {
    ANSWER.after(asked)
}

/// What becomes of an invitation or a wish of hers that was written on a day.
pub fn of_invitation(records: &Records, written: Date, terms: &Terms, today: Date) -> Fate {
    fate(records, terms.invitations.last_day(written), Keeps::Written, today)
}

#[cfg(test)]
mod tests;
