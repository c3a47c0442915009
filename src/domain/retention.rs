//! How long records are kept, and what may go on a day.
//!
//! A client's record is kept whole: what was decided at the last visit rests on answers, signatures and tests from long
//! before. So it has one last day, the latest that any of its parts asks for.

use serde::{Deserialize, Serialize};
use time::{Date, Duration};

use super::age::{ADULT_FROM, turns};
use super::person::BirthDate;
use super::span::Span;

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
    /// The days of her first and her last treatment.
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

/// What becomes of an invitation or a wish of hers that was written on a day.
pub fn of_invitation(records: &Records, written: Date, terms: &Terms, today: Date) -> Fate {
    fate(records, terms.invitations.last_day(written), Keeps::Written, today)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use time::macros::date;

    use super::*;

    const TERMS: Terms = Terms {
        treated: Term { months: 84, until_age: Some(25) },
        contact: Term { months: 12, until_age: None },
        invitations: Term { months: 12, until_age: None },
        letters: Term { months: 6, until_age: None },
    };

    fn born(day: Date) -> BirthDate {
        BirthDate::of(day, day).unwrap()
    }

    fn enquiry(on: Date) -> Records {
        Records {
            born: born(date!(1990 - 03 - 27)),
            treated: None,
            reacted: None,
            contact: (on, on),
            ahead: None,
            reaction_open: false,
            held: false,
            tested: None,
            restricted: false,
        }
    }

    /// The defaults: seven years after the last treatment and to the age of 25 of minors (terms of two UK insurers, as an
    /// association quotes them); a year without a treatment (common practice, no source).
    #[test]
    fn the_defaults_on_their_last_days() {
        let asked = enquiry(date!(2026 - 03 - 02));
        let stays = |to, why| Fate::Stays { to, why };
        let goes = |kept_to, why| Fate::Goes { kept_to, why };
        let to = date!(2027 - 03 - 02);
        assert_eq!(of_record(&asked, &TERMS, to), stays(to, Keeps::Contact));
        assert_eq!(of_record(&asked, &TERMS, date!(2027 - 03 - 03)), goes(to, Keeps::Contact));

        let day = date!(2026 - 03 - 02);
        let treated = Records { treated: Some((day, day)), ..asked.clone() };
        let to = date!(2033 - 03 - 02);
        assert_eq!(of_record(&treated, &TERMS, to), stays(to, Keeps::Treatment));
        assert_eq!(of_record(&treated, &TERMS, date!(2033 - 03 - 03)), goes(to, Keeps::Treatment));

        let young = Records { born: born(date!(2009 - 06 - 14)), ..treated.clone() };
        let to = date!(2034 - 06 - 14);
        assert_eq!(of_record(&young, &TERMS, to), stays(to, Keeps::Minor));
        assert_eq!(of_record(&young, &TERMS, date!(2034 - 06 - 15)), goes(to, Keeps::Minor));
        // Treated on her 18th birthday she is none; and a later treatment asks for longer than her age.
        let of_age = Records { born: born(date!(2008 - 03 - 02)), ..treated.clone() };
        assert_eq!(of_record(&of_age, &TERMS, day), stays(date!(2033 - 03 - 02), Keeps::Treatment));
        let later = Records { treated: Some((day, date!(2030 - 01 - 10))), ..young };
        assert_eq!(of_record(&later, &TERMS, day), stays(date!(2037 - 01 - 10), Keeps::Treatment));

        let reacted = Records { reacted: Some((day, date!(2026 - 05 - 01))), ..asked.clone() };
        assert_eq!(of_record(&reacted, &TERMS, day), stays(date!(2033 - 05 - 01), Keeps::Reaction));
        let open = Records { reaction_open: true, ..reacted };
        assert_eq!(of_record(&open, &TERMS, Date::MAX), Fate::Blocked(Blocks::Reaction));
        let back = Records { ahead: Some(date!(2034 - 01 - 01)), ..treated };
        assert_eq!(of_record(&back, &TERMS, date!(2033 - 12 - 31)), stays(date!(2034 - 01 - 01), Keeps::Visit));
    }

    fn any_day() -> impl Strategy<Value = Date> {
        (0..25_000_i64).prop_map(|days| date!(1990 - 01 - 01) + Duration::days(days))
    }

    fn days() -> impl Strategy<Value = (Date, Date)> {
        (any_day(), any_day()).prop_map(|(a, b)| (a.min(b), a.max(b)))
    }

    fn term() -> impl Strategy<Value = Term> {
        (Term::MONTHS, proptest::option::of(Term::AGES)).prop_map(|(months, until_age)| Term { months, until_age })
    }

    prop_compose! {
        fn any_terms()(treated in term(), contact in term(), invitations in term(), letters in term()) -> Terms {
            Terms { treated, contact, invitations, letters }
        }
    }

    prop_compose! {
        fn any_records()(
            birth in any_day(),
            treated in proptest::option::of(days()),
            reacted in proptest::option::of(days()),
            contact in days(),
            ahead in proptest::option::of(any_day()),
            reaction_open in proptest::bool::weighted(0.2),
            held in proptest::bool::weighted(0.2),
            tested in proptest::option::of(days()),
            restricted in proptest::bool::weighted(0.2),
        ) -> Records {
            Records { born: born(birth), treated, reacted, contact, ahead, reaction_open, held, tested, restricted }
        }
    }

    /// Whether so many calendar months have passed, counted on the calendar by hand: a day that a month lacks is passed on
    /// its last one.
    fn passed(from: Date, months: u16, today: Date) -> bool {
        let count = |day: Date| day.year() * 12 + i32::from(u8::from(day.month()));
        let whole = count(today) - count(from);
        let end = today.month().length(today.year());
        whole > i32::from(months) || whole == i32::from(months) && today.day() > from.day().min(end)
    }

    /// Whether a term is over, for whoever was under age at its first event too.
    fn ended(records: &Records, term: Term, (first, last): (Date, Date), today: Date) -> bool {
        let was_minor = records.born.age_on(first) < 18;
        let old_enough = |age: u8| records.born.age_on(today - Duration::DAY) >= age;
        passed(last, term.months, today) && (!was_minor || term.until_age.is_none_or(old_enough))
    }

    fn claims_over(records: &Records, terms: &Terms, today: Date) -> bool {
        let events =
            [(terms.treated, records.treated), (terms.treated, records.reacted), (terms.contact, records.tested)];
        events.into_iter().all(|(term, days)| days.is_none_or(|days| ended(records, term, days, today)))
    }

    fn rests_on_claims(records: &Records) -> bool {
        records.treated.is_some() || records.reacted.is_some() || records.tested.is_some()
    }

    /// Everything that a record has to wait for, each by itself.
    fn over(records: &Records, terms: &Terms, today: Date) -> bool {
        if records.restricted && rests_on_claims(records) {
            return claims_over(records, terms, today);
        }
        claims_over(records, terms, today)
            && ended(records, terms.contact, records.contact, today)
            && records.ahead.is_none_or(|day| today > day)
    }

    proptest! {
        #[test]
        fn nothing_leaves_early_nothing_under_hold_and_nothing_stays_late(
            records in any_records(), terms in any_terms(), today in any_day()
        ) {
            let goes = matches!(of_record(&records, &terms, today), Fate::Goes { .. });
            let free = !records.held && !records.reaction_open;
            prop_assert_eq!(goes, free && over(&records, &terms, today));
        }

        #[test]
        fn it_stays_on_its_last_day_and_goes_on_the_next(
            records in any_records(), terms in any_terms(), today in any_day()
        ) {
            match of_record(&records, &terms, today) {
                Fate::Blocked(_) => prop_assert!(records.held || records.reaction_open),
                Fate::Stays { to: day, why } | Fate::Goes { kept_to: day, why } => {
                    prop_assert_eq!(of_record(&records, &terms, day), Fate::Stays { to: day, why });
                    let next = day.next_day().unwrap();
                    prop_assert_eq!(of_record(&records, &terms, next), Fate::Goes { kept_to: day, why });
                }
            }
        }

        #[test]
        fn on_request_only_what_a_claim_may_rest_on_stays(
            records in any_records(), terms in any_terms(), today in any_day()
        ) {
            let free = !records.held && !records.reaction_open;
            let answer = on_request(&records, &terms, today);
            prop_assert_eq!(answer == OnRequest::VisitAhead, records.ahead.is_some());
            let erases = records.ahead.is_none() && free && claims_over(&records, &terms, today);
            prop_assert_eq!(answer == OnRequest::Erase, erases);
            if let OnRequest::Restrict(Fate::Stays { to, why }) = answer {
                // It leaves on the day that she is told.
                let restricted = Records { restricted: true, ..records };
                prop_assert_eq!(of_record(&restricted, &terms, to), Fate::Stays { to, why });
                let next = to.next_day().unwrap();
                prop_assert_eq!(of_record(&restricted, &terms, next), Fate::Goes { kept_to: to, why });
            }
        }

        #[test]
        fn what_is_from_before_the_first_kept_day_may_go(term in term(), today in any_day()) {
            let first = term.kept_since(today);
            prop_assert!(term.last_day(first) >= today);
            prop_assert!(term.last_day(first.previous_day().unwrap()) < today);
        }

        #[test]
        fn a_hold_stops_everything_and_lifting_it_leaves_what_was(
            records in any_records(), terms in any_terms(), written in any_day(), today in any_day()
        ) {
            let held = Records { held: true, ..records.clone() };
            prop_assert_eq!(of_record(&held, &terms, today), Fate::Blocked(Blocks::Hold));
            prop_assert_eq!(of_invitation(&held, written, &terms, today), Fate::Blocked(Blocks::Hold));
            let lifted = Records { held: false, ..held };
            let never = Records { held: false, ..records };
            prop_assert_eq!(of_record(&lifted, &terms, today), of_record(&never, &terms, today));
        }

        #[test]
        fn an_invitation_goes_after_its_term_and_not_before(
            records in any_records(), terms in any_terms(), written in any_day(), today in any_day()
        ) {
            let goes = matches!(of_invitation(&records, written, &terms, today), Fate::Goes { .. });
            let free = !records.held && !records.reaction_open;
            prop_assert_eq!(goes, free && passed(written, terms.invitations.months, today));
        }
    }
}
