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
    let events = [(terms.treated, records.treated), (terms.treated, records.reacted), (terms.contact, records.tested)];
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

/// GDPR, art. 12 (3): without undue delay and in any event within one month.
#[test]
fn whoever_asks_is_answered_within_a_month() {
    assert_eq!(answer_due(date!(2027 - 01 - 31)), date!(2027 - 02 - 28));
    assert_eq!(answer_due(date!(2026 - 11 - 27)), date!(2026 - 12 - 27));
}

#[test]
fn treatments_and_contacts_of_minors_may_be_kept_for_longer() {
    assert_eq!(Class::ALL.map(Class::knows_age), [true, true, false, false]);
}

#[test]
fn whoever_is_of_age_on_the_day_is_no_minor_however_long_minors_are_kept() {
    let day = date!(2026 - 03 - 02);
    let terms = |age| Terms { treated: Term { months: 84, until_age: Some(age) }, ..TERMS };
    let treated = |born_on| Records { born: born(born_on), treated: Some((day, day)), ..enquiry(day) };
    let to = date!(2033 - 03 - 02);
    let stays = |why| Fate::Stays { to, why };
    assert_eq!(of_record(&treated(date!(2008 - 03 - 02)), &terms(30), day), stays(Keeps::Treatment));
    let same_day = treated(date!(2009 - 03 - 02));
    assert_eq!(of_record(&same_day, &terms(24), day), stays(Keeps::Treatment), "her 24th birthday, and seven years");
    let both = Records { reacted: Some((day, day)), ..treated(date!(1990 - 03 - 27)) };
    assert_eq!(of_record(&both, &TERMS, day), stays(Keeps::Treatment), "of equal days the first cause is named");
}

#[test]
fn a_month_of_31_days_is_kept_whole() {
    let month = Term { months: 1, until_age: None };
    assert_eq!(month.kept_since(date!(2026 - 02 - 01)), date!(2026 - 01 - 01));
    assert_eq!(month.last_day(date!(2026 - 01 - 01)), date!(2026 - 02 - 01));
}
