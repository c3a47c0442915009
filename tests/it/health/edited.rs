//! What holds for every set of rules that an owner can publish, not only for the shipped one.

use palpebra::domain::catalogue::{Chemistry, ServiceKind};
use palpebra::domain::questionnaire::{Answer, Answers, Question};
use palpebra::domain::screening::{Cause, Draft, EditRefused, Outcome, Rule, Screening, Then};
use palpebra::domain::span::Span;
use palpebra::domain::verdict::{Earliest, Reason, Start, Verdict};
use proptest::prelude::*;
use proptest::sample::Index;
use time::{Date, Duration};

use super::answered::{answers, day, latest, noes, seeds, service, worst};
use super::{GIVEN, Shipped, set};

fn span() -> impl Strategy<Value = Span> {
    prop_oneof![(1..400_u16).prop_map(Span::Days), (1..13_u16).prop_map(Span::Months)]
}

fn outcome() -> impl Strategy<Value = Outcome> {
    let then = prop::sample::select(vec![Then::Clear, Then::Note, Then::Ask]);
    let cause = prop::sample::select(vec![Cause::KnownAllergy, Cause::ActiveInfection, Cause::Other]);
    prop_oneof![
        Just(Outcome::Clear),
        Just(Outcome::Note),
        Just(Outcome::Ask),
        Just(Outcome::LetterNeeded),
        (span(), then, any::<bool>(), any::<bool>()).prop_map(|(wait, then, letter, dated)| Outcome::WaitUntil {
            from: dated.then(|| "last_lash_lift_on".to_owned()),
            wait,
            then,
            letter
        }),
        (cause, any::<bool>(), any::<bool>(), prop::option::of(span()))
            .prop_map(|(cause, overridable, letter, lasts)| Outcome::DoNotTreat { cause, overridable, letter, lasts }),
    ]
}

/// One edit as the owner's form makes it.
#[derive(Debug, Clone)]
enum Edit {
    Rule { which: Index, outcome: Outcome, tint_only: bool, off: bool },
    Add { which: Index, outcome: Outcome },
    Retire(Index),
}

fn edit() -> impl Strategy<Value = Edit> {
    prop_oneof![
        4 => (any::<Index>(), outcome(), any::<bool>(), prop::bool::weighted(0.1))
            .prop_map(|(which, outcome, tint_only, off)| Edit::Rule { which, outcome, tint_only, off }),
        2 => (any::<Index>(), outcome()).prop_map(|(which, outcome)| Edit::Add { which, outcome }),
        1 => any::<Index>().prop_map(Edit::Retire),
    ]
}

fn take(draft: &Draft, edit: &Edit, n: usize) -> Result<Draft, EditRefused> {
    let shipped = &Shipped::once().rules;
    let pick = |which: &Index| which.get(draft.rules.rules()).clone();
    match edit {
        Edit::Rule { which, outcome, tint_only, off } => {
            let mut rule = Rule { outcome: outcome.clone(), off: *off, ..pick(which) };
            if *tint_only {
                rule.scope.chemistries = vec![Chemistry::Tint];
            }
            draft.with_rule(rule, shipped)
        }
        Edit::Add { which, outcome } => {
            draft.with_rule(Rule { key: format!("own_{n}"), outcome: outcome.clone(), ..pick(which) }, shipped)
        }
        Edit::Retire(which) => {
            let roots: Vec<String> = draft.questionnaire.questions().map(|question| question.key.clone()).collect();
            let root: &String = which.get(&roots);
            draft.without_question(root, shipped)
        }
    }
}

/// A set after so many of the edits as are taken.
fn edited() -> impl Strategy<Value = Draft> {
    prop::collection::vec(edit(), 1..12).prop_map(|edits| {
        let shipped = Shipped::once();
        let mut draft = Draft { questionnaire: shipped.questionnaire.clone(), rules: shipped.rules.clone() };
        for (n, edit) in edits.iter().enumerate() {
            if let Ok(next) = take(&draft, edit, n) {
                draft = next;
            }
        }
        draft
    })
}

fn reasons(draft: &Draft, answers: Answers, service: ServiceKind, on: Date) -> Vec<Reason> {
    let set = set(answers);
    let (questionnaire, rules) = (&draft.questionnaire, &draft.rules);
    Screening { questionnaire, rules, set: &set, letters: &[], ingredients: None }.reasons(service, on)
}

proptest! {
    #[test]
    fn one_more_yes_never_lowers_the_verdict_of_an_edited_set(
        draft in edited(), seeds in seeds(), service in service(), on in day(), which in any::<Index>()
    ) {
        let given = answers(&draft.questionnaire, &seeds);
        let noes = noes(&given);
        prop_assume!(!noes.is_empty());
        let before = reasons(&draft, given.clone(), service, on);
        let mut more = given;
        more.set(which.get(&noes).clone(), Answer::Yes);
        let after = reasons(&draft, more, service, on);
        prop_assert!(worst(&after).0 >= worst(&before).0, "the verdict fell");
        prop_assert!(worst(&after).1 >= worst(&before).1, "the start grew easier");
        prop_assert!(latest(&after) >= latest(&before), "the wait grew shorter");
    }

    #[test]
    fn a_blank_is_asked_in_every_edited_set(draft in edited(), seeds in seeds(), service in service(), which in any::<Index>()) {
        let given = answers(&draft.questionnaire, &seeds);
        let sections = draft.rules.sections_for(&draft.questionnaire, &[service], true);
        let asked: Vec<&Question> = sections.iter().flat_map(|section| &section.questions).filter(|question| {
            !question.optional && draft.questionnaire.is_open(question, &given)
        }).collect();
        prop_assume!(!asked.is_empty());
        let blank = &which.get(&asked).key;
        let left = given.iter().filter(|(key, _)| key != blank).map(|(key, answer)| (key.to_owned(), answer.clone()));
        let left: Answers = left.collect();
        // A follow-up whose question is the blank one closes, so it is the question itself that is asked.
        prop_assert!(worst(&reasons(&draft, left, service, GIVEN)).0 >= Verdict::Ask, "{blank} was passed over");
    }

    #[test]
    fn the_later_wait_wins_in_every_edited_set(draft in edited(), seeds in seeds(), service in service(), on in day()) {
        let given = answers(&draft.questionnaire, &seeds);
        let now = reasons(&draft, given.clone(), service, on);
        if let Some(day) = latest(&now) {
            prop_assert!(day > on);
            let then = reasons(&draft, given.clone(), service, day);
            prop_assert!(then.iter().all(|reason| reason.verdict != Verdict::WaitUntil));
            let eve = reasons(&draft, given, service, day.previous_day().unwrap());
            prop_assert!(eve.iter().any(|reason| reason.from == Some(Earliest::Day(day))));
        }
    }

    #[test]
    fn the_strictest_rule_of_an_edited_set_decides_and_a_later_day_never_makes_it_stricter(
        draft in edited(), seeds in seeds(), service in service(), on in day(), later in 0..400_i64
    ) {
        let given = answers(&draft.questionnaire, &seeds);
        let now = reasons(&draft, given.clone(), service, on);
        for reason in &now {
            prop_assert!(worst(&now).0 >= reason.verdict && worst(&now).1 >= reason.start);
        }
        prop_assert!(worst(&reasons(&draft, given, service, on + Duration::days(later))) <= worst(&now));
    }

    #[test]
    fn no_edit_opens_a_way_around_a_known_allergy_or_an_infection(
        draft in edited(), seeds in seeds(), service in service()
    ) {
        let shipped = Shipped::once();
        let given = answers(&draft.questionnaire, &seeds);
        let now = reasons(&draft, given.clone(), service, GIVEN);
        let before = Draft { questionnaire: shipped.questionnaire.clone(), rules: shipped.rules.clone() };
        for reason in reasons(&before, given, service, GIVEN) {
            let guarded = shipped.rules.rule(&reason.rule).is_some_and(Rule::is_guarded);
            if guarded && reason.verdict == Verdict::DoNotTreat {
                let still = now.iter().find(|other| other.rule == reason.rule);
                prop_assert!(still.is_some_and(|other| other.verdict == Verdict::DoNotTreat && other.start == Start::No), "{}", reason.rule);
            }
        }
        for rule in draft.rules.rules().iter().filter(|rule| rule.is_guarded()) {
            let overridable = matches!(rule.outcome, Outcome::DoNotTreat { overridable: true, .. });
            prop_assert!(!overridable);
        }
    }
}
