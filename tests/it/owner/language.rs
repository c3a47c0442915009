//! The studio speaks another language: what ships is published anew in it, and what was said stays as it was.

use palpebra::domain::consent::{ConsentStanding, ConsentText};
use palpebra::domain::questionnaire::Questionnaire;
use palpebra::domain::screening::RuleTable;
use palpebra::language::Language;
use palpebra::store::{health, rules};

use crate::support::{Person, TestApp};

const OWN: &str = "What is new\nWe now open the window.\n\nYour rights\nYou may stop at any time.";

async fn speak(owner: &Person, language: Language) {
    let page = owner.get("/owner/studio").await;
    assert_eq!(owner.submit(&page, "/owner/studio", &[("language", language.code())]).await.status, 303);
}

#[tokio::test]
async fn what_ships_is_published_anew_and_own_words_stay() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/consent-text").await;
    let own = [("words", OWN), ("reviewed_by", "The insurer"), ("reason", "New room")];
    assert_eq!(owner.submit(&page, "/owner/consent-text", &own).await.status, 303);
    studio.consent(&studio.mia, &studio.lift).await;
    let page = owner.get("/owner/rules").await;
    assert_eq!(owner.submit(&page, "/owner/rules/draft", &[("step", "start")]).await.status, 303);

    speak(&owner, Language::German).await;
    let mut c = app.app.db.read().await.unwrap();
    let now = health::in_force(&mut c).await.unwrap();
    let asked = Language::German.within(Questionnaire::built_in).unwrap();
    let meant = Language::German.within(RuleTable::built_in).unwrap();
    let signed = Language::German.within(ConsentText::built_in).unwrap();
    assert_eq!((now.questionnaire.version(), now.rules.version(), now.consent.version()), (2, 2, 3));
    assert_eq!((now.questionnaire.language(), now.consent.language()), ("de", "de"));
    assert_eq!(now.questionnaire.sections(), asked.sections());
    assert_eq!(now.rules.rules(), meant.rules());
    assert_eq!(now.consent.ticks(), signed.ticks());
    assert_eq!(now.consent.guardian(), signed.guardian());
    assert_eq!(now.consent.paragraphs()[0].text, "We now open the window.", "her own words");
    let draft = rules::draft(&mut c).await.unwrap().unwrap();
    assert_eq!(draft.set.questionnaire.sections(), asked.sections(), "so it can be published later");
    assert_eq!(health::consent_text(&mut c, 1).await.unwrap(), ConsentText::built_in().unwrap(), "as it was signed");
    assert_eq!(*health::questionnaire(&mut c, 1).await.unwrap(), Questionnaire::built_in().unwrap());
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let known = palpebra::actions::case::Known::load(&mut c, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    assert_eq!(known.consent_standing(), ConsentStanding::TextChanged);
    drop(c);

    speak(&owner, Language::English).await;
    let mut c = app.app.db.read().await.unwrap();
    let now = health::in_force(&mut c).await.unwrap();
    assert_eq!(now.questionnaire.sections(), Questionnaire::built_in().unwrap().sections());
    assert_eq!(now.rules.rules(), RuleTable::built_in().unwrap().rules());
    assert_eq!(now.consent.ticks(), ConsentText::built_in().unwrap().ticks());
}

#[tokio::test]
async fn the_same_language_publishes_nothing() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    speak(&owner, Language::English).await;
    let now = health::in_force(&mut app.app.db.read().await.unwrap()).await.unwrap();
    assert_eq!((now.questionnaire.version(), now.rules.version(), now.consent.version()), (1, 1, 1));
}
