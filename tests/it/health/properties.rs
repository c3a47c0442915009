//! What holds whatever is answered.

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::ids::LetterId;
use palpebra::domain::letter::{Letter, LetterDraft};
use palpebra::domain::questionnaire::{Answer, AnswerRefused, Answers, Question};
use palpebra::domain::screening::{BLANK, Cause, Outcome, RuleTable, Screening};
use palpebra::domain::verdict::{About, Earliest, Reason, Start, Verdict};
use proptest::prelude::*;
use proptest::sample::Index;
use time::Duration;

use super::answered::{self, day, latest, noes, seeds, service, worst};
use super::{GIVEN, Shipped, set};

fn answers() -> impl Strategy<Value = Answers> {
    seeds().prop_map(|seeds| answered::answers(&Shipped::once().questionnaire, &seeds))
}

/// A letter that covers every question, service and day of these tests.
fn letter_for_all(shipped: &Shipped) -> Letter {
    let draft = LetterDraft {
        id: LetterId::from_random([1; 16]),
        clinician: "Dr Example".to_owned(),
        dated: GIVEN,
        expires: GIVEN + Duration::days(500),
        questions: shipped.questionnaire.questions().map(|question| question.key.clone()).collect(),
        services: ServiceKind::ALL.into_iter().collect(),
        file: Fingerprint::of(b"letter"),
    };
    Letter::parse(draft, GIVEN).unwrap()
}

proptest! {
    #[test]
    fn one_more_yes_never_lowers_the_verdict(
        answers in answers(), service in service(), on in day(), which in any::<Index>()
    ) {
        let shipped = Shipped::once();
        let noes = noes(&answers);
        prop_assume!(!noes.is_empty());
        let before = shipped.reasons(&set(answers.clone()), service, on);
        let mut more = answers;
        more.set(which.get(&noes).clone(), Answer::Yes);
        let after = shipped.reasons(&set(more), service, on);
        prop_assert!(worst(&after).0 >= worst(&before).0, "the verdict fell");
        prop_assert!(worst(&after).1 >= worst(&before).1, "the start grew easier");
        prop_assert!(latest(&after) >= latest(&before), "the wait grew shorter");
    }

    #[test]
    fn a_blank_or_a_wish_to_talk_is_asked_and_is_never_taken_for_a_no(
        answers in answers(), service in service(), on in day(), which in any::<Index>(), talk: bool
    ) {
        let shipped = Shipped::once();
        let sections = shipped.rules.sections_for(&shipped.questionnaire, &[service], true);
        let asked: Vec<&Question> = sections.iter().flat_map(|section| &section.questions).filter(|question| {
            !question.optional && shipped.questionnaire.is_open(question, &answers)
        }).collect();
        let question = *which.get(&asked);
        let mut left: Vec<(String, Answer)> =
            answers.iter().filter(|(key, _)| *key != question.key).map(|(key, answer)| (key.to_owned(), answer.clone())).collect();
        if talk {
            left.push((question.key.clone(), Answer::PreferToTalk));
        }
        let reasons = shipped.reasons(&set(left.into_iter().collect()), service, on);
        let about = About::Question(question.key.clone());
        let undated = |reason: &Reason| reason.verdict == Verdict::Ask && reason.details.contains(&question.key);
        prop_assert!(
            reasons.iter().any(|reason| (reason.rule == BLANK && reason.about == about) || undated(reason)),
            "{} was passed over", question.key
        );
        prop_assert!(worst(&reasons).0 >= Verdict::Ask);
    }

    #[test]
    fn known_allergy_and_active_infection_are_never_overridden(
        answers in answers(), service in service(), on in day(), lettered: bool
    ) {
        let shipped = Shipped::once();
        let set = set(answers);
        let letters = if lettered { vec![letter_for_all(shipped)] } else { Vec::new() };
        let screening = Screening { letters: &letters, ..shipped.screening(&set) };
        for reason in screening.reasons(service, on) {
            let rule = shipped.rules.rules().iter().find(|rule| rule.key == reason.rule);
            let Some(Outcome::DoNotTreat { cause, overridable, letter, .. }) = rule.map(|rule| &rule.outcome) else {
                prop_assert!(reason.start <= Start::WithReason);
                continue;
            };
            if reason.verdict == Verdict::DoNotTreat {
                prop_assert!(!(lettered && *letter), "a letter that covers it lifts it");
                let never = matches!(cause, Cause::KnownAllergy | Cause::ActiveInfection) || !overridable;
                prop_assert_eq!(reason.start, if never { Start::No } else { Start::WithReason });
            } else {
                prop_assert!((lettered && *letter) || reason.verdict == Verdict::Ask, "only a letter softens it");
            }
        }
    }

    #[test]
    fn a_later_day_never_makes_the_answers_stricter(
        answers in answers(), service in service(), on in day(), later in 0..400_i64
    ) {
        let shipped = Shipped::once();
        let set = set(answers);
        let now = shipped.reasons(&set, service, on);
        let then = shipped.reasons(&set, service, on + Duration::days(later));
        prop_assert!(worst(&then) <= worst(&now));
    }

    #[test]
    fn on_the_day_that_is_named_no_wait_is_left(answers in answers(), service in service(), on in day()) {
        let shipped = Shipped::once();
        let set = set(answers);
        let reasons = shipped.reasons(&set, service, on);
        if let Some(day) = latest(&reasons) {
            prop_assert!(day > on, "a wait that is over is no wait");
            let then = shipped.reasons(&set, service, day);
            prop_assert!(then.iter().all(|reason| reason.verdict != Verdict::WaitUntil));
            let eve = shipped.reasons(&set, service, day.previous_day().unwrap());
            prop_assert!(eve.iter().any(|reason| reason.from == Some(Earliest::Day(day))), "the later wait wins");
        }
    }

    #[test]
    fn a_lift_with_tint_is_at_least_as_strict_as_either(answers in answers(), on in day()) {
        let shipped = Shipped::once();
        let set = set(answers);
        let of = |service| worst(&shipped.reasons(&set, service, on));
        let both = of(ServiceKind::LiftAndTint);
        prop_assert!(both >= of(ServiceKind::LashLift) && both >= of(ServiceKind::LashTint));
    }

    #[test]
    fn a_letter_never_makes_it_stricter(answers in answers(), service in service(), on in day()) {
        let shipped = Shipped::once();
        let set = set(answers);
        let letters = [letter_for_all(shipped)];
        let without = shipped.screening(&set).reasons(service, on);
        let with = Screening { letters: &letters, ..shipped.screening(&set) }.reasons(service, on);
        prop_assert!(worst(&with) <= worst(&without));
        prop_assert!(with.iter().all(|reason| reason.verdict != Verdict::LetterNeeded));
    }

    #[test]
    fn stored_answers_fill_the_form_and_read_back(answers in answers(), service in service()) {
        let shipped = Shipped::once();
        let posted: Vec<(String, String)> =
            answers.iter().map(|(key, answer)| (key.to_owned(), answer.form_value())).collect();
        let open = |key: &str| {
            shipped.questionnaire.question(key).is_some_and(|question| shipped.questionnaire.is_open(question, &answers))
        };
        for section in shipped.rules.sections_for(&shipped.questionnaire, &[service], true) {
            let blank = |question: &&Question| {
                open(&question.key) && !question.optional && answers.get(&question.key).is_none()
            };
            let missing: Vec<String> =
                section.questions.iter().filter(blank).map(|question| question.key.clone()).collect();
            let read = match section.read(&posted, GIVEN) {
                Ok(read) => {
                    prop_assert!(missing.is_empty());
                    read
                }
                Err(refused) => {
                    prop_assert!(refused.fields.iter().all(|field| field.why == AnswerRefused::Missing));
                    prop_assert_eq!(refused.fields.iter().map(|field| field.key.clone()).collect::<Vec<_>>(), missing);
                    refused.read
                }
            };
            for question in &section.questions {
                let kept = if open(&question.key) { answers.get(&question.key) } else { None };
                prop_assert!(read.get(&question.key) == kept, "{}", question.key);
            }
        }
    }

    #[test]
    fn reasons_are_stored_and_read_back_and_debug_hides_them(
        answers in answers(), service in service(), on in day()
    ) {
        let reasons = Shipped::once().reasons(&set(answers), service, on);
        let json = serde_json::to_string(&reasons).unwrap();
        prop_assert_eq!(&serde_json::from_str::<Vec<Reason>>(&json).unwrap(), &reasons);
        let shown = format!("{reasons:?}");
        for reason in &reasons {
            let hidden = !shown.contains(&reason.say) && !shown.contains(&reason.rule);
            prop_assert!(hidden, "{shown}");
        }
    }
}

#[test]
fn a_table_that_lets_an_allergy_or_infection_be_overridden_is_refused() {
    let shipped = Shipped::once();
    let table: serde_json::Value = serde_json::from_str(shipped.rules.canonical()).unwrap();
    let mut tried = 0;
    for number in 0..table["rules"].as_array().unwrap().len() {
        let mut edited = table.clone();
        let outcome = &mut edited["rules"][number]["outcome"];
        if matches!(outcome["cause"].as_str(), Some("known_allergy" | "active_infection")) {
            outcome["overridable"] = true.into();
            assert!(RuleTable::parse(&edited.to_string()).is_err(), "{}", edited["rules"][number]["key"]);
            tried += 1;
        }
    }
    assert!(tried >= 8, "{tried}");
}

#[test]
fn a_table_that_does_not_fit_the_questions_is_refused() {
    let shipped = Shipped::once();
    let table: serde_json::Value = serde_json::from_str(shipped.rules.canonical()).unwrap();
    let number = |key: &str| table["rules"].as_array().unwrap().iter().position(|rule| rule["key"] == key).unwrap();
    let refused = |edit: &dyn Fn(&mut serde_json::Value)| {
        let mut edited = table.clone();
        edit(&mut edited);
        RuleTable::parse(&edited.to_string()).and_then(|rules| rules.fits(&shipped.questionnaire)).is_err()
    };
    assert!(!refused(&|_| {}));
    assert!(refused(&|table| table["rules"][number("glaucoma")]["question"] = "nothing".into()), "an unknown question");
    assert!(refused(&|table| table["rules"][number("glaucoma")]["when"] = "no".into()), "a no that fires");
    assert!(refused(&|table| table["rules"][number("laser_eye")]["outcome"]["from"] = "laser_eye".into()), "no day");
    assert!(refused(&|table| table["rules"][number("glaucoma")]["say"] = " ".into()), "no words for the client");
    assert!(refused(&|table| table["rules"][number("stye")]["basis"]["text"] = "".into()), "a source without a name");
    assert!(
        refused(&|table| {
            table["rules"].as_array_mut().unwrap().remove(number("glaucoma"));
        }),
        "a question that no rule uses"
    );
    assert!(
        refused(&|table| {
            table["rules"].as_array_mut().unwrap().remove(number("epilepsy_recent"));
        }),
        "an answer that no rule speaks on"
    );
}
