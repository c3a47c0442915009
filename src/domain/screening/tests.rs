use time::macros::date;

use super::*;
use crate::domain::ids::LetterId;
use crate::domain::letter::{Letter, LetterDraft};
use crate::domain::person::BirthDate;
use crate::domain::questionnaire::{After, Answer, AnswerSet, Answers, Kind, Question};
use crate::domain::verdict::{Clears, Reason, Start};

fn shipped() -> Draft {
    Draft { questionnaire: Questionnaire::built_in().unwrap(), rules: RuleTable::built_in().unwrap() }
}

fn rule(key: &str) -> Rule {
    shipped().rules.rule(key).unwrap().clone()
}

fn keys(draft: &Draft) -> Vec<&str> {
    draft.questionnaire.questions().map(|question| question.key.as_str()).collect()
}

#[test]
fn the_shipped_table_says_the_same_in_every_language() {
    let shipped = RuleTable::built_in().unwrap();
    assert_eq!(shipped, RuleTable::parse(include_str!("default.json")).unwrap(), "English as it is written");
    for language in Language::ALL.into_iter().filter(|language| *language != Language::English) {
        let mut said = language.within(RuleTable::built_in).unwrap();
        assert_eq!(said.softened(&shipped), None);
        let mut english = shipped.content.clone();
        assert!(english.words().count() >= 2 * english.rules.len());
        for (here, there) in said.content.words().zip(english.words()).filter(|(here, _)| !here.is_empty()) {
            assert_ne!(here, there, "not in {}", language.name());
            here.clear();
            there.clear();
        }
        assert_eq!(said.content, english, "only the words differ");
    }
}

#[test]
fn flags_that_are_not_set_are_not_written_and_those_that_are_come_back() {
    let shipped = shipped();
    assert!(!shipped.rules.canonical().contains(":false") && !shipped.rules.canonical().contains(":{}"));
    assert!(!shipped.questionnaire.canonical().contains(":false"));
    let scope = Scope { chemistries: Vec::new(), areas: vec![Area::Brow] };
    let outcome = Outcome::DoNotTreat { cause: Cause::Other, overridable: true, letter: true, lasts: None };
    let set = Rule { scope, outcome, off: true, ..rule("atopy") };
    let table = shipped.rules.with(vec![set]).unwrap().numbered(7).unwrap();
    let read = RuleTable::parse(table.canonical()).unwrap();
    assert_eq!((&read, read.version()), (&table, 7));
}

#[test]
fn every_rule_has_a_key_of_its_own() {
    let rules = shipped().rules;
    for key in ["", " ", "stye"] {
        let changed = Rule { key: key.to_owned(), ..rule("atopy") };
        assert_eq!(rules.with(vec![rule("stye"), changed]), Err(RuleTableRefused::Key(key.to_owned())));
    }
}

/// No client is to come to harm by an edit: what stands on a known allergy or an active infection may grow stricter alone.
#[test]
fn no_edit_softens_a_rule_on_a_known_allergy_or_an_infection() {
    let draft = shipped();
    let guarded: Vec<&str> =
        draft.rules.rules().iter().filter(|rule| rule.is_guarded()).map(|rule| rule.key.as_str()).collect();
    assert_eq!(
        guarded,
        [
            "dye_reaction",
            "ppd_allergy_tint",
            "black_henna_reaction",
            "perm_reaction",
            "adhesive_reaction",
            "conjunctivitis_today",
            "herpes_active",
            "impetigo_ringworm",
            "lice_mites"
        ]
    );
    let refused = |changed: Rule| {
        let key = changed.key.clone();
        assert_eq!(draft.with_rule(changed, &draft.rules), Err(EditRefused::Softened(key.clone())), "{key}");
    };
    let taken = |changed: Rule| {
        let key = changed.key.clone();
        assert!(draft.with_rule(changed.clone(), &draft.rules).is_ok_and(|now| now.rules.rule(&key) == Some(&changed)));
    };
    let stops = |cause, letter, lasts| Outcome::DoNotTreat { cause, overridable: false, letter, lasts };
    let allergy = |letter, lasts| stops(Cause::KnownAllergy, letter, lasts);
    let infection = |lasts| stops(Cause::ActiveInfection, false, lasts);
    for key in &guarded {
        assert_eq!(draft.without_rule(key, &draft.rules), Err(EditRefused::Softened((*key).to_owned())));
        refused(Rule { off: true, ..rule(key) });
        refused(Rule { outcome: Outcome::Ask, ..rule(key) });
        refused(Rule { outcome: stops(Cause::Other, false, None), ..rule(key) });
        refused(Rule { question: "atopy".to_owned(), ..rule(key) });
        refused(Rule { when: "no".to_owned(), ..rule(key) });
        refused(Rule { scope: Scope { chemistries: Vec::new(), areas: vec![Area::Brow] }, ..rule(key) });
        taken(Rule { scope: Scope::default(), ..rule(key) });
    }
    refused(Rule { outcome: allergy(true, None), ..rule("dye_reaction") });
    taken(Rule { outcome: allergy(false, None), ..rule("adhesive_reaction") });
    refused(Rule { outcome: infection(Some(Span::Days(13))), ..rule("herpes_active") });
    taken(Rule { outcome: infection(Some(Span::Days(2))), ..rule("conjunctivitis_today") });
    taken(Rule { outcome: infection(None), ..rule("conjunctivitis_today") });
    refused(Rule { test: None, ..rule("dye_reaction") });
    refused(Rule { test: Some(TestEffect::Voids), ..rule("impetigo_ringworm") });
    refused(Rule { test: Some(TestEffect::Wait(Span::Days(27))), ..rule("impetigo_ringworm") });
    taken(Rule { test: Some(TestEffect::Wait(Span::Months(1))), ..rule("impetigo_ringworm") });
    taken(Rule { test: Some(TestEffect::DoNotTest), ..rule("impetigo_ringworm") });
    taken(Rule { test: Some(TestEffect::Voids), ..rule("herpes_active") });
    refused(Rule { shared: vec![Ingredient::Cysteamine], ..rule("perm_reaction") });
    refused(Rule { shared: vec![Ingredient::Cysteamine], ..rule("dye_reaction") });
    taken(Rule { shared: Vec::new(), ..rule("perm_reaction") });
}

#[test]
fn an_edit_changes_what_it_names_and_nothing_else() {
    let before = shipped();
    let gentler = Rule { outcome: Outcome::Ask, ..rule("atopy") };
    let changed = before.with_rule(gentler.clone(), &before.rules).unwrap();
    assert_eq!(changed.rules.rule("atopy"), Some(&gentler));
    assert_eq!(changed.rules.rules().len(), before.rules.rules().len());
    assert_eq!(changed.changed_rules(&before), BTreeSet::from(["atopy"]));
    let added = before.with_rule(Rule { key: "own".to_owned(), ..gentler }, &before.rules).unwrap();
    assert_eq!(added.changed_rules(&before), BTreeSet::from(["own"]));
    assert_eq!(before.changed_rules(&added), BTreeSet::from(["own"]));
    let without = before.without_rule("stye", &before.rules).unwrap();
    assert_eq!((without.changed_rules(&before), without.rules.rule("stye")), (BTreeSet::from(["stye"]), None));
    assert!(without.changed_questions(&before).is_empty());
    assert_eq!(without.misfits(), [RuleTableRefused::Unused("stye".to_owned())]);
    assert_eq!(before.misfits(), []);
}

#[test]
fn a_question_is_changed_in_its_place_or_added_where_it_belongs() {
    let before = shipped();
    let question = |key: &str| before.questionnaire.question(key).unwrap().clone();
    let section = before.questionnaire.sections().iter().find(|one| one.questions.contains(&question("herpes")));
    let section = &section.unwrap().key;

    let mut state = question("herpes_state");
    state.options.retain(|option| option.key != "in_eye");
    let changed = before.with_question(section, state, &before.rules).unwrap();
    assert_eq!(keys(&changed), keys(&before));
    assert_eq!(changed.changed_questions(&before), BTreeSet::from(["herpes_state"]));
    assert_eq!(changed.changed_rules(&before), BTreeSet::from(["herpes_in_eye"]), "the option's rule goes with it");

    let own = Question { key: "own".to_owned(), after: None, why: "To be safe.".to_owned(), ..question("herpes") };
    let added = before.with_question(section, own.clone(), &before.rules).unwrap();
    let whole = added.questionnaire.sections().iter().find(|one| one.key == *section).unwrap();
    assert_eq!(whole.questions.last().unwrap().key, "own", "at the end of its section");
    assert_eq!(keys(&added).len(), keys(&before).len() + 1);
    assert_eq!(
        before.with_question("nowhere", own.clone(), &before.rules),
        Err(EditRefused::Unknown("nowhere".to_owned()))
    );

    let after = Some(After { question: "herpes".to_owned(), is: "yes".to_owned() });
    let follow_up = Question { kind: Kind::Text, after, optional: true, ..own };
    let added = before.with_question(section, follow_up, &before.rules).unwrap();
    let at = keys(&added).iter().position(|key| *key == "own").unwrap();
    assert_eq!(keys(&added)[at - 2..at], ["herpes", "herpes_state"], "after what follows the same question");
    assert_eq!(keys(&added).len(), keys(&before).len() + 1);
}

#[test]
fn a_question_goes_with_all_that_hangs_on_it() {
    let before = shipped();
    let without = |key: &str| before.without_question(key, &before.rules);
    let laser = without("laser_eye").unwrap();
    assert_eq!(laser.changed_questions(&before), BTreeSet::from(["laser_eye", "laser_eye_on"]));
    assert_eq!(laser.changed_rules(&before), BTreeSet::from(["laser_eye"]));
    let day = without("laser_eye_on").unwrap();
    assert_eq!(day.changed_questions(&before), BTreeSet::from(["laser_eye_on"]));
    assert_eq!(day.changed_rules(&before), BTreeSet::from(["laser_eye"]), "a wait from a day that is no longer asked");
    let which = without("other_allergy_which").unwrap();
    assert_eq!(which.changed_questions(&before), BTreeSet::from(["other_allergy_which"]));
    assert_eq!(which.rules.rule("other_allergy").unwrap().details, [""; 0]);
    assert_eq!(without("dye_reaction"), Err(EditRefused::Softened("dye_reaction".to_owned())));
    assert_eq!(without("nothing"), Err(EditRefused::Unknown("nothing".to_owned())));
}

#[test]
fn rules_and_questions_that_do_not_fit_are_named() {
    let before = shipped();
    let misfits = |changed: Rule| before.with_rule(changed, &before.rules).unwrap().misfits();
    let wait = |from: &str| Outcome::WaitUntil {
        from: Some(from.to_owned()),
        wait: Span::Days(14),
        then: Then::Clear,
        letter: false,
    };
    let own = |outcome| Rule { key: "own".to_owned(), outcome, ..rule("atopy") };
    assert_eq!(misfits(own(wait("laser_eye_on"))), []);
    assert_eq!(misfits(own(wait("nothing"))), [RuleTableRefused::Unknown("own".to_owned())]);
    assert_eq!(misfits(own(wait("laser_eye"))), [RuleTableRefused::NoDay("own".to_owned())], "no day");
    let details = vec!["nothing".to_owned()];
    assert_eq!(misfits(Rule { details, ..own(Outcome::Ask) }), [RuleTableRefused::Unknown("own".to_owned())]);
    let when = "no".to_owned();
    assert_eq!(misfits(Rule { when, ..own(Outcome::Ask) }), [RuleTableRefused::Unknown("own".to_owned())]);

    let mut day = before.questionnaire.question("laser_eye_on").unwrap().clone();
    day.optional = true;
    let blank = before.with_question("", day, &before.rules).unwrap();
    assert_eq!(blank.misfits(), [RuleTableRefused::NoDay("laser_eye".to_owned())], "a day that may be left blank");

    let silent = before.without_rule("herpes_in_eye", &before.rules).unwrap();
    let unsaid = RuleTableRefused::Silent("herpes_state".to_owned(), "in_eye".to_owned());
    assert_eq!(silent.misfits(), [unsaid], "no rule, and the follow-up is after another answer");
    let state = rule("herpes_healed");
    let kept: Vec<Rule> = before.rules.rules().iter().filter(|one| **one != state).cloned().collect();
    let still = Rule { key: "own".to_owned(), when: "in_eye".to_owned(), ..state };
    let rules = before.rules.with([kept, vec![still]].concat()).unwrap();
    assert_eq!(rules.misfits(&before.questionnaire), [], "the day that follows must be answered");
}

#[test]
fn a_letter_can_help_where_a_rule_says_so() {
    let shipped = shipped();
    let helped: BTreeSet<&str> = shipped.rules.with_letter().collect();
    assert!(["glaucoma", "adhesive_reaction", "lice_mites"].iter().all(|key| helped.contains(key)));
    assert!(["atopy", "dye_reaction", "stye", "laser_eye"].iter().all(|key| !helped.contains(key)));
}

/// The reasons for a lash lift, so many days after these answers, with no to all other questions.
fn reasons(given: &[(&str, Answer)], letters: &[Letter], days: i64) -> Vec<Reason> {
    let shipped = shipped();
    let roots = shipped.questionnaire.questions().filter(|question| question.after.is_none());
    let mut answers: Answers = roots.map(|question| (question.key.clone(), Answer::No)).collect();
    for (key, answer) in given {
        answers.set(*key, answer.clone());
    }
    let set = AnswerSet { questionnaire: 1, given_on: date!(2026 - 03 - 09), returning: true, answers };
    let (questionnaire, rules) = (&shipped.questionnaire, &shipped.rules);
    let screening = Screening { questionnaire, rules, set: &set, letters, ingredients: None };
    screening.reasons(ServiceKind::LashLift, date!(2026 - 03 - 09) + time::Duration::days(days))
}

#[test]
fn what_clears_a_reason_is_what_is_still_open() {
    let clears = |given: &[(&str, Answer)], days| {
        let reasons = reasons(given, &[], days);
        assert_eq!(reasons.len(), 1, "{:?}", reasons.iter().map(|one| &one.rule).collect::<Vec<_>>());
        reasons[0].clears.clone()
    };
    assert_eq!(clears(&[("stye", Answer::Yes)], 3), [Clears::Waiting]);
    assert_eq!(clears(&[("stye", Answer::Yes)], 20), [], "a note asks for nothing");
    assert_eq!(clears(&[("stye", Answer::PreferToTalk)], 3), [Clears::Talk]);
    assert_eq!(clears(&[("herpes", Answer::Yes)], 3), [Clears::Answer], "how it is was left open");
}

/// A letter of 1 March that allows a lash lift.
fn letter(question: &str) -> [Letter; 1] {
    let draft = LetterDraft {
        id: LetterId::from_random([1; 16]),
        clinician: "Dr Example".to_owned(),
        dated: date!(2026 - 03 - 01),
        expires: date!(2026 - 09 - 01),
        questions: BTreeSet::from([question.to_owned()]),
        services: BTreeSet::from([ServiceKind::LashLift]),
        file: Fingerprint::of(b"letter"),
    };
    [Letter::parse(draft, date!(2026 - 03 - 09)).unwrap()]
}

#[test]
fn a_letter_lifts_what_it_speaks_of_and_nothing_else() {
    let verdict = |letters: &[Letter]| {
        let reasons = reasons(&[("glaucoma", Answer::Yes)], letters, 0);
        let asks = reasons[0].say.contains("bring");
        (reasons[0].verdict, reasons[0].start, reasons.len(), asks)
    };
    assert_eq!(verdict(&letter("retina")), (Verdict::LetterNeeded, Start::WithReason, 1, true));
    assert_eq!(verdict(&letter("glaucoma")), (Verdict::Note, Start::Yes, 1, false), "it is not asked for again");
}

#[test]
fn a_letter_knows_nothing_of_what_happened_after_it() {
    let verdict = |day| {
        let given = [("lid_surgery", Answer::Yes), ("lid_surgery_on", Answer::Date(day))];
        let reasons = reasons(&given, &letter("lid_surgery"), 150);
        reasons.iter().find(|one| one.rule == "lid_surgery_letter").map(|one| one.verdict)
    };
    assert_eq!(verdict(date!(2024 - 05 - 01)), Some(Verdict::Note));
    assert_eq!(verdict(date!(2026 - 03 - 01)), Some(Verdict::Note));
    assert_eq!(verdict(date!(2026 - 03 - 02)), Some(Verdict::LetterNeeded));
    let ended = |day| {
        let given = [("chemo_past", Answer::Yes), ("chemo_past_on", Answer::Date(day))];
        reasons(&given, &letter("chemo_past"), 30)[0].verdict
    };
    assert_eq!(ended(date!(2026 - 02 - 27)), Verdict::Note);
    assert_eq!(ended(date!(2026 - 03 - 05)), Verdict::WaitUntil, "it was still going on when the letter was written");
}

#[test]
fn a_test_may_be_applied_from_the_day_on_that_a_wait_ends() {
    let may = |days: i64| {
        let shipped = shipped();
        let roots = shipped.questionnaire.questions().filter(|question| question.after.is_none());
        let mut answers: Answers = roots.map(|question| (question.key.clone(), Answer::No)).collect();
        answers.set("broken_skin", Answer::Yes);
        let given_on = date!(2026 - 03 - 09);
        let set = AnswerSet { questionnaire: 1, given_on, returning: true, answers };
        let (questionnaire, rules) = (&shipped.questionnaire, &shipped.rules);
        let screening = Screening { questionnaire, rules, set: &set, letters: &[], ingredients: None };
        let birth = BirthDate::of(date!(1990 - 04 - 23), given_on).ok();
        screening.may_test(birth, ServiceKind::LashTint, given_on + time::Duration::days(days))
    };
    assert_eq!(may(6), TestPermission::NotBefore(date!(2026 - 03 - 16)));
    assert_eq!(may(7), TestPermission::Yes);
    assert_eq!(format!("{:?}", may(7)), "TestPermission(..)", "what it is is health data");
}

/// A month has 28 days at least and 31 at most, so that a wait in days is as long as one in months from 31 days a month on.
#[test]
fn a_guarded_rule_may_last_longer_in_days_or_in_months() {
    let lasting = |span| {
        let outcome =
            Outcome::DoNotTreat { cause: Cause::ActiveInfection, overridable: false, letter: false, lasts: Some(span) };
        Rule { outcome, ..rule("conjunctivitis_today") }
    };
    let table = |span| shipped().rules.with(vec![lasting(span)]).unwrap();
    let holds = |now, was| table(now).softened(&table(was)).is_none();
    use Span::{Days, Months};
    for (now, was, long_enough) in [
        (Days(13), Days(14), false),
        (Days(14), Days(14), true),
        (Months(1), Months(2), false),
        (Months(2), Months(2), true),
        (Days(61), Months(2), false),
        (Days(62), Months(2), true),
        (Months(2), Days(57), false),
        (Months(2), Days(56), true),
    ] {
        assert_eq!(holds(now, was), long_enough, "{now:?} for {was:?}");
    }
}
