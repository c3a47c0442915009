use time::macros::date;

use super::*;
use crate::domain::ids::ProductId;
use crate::domain::verdict::{Basis, BasisKind};

fn against(rule: &str, about: About, verdict: Verdict) -> Reason {
    Reason {
        about,
        rule: rule.to_owned(),
        version: 1,
        verdict,
        start: verdict.start(),
        from: None,
        clears: Vec::new(),
        basis: Basis { kind: BasisKind::Practice, text: String::new() },
        say: "Sore lids.".to_owned(),
        details: Vec::new(),
        letter: None,
    }
}

fn joined(reasons: impl IntoIterator<Item = Reason>) -> Readiness {
    Readiness::join(reasons.into_iter().collect(), date!(2026 - 03 - 09), None)
}

fn product(number: u8) -> About {
    About::Product(ProductId::from_random([number; 16]))
}

fn skin_test() -> About {
    About::SkinTest(ProductId::from_random([1; 16]))
}

#[test]
fn days_that_move_on_are_no_change_and_all_else_is() {
    let wait =
        |day| Reason { from: Some(Earliest::Day(day)), ..against("sunburn", About::Answers, Verdict::WaitUntil) };
    let talk = || against("lenses", About::Answers, Verdict::Ask);
    let before = joined([wait(date!(2026 - 03 - 20)), talk()]);
    assert!(before.says_the_same_as(&joined([talk(), wait(date!(2026 - 03 - 27))])));
    let others = [
        joined([wait(date!(2026 - 03 - 20))]),
        joined([wait(date!(2026 - 03 - 20)), Reason { rule: "glasses".into(), ..talk() }]),
        joined([wait(date!(2026 - 03 - 20)), Reason { verdict: Verdict::Note, ..talk() }]),
        joined([wait(date!(2026 - 03 - 20)), Reason { start: Start::No, ..talk() }]),
    ];
    for other in &others {
        assert!(!before.says_the_same_as(other) && !other.says_the_same_as(&before), "{:?}", other.reasons);
    }
}

#[test]
fn what_is_new_is_what_somebody_has_to_do_something_about() {
    let new = |now: Reason, before: &[Reason]| {
        let (now, before) = (joined([now]), joined(before.to_vec()));
        let count = now.against_since(&before).count();
        count == 1
    };
    let ask = || against("lenses", product(1), Verdict::Ask);
    assert!(new(ask(), &[]));
    assert!(!new(ask(), &[ask()]), "it was known");
    assert!(new(ask(), &[Reason { verdict: Verdict::Note, ..ask() }]), "it has grown graver");
    assert!(!new(ask(), &[Reason { verdict: Verdict::DoNotTreat, ..ask() }]), "it has grown milder");
    assert!(new(ask(), &[Reason { rule: "glasses".into(), ..ask() }]), "another rule");
    assert!(new(ask(), &[Reason { about: product(2), ..ask() }]), "another product");
    assert!(!new(Reason { verdict: Verdict::Note, ..ask() }, &[]), "a note asks for nothing");
}

#[test]
fn a_signature_can_still_be_had_after_booking_and_a_skin_test_is_booked_along() {
    let stands = |about: About, verdict| {
        let readiness = joined([against("any", about, verdict)]);
        (readiness.against_booking().count() == 1, readiness.can_be_booked())
    };
    use Verdict::{Ask, Clear, DoNotTreat, LetterNeeded, Note, WaitUntil};
    assert_eq!([Clear, Note].map(|verdict| stands(About::Answers, verdict)), [(false, true); 2]);
    assert_eq!(stands(About::Answers, Ask), (false, false), "it is talked about first");
    assert_eq!(stands(About::Consent, Ask), (false, true), "she signs on the day");
    assert_eq!(stands(About::Answers, LetterNeeded), (false, false));
    assert_eq!(stands(About::Answers, WaitUntil), (true, false));
    assert_eq!(stands(About::Consent, WaitUntil), (false, false));
    assert_eq!(stands(skin_test(), WaitUntil), (true, false), "one that is booked along is a note");
    assert_eq!(stands(About::Answers, DoNotTreat), (true, false));
    assert_eq!(stands(skin_test(), DoNotTreat), (true, false));
    assert_eq!(stands(About::Consent, DoNotTreat), (false, false), "who refused may sign another time");
}

#[test]
fn debug_tells_the_verdict_and_nothing_else() {
    let readiness = joined([against("any", About::Answers, Verdict::Ask)]);
    assert_eq!(format!("{readiness:?}"), "Readiness { verdict: Ask, .. }");
}
