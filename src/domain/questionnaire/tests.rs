use super::*;
use time::macros::date;

fn with(questions: &str) -> Result<Questionnaire, QuestionnaireRefused> {
    Questionnaire::parse(&format!(
        r#"{{"version":1,"language":"en","sections":[{{"key":"s","title":"T","intro":"","questions":[{questions}]}}]}}"#
    ))
}

#[test]
fn the_shipped_set_is_well_formed_and_its_fingerprint_follows_its_words() {
    let shipped = Questionnaire::built_in().unwrap();
    assert_eq!(Questionnaire::parse(shipped.canonical()).unwrap(), shipped);
    let reworded = shipped.canonical().replacen("eyes", "eye", 1);
    assert_ne!(Questionnaire::parse(&reworded).unwrap().fingerprint(), shipped.fingerprint());
}

#[test]
fn the_shipped_set_is_asked_whole_in_every_language_by_the_same_keys() {
    let shipped = Questionnaire::built_in().unwrap();
    assert_eq!(shipped, Questionnaire::parse(include_str!("default.json")).unwrap(), "English as it is written");
    for language in Language::ALL.into_iter().filter(|language| *language != Language::English) {
        let mut said = language.within(Questionnaire::built_in).unwrap();
        assert_eq!(said.language(), language.code());
        assert_eq!(Questionnaire::parse(said.canonical()).unwrap(), said, "an unspoken reader changes nothing");
        let mut english = shipped.content.clone();
        assert!(english.words().count() > 2 * shipped.questions().count());
        for (here, there) in said.content.words().zip(english.words()).filter(|(here, _)| !here.is_empty()) {
            assert_ne!(here, there, "not in {}", language.name());
            here.clear();
            there.clear();
        }
        english.language.clone_from(&said.content.language);
        assert_eq!(said.content, english, "only the words differ");
    }
}

#[test]
fn answers_are_told_in_the_language_that_is_spoken() {
    let set = with(r#"{"key":"a","text":"A?","why":"W","kind":"date"}"#).unwrap();
    let told = || {
        let say = |answer| set.question("a").unwrap().in_words(&answer);
        [say(Answer::Yes), say(Answer::Date(date!(2026 - 03 - 09))), say(Answer::Date(date!(2026 - 05 - 01)))]
    };
    assert_eq!(told(), ["Yes", "9 March 2026", "1 May 2026"]);
    assert_eq!(Language::German.within(told), ["Ja", "9. März 2026", "1. Mai 2026"]);
}

#[test]
fn malformed_sets_are_refused_with_the_key() {
    let good = r#"{"key":"a","text":"A?","why":"W","kind":"yes_no"}"#;
    assert!(with(good).is_ok());
    let refused = |questions: &str| with(questions).unwrap_err();
    assert_eq!(refused(&format!("{good},{good}")), QuestionnaireRefused::Key("a".into()));
    assert_eq!(refused(r#"{"key":"A","text":"A?","why":"W","kind":"yes_no"}"#), QuestionnaireRefused::Key("A".into()));
    assert_eq!(refused(r#"{"key":"a","text":" ","why":"W","kind":"date"}"#), QuestionnaireRefused::NoWords("a".into()));
    assert_eq!(
        refused(r#"{"key":"a","text":"A?","why":"W","kind":"choice"}"#),
        QuestionnaireRefused::Options("a".into())
    );
    assert_eq!(
        refused(r#"{"key":"a","text":"A?","why":"W","kind":"yes_no","optional":true}"#),
        QuestionnaireRefused::Optional("a".into())
    );
    let follow = r#"{"key":"b","text":"When?","kind":"date","after":{"question":"a","is":"no"}}"#;
    assert_eq!(refused(&format!("{good},{follow}")), QuestionnaireRefused::After("b".into()));
    assert!(matches!(
        refused(r#"{"key":"a","text":"A?","why":"W","kind":"yes_no","x":1}"#),
        QuestionnaireRefused::Shape(_)
    ));
}

#[test]
fn a_choice_is_told_by_its_label_and_a_version_by_its_number() {
    let options = r#"[{"key":"now","label":"Right now"},{"key":"past","label":"Long ago"}]"#;
    let set = with(&format!(r#"{{"key":"a","text":"A?","why":"W","kind":"choice","options":{options}}}"#)).unwrap();
    let told = |key: &str| set.question("a").unwrap().in_words(&Answer::Choice(key.to_owned()));
    assert_eq!([told("now"), told("past"), told("gone")], ["Right now", "Long ago", "gone"]);
    assert_eq!((set.version(), set.numbered(12).unwrap().version()), (1, 12));
}

#[test]
fn keys_are_short_words_and_stand_once() {
    let key = |key: &str| with(&format!(r#"{{"key":"{key}","text":"A?","why":"W","kind":"yes_no"}}"#)).is_ok();
    assert!(key("a_1") && key(&"a".repeat(60)));
    for bad in ["", "a b", "a-b", "ä", "Ab", &"a".repeat(61)] {
        assert!(!key(bad), "{bad}");
    }
    let section = |key: &str| format!(r#"{{"key":"{key}","title":"T","intro":"","questions":[]}}"#);
    let set = |sections: [String; 2]| {
        let [one, two] = sections;
        Questionnaire::parse(&format!(r#"{{"version":1,"language":"en","sections":[{one},{two}]}}"#))
    };
    assert!(set([section("a"), section("b")]).is_ok());
    assert_eq!(set([section("a"), section("a")]), Err(QuestionnaireRefused::Key("a".into())));
    assert_eq!(set([section("a"), section("B")]), Err(QuestionnaireRefused::Key("B".into())));
    let option = |key: &str, label: &str| {
        let options = format!(r#"[{{"key":"one","label":"One"}},{{"key":"{key}","label":"{label}"}}]"#);
        with(&format!(r#"{{"key":"a","text":"A?","why":"W","kind":"choice","options":{options}}}"#))
    };
    assert!(option("two", "Two").is_ok());
    for (key, label) in [("Two", "Two"), ("two", " "), ("one", "Two"), ("yes", "Yes")] {
        assert_eq!(option(key, label), Err(QuestionnaireRefused::Options("a".into())), "{key} {label}");
    }
}
