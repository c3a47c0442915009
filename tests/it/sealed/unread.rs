//! A record that can't be read is told in plain words, and no list stops at it.

use palpebra::actions::verdicts::watch;
use palpebra::app::App;
use palpebra::domain::ids::{ClientId, HoldId, ReactionId};
use palpebra::domain::reaction::{Level, State};
use palpebra::store::holds::{self, Hold};
use palpebra::store::reactions::{self, Reaction};
use palpebra::store::verdicts;
use palpebra::store::visits::Purpose;
use time::Duration;
use time::macros::date;

use super::run;
use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA};

/// Why her records are held, and a report that is due on her.
async fn held_and_asked_after(app: &App, client: &ClientId) {
    let mut tx = app.db.write().await.unwrap();
    let hold = Hold {
        id: HoldId::from_random(app.random.id()),
        client: client.clone(),
        why: "Claim 4711".to_owned(),
        set_by: "Runa Ostfeld".to_owned(),
        set_at: NOW,
        lifted: None,
    };
    holds::set(&mut tx, &hold).await.unwrap();
    let report = Reaction {
        id: ReactionId::from_random(app.random.id()),
        client: client.clone(),
        visit: None,
        skin_test: None,
        state: State::Reported,
        level: Level::Mild,
        began_at: NOW,
        reported_at: NOW,
        due_at: Some(NOW),
        products: Vec::new(),
        entries: Vec::new(),
    };
    reactions::insert(&mut tx, &report).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn whose_key_was_destroyed_was_erased_and_everybody_else_s_day_goes_on() {
    let (app, studio) = TestApp::with_studio().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let at = |hours| NOW + Duration::hours(hours);
    let mias = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at(1)).await;
    let zoes = studio.visit(Purpose::Treatment, &zoe, &studio.lift, &studio.liv, at(4)).await;
    held_and_asked_after(&app.app, &studio.mia).await;
    assert_eq!(watch(&app.app).await.unwrap(), 0);
    app.app.db.destroy_keys(&[studio.mia.to_string()]).await.unwrap();

    let liv = app.member(LIV.0, LIV.1).await;
    let day = liv.get("/desk").await;
    assert_eq!(day.status, 200, "{}", day.text());
    for words in ["Was erased: it can’t be read any more", "Mia Sandgren, due", "Zoë Birkholm"] {
        assert!(day.main().contains(words), "{words}: {}", day.main());
    }
    let page = liv.get(&format!("/desk/visits/{mias}")).await;
    assert_eq!(page.status, 410, "{}", page.text());
    assert!(
        page.main().contains("This record was erased") && page.main().contains("Nobody can read"),
        "{}",
        page.main()
    );
    assert_eq!(liv.get(&format!("/desk/clients/{}", studio.mia)).await.status, 410);
    assert_eq!(liv.get(&format!("/desk/visits/{zoes}")).await.status, 200);
    // Hers is judged although it comes after one that can't be.
    app.app.clock.advance(Duration::HOUR / 2);
    studio.answer(&zoe, &[("glaucoma", palpebra::domain::questionnaire::Answer::Yes)]).await;
    assert_eq!(watch(&app.app).await.unwrap(), 1);
    assert!(verdicts::stands_worse(&mut app.app.db.read().await.unwrap(), &zoes).await.unwrap());

    let owner = app.owner().await;
    let keeping = owner.get("/owner/keeping").await;
    assert_eq!(keeping.status, 200, "{}", keeping.text());
    assert!(
        keeping.main().contains("Mia Sandgren") && keeping.main().contains("Was erased: it can’t be read any more")
    );
}

#[tokio::test]
async fn a_missing_key_is_told_to_the_team_and_to_the_client_in_their_words() {
    let (app, studio) = TestApp::with_studio().await;
    let ada = ClientId::from_random([7; 16]);
    studio.add_client(&ada, "Ada Norrgard", "ada@clients.example.org", date!(1990 - 02 - 03)).await;
    let sealed = format!(
        "INSERT INTO answers SELECT 'aaaaaaaaaaaaaaaaaaaaaaaaaa', '{ada}', questionnaire_version, body, '', given_by, given_on,
            is_return, given_at, taken_by, told FROM answers LIMIT 1"
    );
    run(&app, &sealed).await;
    let at = |hours| NOW + Duration::hours(hours);
    let adas = studio.visit(Purpose::Treatment, &ada, &studio.lift, &studio.liv, at(1)).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at(4)).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let day = liv.get("/desk").await;
    assert_eq!(day.status, 200, "{}", day.text());
    for words in ["Can’t be read: the key is missing", "Ada Norrgard", "Mia Sandgren"] {
        assert!(day.main().contains(words), "{words}: {}", day.main());
    }
    let page = liv.get(&format!("/desk/visits/{adas}")).await;
    assert!(page.status == 503 && page.main().contains("The key that opens it is missing"), "{}", page.text());
    assert!(page.main().contains("palpebra doctor"), "{}", page.main());
    let hers = app.client("ada@clients.example.org").await.get("/me").await;
    assert!(hers.status == 503 && hers.main().contains("Your records can’t be read just now"), "{}", hers.text());
    assert!(!hers.main().contains("doctor") && !hers.main().contains("key"), "{}", hers.main());
    assert_eq!(app.client(MIA).await.get("/me").await.status, 200);
    assert_eq!(watch(&app.app).await.unwrap(), 0);
    assert_eq!(app.app.db.sealed_people().await.unwrap().missing, [ada.to_string()], "the doctor names her");
}

#[tokio::test]
async fn what_was_changed_in_the_file_is_not_shown_and_said_to_be_so() {
    let (app, studio) = TestApp::with_studio().await;
    run(&app, "UPDATE answers SET body = '{}'").await;
    let page = app.owner().await.get(&format!("/desk/clients/{}", studio.mia)).await;
    assert_eq!(page.status, 500);
    assert!(page.main().contains("Something other than this program changed or moved it"), "{}", page.main());
}
