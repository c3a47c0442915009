//! Where skin tests stand: floor, silence, reactions, age, voiding, and what may be tested at all.

use std::collections::BTreeSet;

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::ids::{LetterId, ProductId, SkinTestId};
use palpebra::domain::letter::{Letter, LetterDraft};
use palpebra::domain::person::BirthDate;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::screening::{Screening, TestPermission};
use palpebra::domain::skin_test::{
    Planned, ReadBy, Reading, ReadingRefused, SkinTest, TestResult, TestRules, TestStanding, Validity, VoidCause,
    standing,
};
use palpebra::domain::span::Span;
use proptest::prelude::*;
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

use super::{GIVEN, Shipped, set};

const APPLIED: OffsetDateTime = datetime!(2026-03-09 10:00 UTC);

pub(super) fn product(number: u8) -> ProductId {
    ProductId::from_random([number; 16])
}

pub(super) fn planned(number: u8) -> Planned {
    Planned {
        product: product(number),
        needs_test: true,
        label_hours: None,
        related: Vec::new(),
        treated: Vec::new(),
        test_booked_at: None,
        blocked: false,
    }
}

pub(super) fn applied(number: u8, at: OffsetDateTime, readings: &[(i64, TestResult)]) -> SkinTest {
    let reading = |(hours, result): &(i64, TestResult)| Reading {
        at: at + Duration::hours(*hours),
        result: *result,
        by: ReadBy::Practitioner,
    };
    SkinTest {
        id: SkinTestId::from_random([number; 16]),
        product: product(number),
        applied_at: at,
        reliable: true,
        voided: None,
        readings: readings.iter().map(reading).collect(),
    }
}

fn after(hours: i64) -> OffsetDateTime {
    APPLIED + Duration::hours(hours)
}

fn of(tests: &[SkinTest], now: OffsetDateTime) -> TestStanding {
    standing(tests, &planned(1), now, &TestRules::default())
}

#[test]
fn the_floor_is_48_hours_by_default_and_never_below_the_label() {
    let test = [applied(1, APPLIED, &[(48, TestResult::NoVisibleChange)])];
    assert_eq!(of(&test, after(47)), TestStanding::TooEarly { until: after(48) });
    assert!(matches!(of(&test, after(48)), TestStanding::Valid { .. }));
    let strict = Planned { label_hours: Some(72), ..planned(1) };
    let mild = Planned { label_hours: Some(24), ..planned(1) };
    let rules = TestRules::default();
    assert_eq!(standing(&test, &strict, after(48), &rules), TestStanding::TooEarly { until: after(72) });
    assert_eq!(
        standing(&test, &strict, after(72), &rules),
        TestStanding::NotRead,
        "a look at 48 h is too early for it"
    );
    assert!(matches!(standing(&test, &mild, after(48), &rules), TestStanding::Valid { .. }));
    for (hours, fits) in [(23, false), (24, true), (72, true), (73, false)] {
        assert_eq!(TestRules::parse(hours, Validity::EveryVisit).is_ok(), fits, "{hours}");
    }
    for (span, fits) in [(Span::Months(0), false), (Span::Months(12), true), (Span::Months(13), false)] {
        assert_eq!(TestRules::parse(48, Validity::For(span)).is_ok(), fits, "{span:?}");
    }
}

#[test]
fn silence_is_not_a_pass() {
    assert_eq!(of(&[], after(0)), TestStanding::NotDone);
    assert_eq!(of(&[applied(2, APPLIED, &[(48, TestResult::NoVisibleChange)])], after(50)), TestStanding::NotDone);
    let silent = applied(1, APPLIED, &[]);
    assert_eq!(of(&[silent], after(49)), TestStanding::NotRead);
    for result in [TestResult::NotYetRead, TestResult::DidNotReport] {
        assert_eq!(of(&[applied(1, APPLIED, &[(60, result)])], after(70)), TestStanding::NotRead, "{result}");
    }
    let early = applied(1, APPLIED, &[(24, TestResult::NoVisibleChange)]);
    assert_eq!(of(&[early], after(100)), TestStanding::NotRead, "a look before the floor does not pass");
    let removed = applied(1, APPLIED, &[(1, TestResult::RemovedEarly), (50, TestResult::NoVisibleChange)]);
    assert_eq!(of(&[removed], after(60)), TestStanding::RemovedEarly);
}

#[test]
fn unclear_is_repeated_once_and_then_another_product_is_the_way() {
    let first = applied(1, APPLIED, &[(48, TestResult::FaintPink)]);
    assert_eq!(of(std::slice::from_ref(&first), after(49)), TestStanding::Unclear { twice: false });
    let clear = applied(1, after(72), &[(48, TestResult::NoVisibleChange)]);
    assert!(matches!(of(&[first.clone(), clear], after(130)), TestStanding::Valid { .. }));
    let again = applied(1, after(72), &[(48, TestResult::FaintPink)]);
    assert_eq!(of(&[again, first.clone()], after(130)), TestStanding::Unclear { twice: true });
    let running = applied(1, after(72), &[]);
    assert_eq!(of(&[running, first], after(80)), TestStanding::Unclear { twice: false }, "no treatment meanwhile");
}

/// Patch tests are read up to about day 7 (European Society of Contact Dermatitis 2015, from memory).
#[test]
fn a_first_clear_look_after_seven_days_says_nothing_and_a_reaction_counts_however_late() {
    let week = 7 * 24;
    let read = |hours, result| [applied(1, APPLIED, &[(hours, result)])];
    let late = after(week) + Duration::SECOND;
    assert_eq!(of(&[applied(1, APPLIED, &[])], after(week)), TestStanding::NotRead);
    assert_eq!(of(&[applied(1, APPLIED, &[])], late), TestStanding::ReadTooLate);
    assert!(matches!(of(&read(week, TestResult::NoVisibleChange), late), TestStanding::Valid { .. }));
    let seconds = |seconds| {
        let mut test = applied(1, APPLIED, &[]);
        let at = APPLIED + Duration::seconds(seconds);
        test.readings.push(Reading { at, result: TestResult::NoVisibleChange, by: ReadBy::Practitioner });
        of(&[test], after(100 * 24))
    };
    assert!(matches!(seconds(week * 3600), TestStanding::Valid { .. }));
    assert_eq!(seconds(week * 3600 + 1), TestStanding::ReadTooLate);
    for result in [TestResult::NotYetRead, TestResult::DidNotReport] {
        assert_eq!(of(&read(60, result), late), TestStanding::ReadTooLate, "{result}");
    }
    let twice = applied(1, APPLIED, &[(60, TestResult::NoVisibleChange), (300, TestResult::NoVisibleChange)]);
    assert!(matches!(of(&[twice], after(301)), TestStanding::Valid { .. }), "the first look was in time");
    assert_eq!(of(&read(99 * 24, TestResult::FaintPink), after(100 * 24)), TestStanding::Unclear { twice: false });
    assert!(matches!(of(&read(99 * 24, TestResult::ItchOrRaised), after(100 * 24)), TestStanding::Failed { .. }));
    let slow = Planned { label_hours: Some(168), ..planned(1) };
    let at = |hours| standing(&read(hours, TestResult::NoVisibleChange), &slow, after(1000), &TestRules::default());
    assert!(matches!(at(168 + 24), TestStanding::Valid { .. }), "a label that asks for a week leaves a day");
    assert_eq!(at(168 + 25), TestStanding::ReadTooLate);
}

#[test]
fn an_unclear_look_outlives_a_voided_test_and_only_a_mistake_says_nothing() {
    let faint = |at, voided| SkinTest { voided, ..applied(1, at, &[(48, TestResult::FaintPink)]) };
    let clear = applied(1, APPLIED - Duration::days(30), &[(48, TestResult::NoVisibleChange)]);
    for cause in VoidCause::ALL.into_iter().filter(|cause| *cause != VoidCause::Mistake) {
        let first = faint(APPLIED, Some(cause));
        assert_eq!(of(&[clear.clone(), first.clone()], after(50)), TestStanding::Unclear { twice: false });
        assert_eq!(of(std::slice::from_ref(&first), after(47)), TestStanding::Voided { cause }, "not looked at yet");
        let again = faint(after(72), Some(cause));
        assert_eq!(of(&[first, again], after(130)), TestStanding::Unclear { twice: true }, "{cause:?}");
    }
    let mistaken = faint(APPLIED, Some(VoidCause::Mistake));
    assert!(matches!(of(&[clear, mistaken], after(50)), TestStanding::Valid { .. }));
}

#[test]
fn each_of_the_three_reactions_fails_the_product_and_what_shares_its_ingredient() {
    let failing: Vec<TestResult> = TestResult::ALL.into_iter().filter(|result| result.fails()).collect();
    assert_eq!(failing, [TestResult::ItchOrRaised, TestResult::SwellingOrBlister, TestResult::EyeOrBreathing]);
    for result in failing {
        let failed = applied(1, APPLIED, &[(2, result)]);
        let want = TestStanding::Failed { result, product: product(1) };
        assert_eq!(of(std::slice::from_ref(&failed), after(3)), want, "before the floor too");
        let later = applied(1, after(200), &[(48, TestResult::NoVisibleChange)]);
        assert_eq!(of(&[failed.clone(), later], after(300)), want, "a later clear test does not clear it");
        let relative = Planned { related: vec![product(1)], ..planned(2) };
        let rules = TestRules::default();
        assert_eq!(standing(std::slice::from_ref(&failed), &relative, after(3), &rules), want);
        assert_eq!(standing(&[failed], &planned(2), after(3), &rules), TestStanding::NotDone);
    }
    let passed_then_late =
        applied(1, APPLIED, &[(48, TestResult::NoVisibleChange), (24 * 9, TestResult::ItchOrRaised)]);
    assert!(matches!(of(std::slice::from_ref(&passed_then_late), after(50)), TestStanding::Valid { .. }));
    assert!(
        matches!(of(&[passed_then_late], after(24 * 9)), TestStanding::Failed { .. }),
        "a late report still counts"
    );
}

#[test]
fn a_clear_test_lasts_six_months_from_itself_or_from_the_last_treatment_in_time() {
    let clear = [applied(1, APPLIED, &[(48, TestResult::NoVisibleChange)])];
    let rules = TestRules::default();
    let end = datetime!(2026-09-09 10:00 UTC);
    assert_eq!(of(&clear, after(48)), TestStanding::Valid { until: end });
    assert_eq!(of(&clear, end), TestStanding::Valid { until: end });
    assert_eq!(of(&clear, end + Duration::SECOND), TestStanding::Expired { at: end });
    let treated = datetime!(2026-09-01 10:00 UTC);
    let kept = Planned { treated: vec![treated], ..planned(1) };
    let longer = datetime!(2027-03-01 10:00 UTC);
    assert_eq!(standing(&clear, &kept, end + Duration::DAY, &rules), TestStanding::Valid { until: longer });
    let too_late = Planned { treated: vec![datetime!(2026-10-01 10:00 UTC)], ..planned(1) };
    let now = datetime!(2026-10-02 10:00 UTC);
    assert_eq!(standing(&clear, &too_late, now, &rules), TestStanding::Expired { at: end }, "a gap is not bridged");
    let every = TestRules::parse(48, Validity::EveryVisit).unwrap();
    let once = Planned { treated: vec![after(72)], ..planned(1) };
    assert_eq!(standing(&clear, &once, after(100), &every), TestStanding::Expired { at: after(72) });
    assert_eq!(standing(&clear, &planned(1), after(100), &every), TestStanding::Valid { until: end });
}

#[test]
fn a_voided_or_suppressed_test_is_no_pass_and_a_mistake_says_nothing() {
    let clear = applied(1, APPLIED, &[(48, TestResult::NoVisibleChange)]);
    for cause in VoidCause::ALL {
        let voided = SkinTest { voided: Some(cause), ..clear.clone() };
        assert_eq!(of(&[voided], after(50)), TestStanding::Voided { cause });
        assert_eq!(VoidCause::parse(cause.as_str()), Some(cause));
    }
    let suppressed = SkinTest { reliable: false, ..clear };
    assert_eq!(of(&[suppressed], after(50)), TestStanding::Voided { cause: VoidCause::SuppressingMedicine });
    let mistaken =
        SkinTest { voided: Some(VoidCause::Mistake), ..applied(1, APPLIED, &[(5, TestResult::SwellingOrBlister)]) };
    assert_eq!(of(&[mistaken], after(50)), TestStanding::Voided { cause: VoidCause::Mistake });
    let reacted = SkinTest {
        voided: Some(VoidCause::HealthChange),
        ..applied(1, APPLIED, &[(5, TestResult::SwellingOrBlister)])
    };
    assert!(matches!(of(&[reacted], after(50)), TestStanding::Failed { .. }), "a reaction outlives a voided test");
}

#[test]
fn a_reading_before_the_test_or_in_the_future_is_refused_and_nothing_is_kept() {
    let mut test = applied(1, APPLIED, &[]);
    let at = |hours| Reading { at: after(hours), result: TestResult::NoVisibleChange, by: ReadBy::Client };
    assert_eq!(test.read(at(-1), after(50)), Err(ReadingRefused::BeforeApplied));
    assert_eq!(test.read(at(51), after(50)), Err(ReadingRefused::Future));
    assert!(test.readings.is_empty());
    assert_eq!(test.read(at(50), after(50)), Ok(()));
    assert_eq!(test.prompts_at(), [after(48), after(96)]);
    assert_eq!(test.reports_expected_until(), after(7 * 24));
    assert!(!format!("{test:?} {:?}", test.readings).contains("NoVisible"));
}

#[test]
fn the_words_are_the_studio_s_own_and_hold_no_diagnostic_code() {
    for result in TestResult::ALL {
        assert_eq!(TestResult::parse(result.as_str()), Some(result));
        for code in ["+", "IR", "NT"] {
            assert!(!result.to_string().contains(code), "{result}");
        }
    }
    assert!(palpebra::domain::skin_test::NOT_DIAGNOSTIC.contains("not a diagnostic patch test"));
}

#[test]
fn some_clients_are_not_tested_at_all() {
    let shipped = Shipped::new();
    let adult = Some(BirthDate::of(date!(1990 - 04 - 23), GIVEN).unwrap());
    let fifteen = Some(BirthDate::of(date!(2010 - 04 - 23), GIVEN).unwrap());
    let tint = ServiceKind::LashTint;
    let no = |rule: &str| TestPermission::No { rule: rule.to_owned() };
    let may = |given: &[(&str, Answer)], birth, service| {
        shipped.screening(&shipped.no_but(given)).may_test(birth, service, GIVEN)
    };
    assert_eq!(may(&[], adult, tint), TestPermission::Yes);
    assert_eq!(may(&[], fifteen, tint), no(TestPermission::AGE));
    assert_eq!(may(&[], None, tint), no(TestPermission::AGE), "an unknown age is no permission");
    for key in ["dye_reaction", "black_henna_reaction"] {
        assert_eq!(may(&[(key, Answer::Yes)], adult, tint), no(key));
        assert_eq!(may(&[(key, Answer::Yes)], adult, ServiceKind::BrowLamination), TestPermission::Yes);
    }
    assert_eq!(may(&[("ppd_allergy", Answer::Yes)], adult, tint), no("ppd_allergy_tint"));
    let flare = [("eczema_psoriasis", Answer::Yes), ("eczema_psoriasis_where", Answer::Choice("on_site".to_owned()))];
    let fortnight = TestPermission::NotBefore(GIVEN + Duration::days(14));
    assert_eq!(may(&flare, adult, tint), fortnight, "a flare passes");
    let severe = [("eczema_psoriasis", Answer::Yes), ("eczema_psoriasis_where", Answer::Choice("severe".to_owned()))];
    assert_eq!(may(&severe, adult, tint), TestPermission::LetterFirst);
    let month = TestPermission::NotBefore(GIVEN + Duration::days(28));
    assert_eq!(may(&[("impetigo_ringworm", Answer::Yes)], adult, tint), month, "an infection passes");
    let week = TestPermission::NotBefore(GIVEN + Duration::days(7));
    assert_eq!(may(&[("steroid_eye", Answer::Yes)], adult, tint), week);
    assert_eq!(may(&[("broken_skin", Answer::Yes)], adult, tint), week);
    let tablets = [("immunosup", Answer::Yes), ("immunosup_kind", Answer::Choice("steroids".to_owned()))];
    assert_eq!(may(&tablets, adult, tint), TestPermission::Unreliable);
}

/// The test is the first contact with the chemical (common practice, no source).
#[test]
fn what_wants_a_letter_for_an_allergy_holds_the_test_back_until_the_letter_is_there() {
    let shipped = Shipped::new();
    let adult = Some(BirthDate::of(date!(1990 - 04 - 23), GIVEN).unwrap());
    let tint = ServiceKind::LashTint;
    let letter = |question: &str, service| {
        let draft = LetterDraft {
            id: LetterId::from_random([1; 16]),
            clinician: "Dr Example".to_owned(),
            dated: GIVEN,
            expires: GIVEN + Duration::days(30),
            questions: BTreeSet::from([question.to_owned()]),
            services: BTreeSet::from([service]),
            file: Fingerprint::of(b"scan"),
        };
        [Letter::parse(draft, GIVEN).unwrap()]
    };
    let may = |key: &str, choice: &str, letters: &[Letter], on| {
        let cause = if key == "anaphylaxis" { "anaphylaxis_cause" } else { "eczema_psoriasis_where" };
        let set = shipped.no_but(&[(key, Answer::Yes), (cause, Answer::Choice(choice.to_owned()))]);
        Screening { letters, ..shipped.screening(&set) }.may_test(adult, tint, on)
    };
    assert_eq!(may("anaphylaxis", "unrelated", &[], GIVEN), TestPermission::Yes);
    for (key, choice) in [("anaphylaxis", "contact"), ("anaphylaxis", "unknown"), ("eczema_psoriasis", "severe")] {
        assert_eq!(may(key, choice, &[], GIVEN), TestPermission::LetterFirst, "{key} {choice}");
        assert_eq!(may(key, choice, &letter(key, tint), GIVEN), TestPermission::Yes, "{key} {choice}");
        let over = GIVEN + Duration::days(31);
        assert_eq!(may(key, choice, &letter(key, tint), over), TestPermission::LetterFirst, "it has ended");
        let other = letter(key, ServiceKind::LashLift);
        assert_eq!(may(key, choice, &other, GIVEN), TestPermission::LetterFirst, "for another service");
    }
    let dye = shipped.no_but(&[("dye_reaction", Answer::Yes)]);
    let letters = letter("dye_reaction", tint);
    let screening = Screening { letters: &letters, ..shipped.screening(&dye) };
    let never = TestPermission::No { rule: "dye_reaction".to_owned() };
    assert_eq!(screening.may_test(adult, tint, GIVEN), never, "no letter lifts a known allergy to colour");
    let cause = ("anaphylaxis_cause", Answer::PreferToTalk);
    let open = shipped.no_but(&[("anaphylaxis", Answer::Yes), cause]);
    assert_eq!(shipped.screening(&open).may_test(adult, tint, GIVEN), TestPermission::AskFirst);
}

/// An unknown answer is asked and never taken for a no (common practice, no source): nothing goes on the skin before.
#[test]
fn what_she_left_open_or_would_rather_talk_about_holds_a_skin_test_back() {
    let shipped = Shipped::new();
    let adult = Some(BirthDate::of(date!(1990 - 04 - 23), GIVEN).unwrap());
    let (tint, lamination) = (ServiceKind::LashTint, ServiceKind::BrowLamination);
    let may = |set: &_, service| shipped.screening(set).may_test(adult, service, GIVEN);
    for key in ["dye_reaction", "ppd_allergy", "black_henna_reaction", "steroid_eye", "broken_skin", "eczema_psoriasis"]
    {
        let talk = shipped.no_but(&[(key, Answer::PreferToTalk)]);
        assert_eq!(may(&talk, tint), TestPermission::AskFirst, "{key}");
        let blank = super::set(shipped.all_no().without(|other| other == key));
        assert_eq!(may(&blank, tint), TestPermission::AskFirst, "{key} left open");
    }
    let flare = shipped.no_but(&[("eczema_psoriasis", Answer::Yes), ("eczema_psoriasis_where", Answer::PreferToTalk)]);
    assert_eq!(may(&flare, tint), TestPermission::AskFirst, "a follow-up");
    let dye = shipped.no_but(&[("dye_reaction", Answer::PreferToTalk)]);
    assert_eq!(may(&dye, lamination), TestPermission::Yes, "no colour in it");
    let other = shipped.no_but(&[("contacts", Answer::PreferToTalk), ("pregnant", Answer::PreferToTalk)]);
    assert_eq!(may(&other, tint), TestPermission::Yes, "neither bars a test");
    let known = shipped.no_but(&[("dye_reaction", Answer::PreferToTalk), ("ppd_allergy", Answer::Yes)]);
    assert_eq!(may(&known, tint), TestPermission::No { rule: "ppd_allergy_tint".to_owned() });
    let waits = shipped.no_but(&[("dye_reaction", Answer::PreferToTalk), ("broken_skin", Answer::Yes)]);
    assert_eq!(may(&waits, tint), TestPermission::AskFirst, "a day alone would clear nothing");
}

#[test]
fn a_new_health_answer_voids_earlier_tests_and_an_old_one_does_not() {
    let shipped = Shipped::new();
    let before = set(shipped.all_no());
    let tint = ServiceKind::LashTint;
    for key in ["pregnant", "new_medicine", "black_henna_any", "other_allergy", "changes"] {
        let now = shipped.no_but(&[(key, Answer::Yes)]);
        assert_eq!(shipped.screening(&now).voided_by(Some(&before), tint), [key]);
        assert!(shipped.screening(&now).voided_by(Some(&now), tint).is_empty(), "{key} was known");
        assert!(shipped.screening(&now).voided_by(None, tint).is_empty());
    }
    let now = shipped.no_but(&[("contacts", Answer::Yes)]);
    assert!(shipped.screening(&now).voided_by(Some(&before), tint).is_empty());
}

fn results() -> impl Strategy<Value = Vec<(i64, TestResult)>> {
    prop::collection::vec((0..2000_i64, prop::sample::select(TestResult::ALL.to_vec())), 0..4)
}

proptest! {
    #[test]
    fn valid_means_a_clear_look_at_or_after_the_floor_and_no_reaction(
        first in results(), second in results(), gap in 0..2000_i64, asked in 0..6000_i64
    ) {
        let tests = [applied(1, APPLIED, &first), applied(1, after(gap), &second)];
        let now = after(asked);
        if let TestStanding::Valid { until } = of(&tests, now) {
            prop_assert!(until >= now);
            let seen: Vec<(&SkinTest, &Reading)> = tests.iter()
                .flat_map(|test| test.readings.iter().map(move |reading| (test, reading)))
                .filter(|(_, reading)| reading.at <= now)
                .collect();
            let passed = seen.iter().any(|(test, reading)| {
                let waited = reading.at - test.applied_at;
                reading.result == TestResult::NoVisibleChange && (Duration::hours(48)..=Duration::days(7)).contains(&waited)
            });
            prop_assert!(passed);
            prop_assert!(!seen.iter().any(|(test, reading)| test.applied_at <= now && reading.result.fails()));
        }
    }

    #[test]
    fn one_more_reaction_never_helps(first in results(), asked in 0..6000_i64, hours in 0..6000_i64) {
        let test = applied(1, APPLIED, &first);
        let mut worse = test.clone();
        worse.readings.push(Reading { at: after(hours), result: TestResult::ItchOrRaised, by: ReadBy::Client });
        let now = after(asked);
        if hours <= asked {
            let failed = matches!(of(&[worse], now), TestStanding::Failed { .. });
            prop_assert!(failed);
        } else {
            prop_assert_eq!(of(&[worse], now), of(&[test], now), "what is not known yet changes nothing");
        }
    }
}

#[test]
fn moments_on_the_edge_count_for_the_test() {
    assert_eq!(of(&[applied(1, APPLIED, &[])], APPLIED), TestStanding::TooEarly { until: after(48) });
    let clear = applied(1, APPLIED, &[(48, TestResult::NoVisibleChange)]);
    let running = applied(1, after(100), &[]);
    assert!(
        matches!(of(&[clear.clone(), running], after(101)), TestStanding::Valid { .. }),
        "an older one counts still"
    );
    let clear = [clear];
    let every = TestRules::parse(48, Validity::EveryVisit).unwrap();
    let end = datetime!(2026-09-09 10:00 UTC);
    let at_once = Planned { treated: vec![APPLIED], ..planned(1) };
    assert_eq!(
        standing(&clear, &at_once, after(100), &every),
        TestStanding::Valid { until: end },
        "not what it was for"
    );
    let last = Planned { treated: vec![end], ..planned(1) };
    let until = datetime!(2027-03-09 10:00 UTC);
    assert_eq!(standing(&clear, &last, end, &TestRules::default()), TestStanding::Valid { until });
}
