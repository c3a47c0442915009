//! Age, letters and consent.

use std::collections::BTreeSet;

use palpebra::domain::age::{AgePolicy, AgeStanding, GuardianPart, Jurisdiction, Under16, may_test, standing, turns};
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::consent::{
    self, ConsentRecord, ConsentStanding, ConsentText, Guardian, Offer, Signed, Subject, Tick, TickMissing, TypedName,
};
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::ids::{ConsentId, LetterId, ProductId, ServiceId};
use palpebra::domain::letter::{Letter, LetterDraft, LetterRefused};
use palpebra::domain::person::BirthDate;
use proptest::prelude::*;
use time::macros::{date, datetime};
use time::{Date, Duration};

use super::GIVEN;

fn born(day: Date) -> Option<BirthDate> {
    Some(BirthDate::of(day, GIVEN).unwrap())
}

/// Annex III of Regulation (EC) 1223/2009, entries 8b, 9a and 22 (label line "not intended for use on persons under
/// the age of 16"): tint. The rest is common practice, no source.
#[test]
fn age_decides_by_service_and_by_the_studio_s_choice() {
    let (signed, present) =
        (GuardianPart { signed: true, present: false }, GuardianPart { signed: true, present: true });
    let none = GuardianPart::default();
    let strict = AgePolicy::default();
    let open = AgePolicy { under_16: Under16::GuardianPresent, guardian_under_18: false };
    let eve_of_16 = born(date!(2010 - 03 - 10));
    let sixteen = born(date!(2010 - 03 - 09));
    let eve_of_18 = born(date!(2008 - 03 - 10));
    let eighteen = born(date!(2008 - 03 - 09));
    let of = |birth, service, policy, guardian| standing(birth, service, GIVEN, policy, guardian);
    for service in [ServiceKind::LashTint, ServiceKind::BrowTint, ServiceKind::LiftAndTint] {
        for policy in [strict, open] {
            for guardian in [none, signed, present] {
                assert_eq!(of(eve_of_16, service, policy, guardian), AgeStanding::TintUnder16, "{service:?}");
            }
        }
        assert_eq!(of(sixteen, service, strict, signed), AgeStanding::Clear);
    }
    for service in [ServiceKind::LashLift, ServiceKind::BrowLamination] {
        assert_eq!(of(eve_of_16, service, strict, present), AgeStanding::Under16);
        assert_eq!(of(eve_of_16, service, open, none), AgeStanding::GuardianPresence);
        assert_eq!(of(eve_of_16, service, open, signed), AgeStanding::GuardianPresence);
        assert_eq!(of(eve_of_16, service, open, present), AgeStanding::Clear);
    }
    for birth in [sixteen, eve_of_18] {
        assert_eq!(of(birth, ServiceKind::LashLift, strict, none), AgeStanding::GuardianSignature);
        assert_eq!(of(birth, ServiceKind::LashLift, strict, signed), AgeStanding::Clear);
        assert_eq!(of(birth, ServiceKind::LashLift, open, none), AgeStanding::Clear);
    }
    assert_eq!(of(eighteen, ServiceKind::LiftAndTint, strict, none), AgeStanding::Clear);
    assert_eq!(of(None, ServiceKind::LashLift, open, present), AgeStanding::Unknown);
    assert!(!may_test(eve_of_16, GIVEN) && may_test(sixteen, GIVEN) && !may_test(None, GIVEN));
    assert!(Jurisdiction::ALL.into_iter().all(|place| Jurisdiction::parse(place.as_str()) == Some(place)));
}

proptest! {
    #[test]
    fn the_sixteenth_birthday_is_the_first_day_at_sixteen(back in 0..40_000_i64, age in 0..40_u8) {
        let birth = BirthDate::of(GIVEN - Duration::days(back), GIVEN).unwrap();
        let day = turns(birth, age);
        prop_assert_eq!(birth.age_on(day), age);
        if age > 0 {
            prop_assert_eq!(birth.age_on(day.previous_day().unwrap()), age - 1);
        }
    }
}

fn letter() -> LetterDraft {
    LetterDraft {
        id: LetterId::from_random([1; 16]),
        clinician: "Dr Example".to_owned(),
        dated: GIVEN,
        expires: GIVEN + Duration::days(30),
        questions: BTreeSet::from(["glaucoma".to_owned()]),
        services: BTreeSet::from([ServiceKind::LashLift]),
        file: Fingerprint::of(b"scan"),
    }
}

#[test]
fn a_letter_satisfies_only_what_its_scope_says_until_it_expires() {
    let letter = Letter::parse(letter(), GIVEN).unwrap();
    let covers = |question, service, on| letter.covers(question, service, on);
    assert!(covers("glaucoma", ServiceKind::LashLift, GIVEN));
    assert!(covers("glaucoma", ServiceKind::LashLift, GIVEN + Duration::days(30)));
    assert!(!covers("glaucoma", ServiceKind::LashLift, GIVEN + Duration::days(31)));
    assert!(!covers("glaucoma", ServiceKind::LashLift, GIVEN - Duration::days(1)));
    assert!(!covers("glaucoma", ServiceKind::LiftAndTint, GIVEN));
    assert!(!covers("retina", ServiceKind::LashLift, GIVEN));
    assert!(!format!("{letter:?}").contains("glaucoma"));
}

#[test]
fn a_letter_with_a_fault_is_refused() {
    type Edit = fn(&mut LetterDraft);
    let cases: [(Edit, LetterRefused); 7] = [
        (|letter| letter.dated = GIVEN + Duration::DAY, LetterRefused::Future),
        (|letter| letter.expires = GIVEN - Duration::DAY, LetterRefused::ExpiresBeforeDated),
        (|letter| letter.clinician = "  ".to_owned(), LetterRefused::NoClinician),
        (|letter| letter.clinician = "Dr\u{7}".to_owned(), LetterRefused::BadClinician),
        (|letter| letter.clinician = "x".repeat(121), LetterRefused::BadClinician),
        (|letter| letter.questions.clear(), LetterRefused::NoQuestion),
        (|letter| letter.services.clear(), LetterRefused::NoService),
    ];
    for (edit, why) in cases {
        let mut draft = letter();
        edit(&mut draft);
        assert_eq!(Letter::parse(draft, GIVEN), Err(why));
    }
}

fn subject() -> Subject {
    Subject {
        text: ConsentText::built_in().unwrap().fingerprint(),
        answers: Fingerprint::of(b"answers"),
        products: BTreeSet::from([ProductId::from_random([1; 16])]),
        service: None,
    }
}

fn offer(ticks: &[Tick]) -> Offer {
    Offer {
        id: ConsentId::from_random([1; 16]),
        subject: subject(),
        ticks: ticks.iter().copied().collect(),
        name: TypedName::parse("Mia Holm").unwrap(),
        drawing: None,
        guardian: None,
    }
}

#[test]
fn each_tick_stands_alone_and_two_are_needed() {
    let at = datetime!(2026-03-09 10:00 UTC);
    assert!(Signed::sign(offer(&[Tick::Treatment, Tick::HealthData]), at).is_ok(), "no photo or news is needed");
    assert_eq!(Signed::sign(offer(&[]), at), Err(TickMissing(Tick::Treatment)));
    assert_eq!(Signed::sign(offer(&[Tick::HealthData, Tick::Marketing]), at), Err(TickMissing(Tick::Treatment)));
    assert_eq!(Signed::sign(offer(&[Tick::Treatment, Tick::RecordPhotos]), at), Err(TickMissing(Tick::HealthData)));
    assert!(Tick::ALL.into_iter().all(|tick| Tick::parse(tick.as_str()) == Some(tick)));
}

#[test]
fn a_signature_stands_for_exactly_what_was_shown() {
    let at = datetime!(2026-03-09 10:00 UTC);
    let signed = Signed::sign(offer(&[Tick::Treatment, Tick::HealthData]), at).unwrap();
    let record = ConsentRecord::Signed(Box::new(signed.clone()));
    let of = |now: &Subject| consent::standing(Some(&record), now);
    let now = subject();
    assert_eq!(of(&now), ConsentStanding::SignedCurrent);
    assert_eq!(of(&Subject { text: Fingerprint::of(b"new"), ..now.clone() }), ConsentStanding::TextChanged);
    assert_eq!(of(&Subject { answers: Fingerprint::of(b"new"), ..now.clone() }), ConsentStanding::AnswersChanged);
    assert_eq!(of(&Subject { products: BTreeSet::new(), ..now.clone() }), ConsentStanding::ProductsChanged);
    let named = Subject { service: Some(ServiceId::from_random([7; 16])), ..now.clone() };
    assert_eq!(of(&named), ConsentStanding::SignedCurrent, "an early signature doesn't tell for which service");
    assert_eq!(consent::standing(None, &now), ConsentStanding::Missing);
    let refused = ConsentRecord::Refused { subject: now.clone(), at };
    assert_eq!(consent::standing(Some(&refused), &now), ConsentStanding::Refused);
    let withdrawn = ConsentRecord::Signed(Box::new(Signed { withdrawn_at: Some(at), ..signed.clone() }));
    assert_eq!(consent::standing(Some(&withdrawn), &now), ConsentStanding::Withdrawn);

    let json = serde_json::to_string(&record).unwrap();
    assert_eq!(serde_json::from_str::<ConsentRecord>(&json).unwrap(), record);
    assert!(json.contains(&now.text.to_string()) && json.contains(&now.answers.to_string()));
    assert!(!format!("{record:?}").contains("Holm"));
    assert_eq!(signed.guardian_part(), GuardianPart::default());
    let guardian = Guardian {
        name: TypedName::parse("Ada Holm").unwrap(),
        relation: TypedName::parse("mother").unwrap(),
        present: true,
        drawing: None,
    };
    let with = Signed { guardian: Some(guardian), ..signed };
    assert_eq!(with.guardian_part(), GuardianPart { signed: true, present: true });
}

/// The items that a consent should hold (UK NOS SKAB2 asks for recorded informed consent; the list is common
/// practice, no source), and the sentence on the skin test in the same words as elsewhere.
#[test]
fn the_shipped_text_says_what_it_must() {
    let text = ConsentText::built_in().unwrap();
    let words: String = text.paragraphs().iter().map(|paragraph| paragraph.text.as_str()).collect();
    assert!(words.contains(palpebra::domain::skin_test::NOT_DIAGNOSTIC));
    for said in ["may stop at any time", "true and complete", "aftercare", "allergic", "ambulance", "withdraw"] {
        assert!(words.contains(said), "{said}");
    }
    assert!(!words.to_lowercase().contains("waive"), "a waiver protects nobody and is not presented as protection");
    assert_eq!(text.ticks().len(), Tick::ALL.len());
    assert_eq!(ConsentText::parse(text.canonical()).unwrap(), text);
    let bundled = text.canonical().replacen("\"record_photos\"", "\"treatment\"", 1);
    assert!(ConsentText::parse(&bundled).is_err());
}
