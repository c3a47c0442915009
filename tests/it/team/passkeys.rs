//! Passkeys: added, used in the place of a code, refused when anything about the answer is wrong, removed.

use axum::http::Method;
use data_encoding::{BASE64URL_NOPAD, HEXUPPER};
use serde_json::Value;
use time::Duration;

use crate::support::app::{Made, OWNER};
use crate::support::device::{Device, text};
use crate::support::{Html, NOBODY, Person, TestApp};
use palpebra::app::SecondFactor;

const PLACE: &str = "http://localhost";
const KNOWN: &str = "/team/passkey/known";

/// An owner with an app and a passkey, signed in.
async fn with_passkey() -> (TestApp, Person, Device) {
    let (app, owner, ..) = TestApp::with_guarded_owner_at(Some(PLACE)).await;
    let device = Device::new(PLACE, 1);
    let added = owner.adds_passkey(&device, "blue phone").await;
    assert_eq!(added.location().as_deref(), Some("/desk/sign-in?added="), "{}", added.main());
    (app, owner, device)
}

async fn half_way_in(app: &TestApp) -> (Person, Html) {
    let her = app.visitor();
    assert_eq!(her.gives_password(OWNER.0, OWNER.1).await.location().as_deref(), Some("/team/code"));
    let page = her.get("/team/code").await;
    (her, page)
}

async fn asked(her: &Person, page: &Html) -> Value {
    let asked = her.asks(page, "/team/code", KNOWN, "").await;
    assert_eq!(asked.status, 200, "{}", asked.text());
    asked.json()
}

/// Whether an answer is refused, and she stays where she was.
async fn is_refused(her: &Person, page: &Html, answer: &Value, why: &str) {
    let refused = her.submit(page, "/team/code", &[("passkey", &answer.to_string())]).await;
    assert_eq!(refused.status, 422, "{why}: {}", refused.main());
    assert_eq!(her.get("/owner").await.location().as_deref(), Some("/team/code"), "{why}");
}

async fn audited(app: &TestApp, action: &str) -> usize {
    app.dump().await.iter().filter(|cell| *cell == action).count()
}

async fn letters(app: &TestApp) -> String {
    app.mails().await.into_iter().map(|out| out.letter.text).collect()
}

#[tokio::test]
async fn a_passkey_signs_in_after_the_password_and_is_listed() {
    let (app, owner, mut device) = with_passkey().await;
    let listed = owner.get("/desk/sign-in?added=").await.main();
    assert!(listed.contains("blue phone") && listed.contains("Not yet"), "{listed}");
    assert!(letters(&app).await.contains("the passkey “blue phone” was added"));
    assert_eq!(audited(&app, "passkey.added").await, 1);

    let her = app.visitor();
    her.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(her.gives_passkey(&mut device).await.location().as_deref(), Some("/desk"));
    assert_eq!(her.get("/owner").await.status, 200);
    let listed = her.get("/desk/sign-in").await.main();
    assert!(!listed.contains("Not yet"), "{listed}");
    assert_eq!(audited(&app, "passkey.used").await, 1);
    assert!(letters(&app).await.contains("in a browser that it had not been used in before"));
}

#[tokio::test]
async fn what_a_device_is_asked_names_the_host_her_account_and_her_keys() {
    let (app, owner, device) = with_passkey().await;
    let page = owner.get("/team/passkey").await;
    let new = owner.asks(&page, "/team/passkey", "/team/passkey/new", "other").await.json();
    assert_eq!(new["rp"]["id"], "localhost");
    assert_eq!(new["user"]["name"], OWNER.0);
    assert_eq!(new["excludeCredentials"][0]["id"], text(&device.credential).as_str());
    assert_eq!(new["authenticatorSelection"]["userVerification"], "preferred");
    assert_eq!(new["attestation"], "none");
    let (her, page) = half_way_in(&app).await;
    let (one, other) = (asked(&her, &page).await, asked(&her, &page).await);
    assert_eq!(one["rpId"], "localhost");
    assert_eq!(one["allowCredentials"][0]["id"], text(&device.credential).as_str());
    assert_eq!(one["userVerification"], "preferred");
    assert_ne!(one["challenge"], other["challenge"], "no challenge is asked twice");
    // Section 13.4.3: 16 random bytes at least, which are 22 letters.
    assert!(one["challenge"].as_str().unwrap().len() >= 22, "{one}");
}

#[tokio::test]
async fn an_answer_of_which_anything_is_wrong_is_refused() {
    let (app, _, mut device) = with_passkey().await;
    let (her, page) = half_way_in(&app).await;
    device.origin = "https://localhost.example.org".to_owned();
    is_refused(&her, &page, &device.answers(&asked(&her, &page).await), "made on another page").await;
    device.origin = PLACE.to_owned();
    device.host = "example.org".to_owned();
    is_refused(&her, &page, &device.answers(&asked(&her, &page).await), "made for another host").await;
    device.host = "localhost".to_owned();

    let (her, page) = half_way_in(&app).await;
    let mut question = asked(&her, &page).await;
    question["challenge"] = text(&[7; 16]).into();
    is_refused(&her, &page, &device.answers(&question), "an answer to another question").await;
    let mut answer = device.answers(&asked(&her, &page).await);
    let mut signature = BASE64URL_NOPAD.decode(answer["response"]["signature"].as_str().unwrap().as_bytes()).unwrap();
    *signature.last_mut().unwrap() ^= 1;
    answer["response"]["signature"] = text(&signature).into();
    is_refused(&her, &page, &answer, "an altered signature").await;
    let mut stranger = Device::new(PLACE, 1);
    is_refused(&her, &page, &stranger.answers(&asked(&her, &page).await), "another key of the same name").await;

    let (her, page) = half_way_in(&app).await;
    let mut unknown = Device::new(PLACE, 9);
    is_refused(&her, &page, &unknown.answers(&asked(&her, &page).await), "a key that nobody has").await;
    let question = asked(&her, &page).await;
    is_refused(&her, &page, &Value::from("no answer at all"), "what can't be read").await;
    is_refused(&her, &page, &device.answers(&question), "the second answer to one question").await;

    let (her, page) = half_way_in(&app).await;
    let made = device.makes(&asked(&her, &page).await);
    is_refused(&her, &page, &made, "a new key in the place of an answer").await;
    assert_eq!(audited(&app, "passkey.used").await, 0);
    assert_eq!(audited(&app, "second-factor.refused").await, 9);
    assert_eq!(her.gives_passkey(&mut device).await.status, 303, "the right answer still serves");
}

#[tokio::test]
async fn an_answer_serves_once_in_time_and_where_it_was_asked() {
    let (app, _, mut device) = with_passkey().await;
    let (her, page) = half_way_in(&app).await;
    let question = asked(&her, &page).await;
    app.app.clock.advance(Duration::minutes(5));
    is_refused(&her, &page, &device.answers(&question), "five minutes later").await;
    let question = asked(&her, &page).await;
    app.app.clock.advance(Duration::seconds(299));
    let answer = device.answers(&question);
    let (other, other_page) = half_way_in(&app).await;
    asked(&other, &other_page).await;
    is_refused(&other, &other_page, &answer, "asked of another session").await;
    let done = her.submit(&page, "/team/code", &[("passkey", &answer.to_string())]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let (again, page) = half_way_in(&app).await;
    is_refused(&again, &page, &answer, "an answer that served").await;
    asked(&again, &page).await;
    is_refused(&again, &page, &answer, "an answer that served, to a new question").await;
}

#[tokio::test]
async fn a_counter_that_goes_back_is_refused_and_told_of() {
    let (app, _, mut device) = with_passkey().await;
    let her = app.visitor();
    her.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(her.gives_passkey(&mut device).await.status, 303);
    device.counter -= 1;
    let (her, page) = half_way_in(&app).await;
    let answer = device.answers(&asked(&her, &page).await);
    let refused = her.submit(&page, "/team/code", &[("passkey", &answer.to_string())]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.main().contains("somebody may have a copy"), "{}", refused.main());
    assert_eq!(audited(&app, "passkey.copied").await, 1);
    assert!(letters(&app).await.contains("the passkey “blue phone” was refused"));
    assert_eq!(her.gives_passkey(&mut device).await.status, 303, "a counter that goes on is taken");
}

#[tokio::test]
async fn a_key_without_a_counter_serves_as_often_as_it_is_asked() {
    let (app, owner, ..) = TestApp::with_guarded_owner_at(Some(PLACE)).await;
    let mut device = Device::new(PLACE, 2);
    device.counter = 0;
    owner.adds_passkey(&device, "synced").await;
    for _ in 0..2 {
        let (her, page) = half_way_in(&app).await;
        let answer = device.answers_uncounted(&asked(&her, &page).await);
        assert_eq!(her.submit(&page, "/team/code", &[("passkey", &answer.to_string())]).await.status, 303);
    }
}

#[tokio::test]
async fn a_key_is_not_added_that_answers_wrongly_or_is_known() {
    let (app, owner, known) = with_passkey().await;
    let try_with = async |device: &Device, change: fn(&mut Value)| {
        let page = owner.get("/team/passkey").await;
        let mut question = owner.asks(&page, "/team/passkey", "/team/passkey/new", "other").await.json();
        change(&mut question);
        let made = device.makes(&question).to_string();
        owner.submit(&page, "/team/passkey", &[("name", "other"), ("made", &made)]).await
    };
    let mut device = Device::new(PLACE, 3);
    device.origin = "http://localhost:81".to_owned();
    let refused = try_with(&device, |_| ()).await;
    assert_eq!(refused.status, 422);
    assert!(refused.main().contains("No passkey was made"), "{}", refused.main());
    assert_eq!(refused.attributes("#name", "value"), ["other"], "what was typed stays");
    device.origin = PLACE.to_owned();
    device.host = "example.org".to_owned();
    assert_eq!(try_with(&device, |_| ()).await.status, 422);
    device.host = "localhost".to_owned();
    let other = |question: &mut Value| question["challenge"] = text(&[7; 16]).into();
    assert_eq!(try_with(&device, other).await.status, 422);
    assert_eq!(try_with(&Device::new(PLACE, 1), |_| ()).await.status, 422, "its name is taken");
    assert_eq!(try_with(&known, |_| ()).await.status, 422, "it is there already");
    assert_eq!(audited(&app, "passkey.refused").await, 5);
    let answer = device.answers_uncounted(&serde_json::json!({ "challenge": text(&[7; 16]) })).to_string();
    let page = owner.get("/team/passkey").await;
    let refused = owner.submit(&page, "/team/passkey", &[("name", "other"), ("made", &answer)]).await;
    assert_eq!(refused.status, 422, "nothing was asked");
    let page = owner.get("/team/passkey").await;
    let empty = owner.submit(&page, "/team/passkey", &[("name", " "), ("made", "")]).await;
    assert!(empty.status == 422 && empty.main().contains("Please fill this in"), "{}", empty.main());
    assert_eq!(owner.asks(&page, "/team/passkey", "/team/passkey/new", &"a".repeat(41)).await.status, 422);
    assert_eq!(try_with(&device, |_| ()).await.status, 303, "and then it is");
}

#[tokio::test]
async fn it_can_be_the_first_second_factor_and_comes_with_recovery_codes() {
    let app = TestApp::made_with_owner(Made {
        second_factor: SecondFactor::Asked,
        base_url: Some(PLACE.to_owned()),
        ..Made::default()
    })
    .await;
    let (owner, elsewhere) = (app.visitor(), app.visitor());
    for her in [&owner, &elsewhere] {
        assert_eq!(her.gives_password(OWNER.0, OWNER.1).await.location().as_deref(), Some("/team/second-factor"));
    }
    assert_eq!(owner.get("/team/second-factor").await.link("Use a passkey instead"), "/team/passkey");
    let mut device = Device::new(PLACE, 4);
    let done = owner.adds_passkey(&device, "blue phone").await;
    let codes = done.all(".codes code");
    assert_eq!((done.status, codes.len()), (200, 10), "{}", done.main());
    assert_eq!(owner.get("/owner").await.status, 200);
    assert_eq!(elsewhere.get("/owner").await.location().as_deref(), Some("/team/sign-in"), "her other sessions end");

    let (her, page) = half_way_in(&app).await;
    assert!(page.main().contains("A recovery code") && !page.main().contains("Six digits"), "{}", page.main());
    assert_eq!(her.gives_code(&codes[0]).await.status, 303);
    let (her, _) = half_way_in(&app).await;
    assert_eq!(her.gives_passkey(&mut device).await.status, 303);

    // It is all that she has, so it stays until there is something else.
    let page = her.get("/desk/sign-in").await;
    assert!(page.main().contains("It is all that you have"), "{}", page.main());
    let (_, mut fields) = page.form("/desk/sign-in/codes");
    fields.push(("key".to_owned(), only_key(&app).await));
    assert_eq!(her.post("/desk/sign-in/passkeys", &fields).await.status, 409);
    her.sets_up_factor(&app).await;
    let page = her.get("/desk/sign-in").await;
    let gone = her.submit(&page, "/desk/sign-in/passkeys", &[]).await;
    assert_eq!(gone.location().as_deref(), Some("/desk/sign-in?removed="), "{}", gone.main());
}

/// The id of the one passkey that there is, as the page would send it.
async fn only_key(app: &TestApp) -> String {
    let mut c = app.app.db.read().await.unwrap();
    let owner = palpebra::store::accounts::by_mail(&mut c, OWNER.0).await.unwrap().unwrap();
    let keys = palpebra::store::passkeys::of_account(&mut c, &owner.member.account).await.unwrap();
    assert_eq!(keys.len(), 1);
    keys.first().unwrap().id.to_string()
}

#[tokio::test]
async fn one_that_is_removed_opens_nothing_and_her_other_sessions_end() {
    let (app, owner, mut device) = with_passkey().await;
    let her = app.visitor();
    her.gives_password(OWNER.0, OWNER.1).await;
    her.gives_passkey(&mut device).await;
    let (half, half_page) = half_way_in(&app).await;
    let question = asked(&half, &half_page).await;

    let page = owner.get("/desk/sign-in").await;
    let wrong = owner.submit(&page, "/desk/sign-in/passkeys", &[("key", NOBODY)]).await;
    assert_eq!(wrong.status, 404);
    app.app.clock.advance(Duration::minutes(11));
    let waits = owner.submit(&page, "/desk/sign-in/passkeys", &[]).await;
    assert_eq!((waits.status, waits.all("h1")), (422, vec!["Is it still you?".to_owned()]), "{}", waits.main());
    let gone = owner.submit(&waits, "/desk/sign-in/passkeys", &[("proof", OWNER.1)]).await;
    assert_eq!(gone.location().as_deref(), Some("/desk/sign-in?removed="), "{}", gone.main());
    assert!(!owner.get("/desk/sign-in").await.main().contains("blue phone"));
    assert_eq!(her.get("/owner").await.location().as_deref(), Some("/team/sign-in"));
    let answer = device.answers(&question).to_string();
    let late = half.submit(&half_page, "/team/code", &[("passkey", &answer)]).await;
    assert_eq!(late.location().as_deref(), Some("/team/sign-in"), "{}", late.main());
    let (_, page) = half_way_in(&app).await;
    assert!(page.attributes("[data-passkey]", "data-field").is_empty(), "{}", page.main());
    assert!(letters(&app).await.contains("the passkey “blue phone” was removed"));
    assert_eq!(audited(&app, "passkey.removed").await, 1);
}

#[tokio::test]
async fn a_passkey_proves_as_well_and_what_was_typed_goes_along() {
    let (app, owner, mut device) = with_passkey().await;
    app.app.clock.advance(Duration::minutes(11));
    let page = owner.get("/desk/sign-in").await;
    let waits = owner.submit(&page, "/desk/sign-in/codes", &[]).await;
    assert_eq!(waits.attributes("[data-passkey]", "data-field"), ["proof_passkey"], "{}", waits.main());
    let asks = async || owner.asks(&waits, "/desk/sign-in/codes", KNOWN, "").await.json();
    let mut wrong = device.answers(&asks().await);
    wrong["response"]["signature"] = text(&[0x30, 6, 2, 1, 1, 2, 1, 1]).into();
    let refused = owner.submit(&waits, "/desk/sign-in/codes", &[("proof_passkey", &wrong.to_string())]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.main().contains("That passkey wasn’t taken"), "{}", refused.main());
    assert!(!refused.source().contains("clientDataJSON"), "an answer is not kept");
    let answer = device.answers(&asks().await).to_string();
    let done = owner.submit(&waits, "/desk/sign-in/codes", &[("proof_passkey", &answer)]).await;
    assert_eq!(done.all(".codes code").len(), 10, "{}", done.main());
    assert_eq!(audited(&app, "proof.given").await, 1);
}

#[tokio::test]
async fn nobody_adds_one_to_an_old_session_or_for_somebody_else() {
    let (app, owner, mut device) = with_passkey().await;
    let page = owner.get("/team/passkey").await;
    app.app.clock.advance(Duration::minutes(11));
    let sent = Some("/team/prove?next=/team/passkey");
    assert_eq!(owner.get("/team/passkey").await.location().as_deref(), sent);
    assert_eq!(owner.asks(&page, "/team/passkey", "/team/passkey/new", "x").await.location().as_deref(), sent);
    assert_eq!(owner.submit(&page, "/team/passkey", &[("name", "x")]).await.location().as_deref(), sent);
    let (half, half_page) = half_way_in(&app).await;
    let kept = Some("/team/code");
    assert_eq!(half.get("/team/passkey").await.location().as_deref(), kept);
    assert_eq!(half.asks(&half_page, "/team/code", "/team/passkey/new", "x").await.location().as_deref(), kept);
    assert_eq!(half.gives_passkey(&mut device).await.status, 303);
    assert_eq!(app.visitor().get("/team/passkey").await.location().as_deref(), Some("/team/sign-in"));
    let forged = app.visitor().request(Method::POST, KNOWN).form(&[("csrf", "x")]).send().await.unwrap();
    assert_eq!(forged.status(), 303);
}

#[tokio::test]
async fn another_persons_key_is_nobodys_way_in() {
    let (app, owner, _) = with_passkey().await;
    let page = owner.get("/owner/practitioners").await;
    let made = owner.submit(&page, "/owner/practitioners", &[("name", "Noor Lindqvist")]).await.location().unwrap();
    let path = made.split('?').next().unwrap().to_owned();
    let (mail, password) = ("noor@studio.example.org", "seven slow blue kettles");
    app.visitor().is_given_sign_in(&owner, &path, mail, password).await;
    let (noor, mut hers) = (app.visitor(), Device::new(PLACE, 5));
    noor.gives_password(mail, password).await;
    assert_eq!(noor.adds_passkey(&hers, "red phone").await.all(".codes code").len(), 10);
    assert!(owner.get(&path).await.main().contains("Take her second factor away"));

    let (thief, page) = half_way_in(&app).await;
    is_refused(&thief, &page, &hers.answers(&asked(&thief, &page).await), "the practitioner's key, for the owner")
        .await;
    let listed = noor.get("/desk/sign-in").await;
    let (_, mut fields) = listed.form("/desk/sign-in/codes");
    fields.push(("key".to_owned(), only_key(&app).await));
    let taken = noor.post("/desk/sign-in/passkeys", &fields).await;
    assert_eq!(taken.status, 404, "the owner's is not hers to remove");

    let page = owner.get(&path).await;
    assert_eq!(owner.submit(&page, &format!("{path}/second-factor"), &[]).await.status, 303);
    assert_eq!(noor.gives_password(mail, password).await.location().as_deref(), Some("/team/second-factor"));
}

#[tokio::test]
async fn without_a_trusted_address_it_is_said_why_there_are_none() {
    let why = "begins with https://";
    for place in ["http://book.example.org", "http://127.0.0.1"] {
        let (second_factor, base_url) = (SecondFactor::Asked, Some(place.to_owned()));
        let app = TestApp::made_with_owner(Made { second_factor, base_url, ..Made::default() }).await;
        let owner = app.visitor();
        owner.gives_password(OWNER.0, OWNER.1).await;
        let page = owner.get("/team/passkey").await;
        assert!(page.status == 200 && page.main().contains(why), "{}", page.main());
        let set_up = owner.get("/team/second-factor").await;
        assert!(!set_up.main().contains("Use a passkey"), "{}", set_up.main());
        let asked = owner.asks(&set_up, "/team/second-factor", "/team/passkey/new", "blue phone").await;
        assert_eq!(asked.status, 409);
        owner.sets_up_factor(&app).await;
        assert!(owner.get("/desk/sign-in").await.main().contains(why));
    }
}

#[tokio::test]
async fn in_the_demo_there_are_none() {
    let app = TestApp::made_with_owner(Made { base_url: Some(PLACE.to_owned()), ..Made::default() }).await;
    let owner = app.owner().await;
    let page = owner.get("/team/passkey").await;
    assert!(page.main().contains("In this demonstration there are none"), "{}", page.main());
    let (_, token) = owner.get("/desk").await.form("/team/sign-out");
    assert_eq!(owner.post("/team/passkey", &token).await.status, 409);
    assert_eq!(owner.post("/team/passkey/new", &token).await.status, 409);
    assert_eq!(owner.post(KNOWN, &token).await.status, 409, "she has none to answer with");
}

#[tokio::test]
async fn there_are_ten_at_the_most_and_asking_has_an_end() {
    let (app, owner, _) = with_passkey().await;
    for called in 10..19 {
        assert_eq!(owner.adds_passkey(&Device::new(PLACE, called), "one more").await.status, 303, "{called}");
    }
    let page = owner.get("/team/passkey").await;
    assert_eq!(owner.asks(&page, "/team/passkey", "/team/passkey/new", "x").await.status, 409);
    let full = owner.submit(&page, "/team/passkey", &[("name", "x")]).await;
    assert!(full.status == 422 && full.main().contains("as many passkeys as there can be"), "{}", full.main());
    let (her, page) = half_way_in(&app).await;
    for _ in 0..30 {
        assert_eq!(asked(&her, &page).await["allowCredentials"].as_array().unwrap().len(), 10);
    }
    assert_eq!(her.asks(&page, "/team/code", KNOWN, "").await.status, 429);
}

/// How the library writes a public key for us to store: what was stored by this version has to be read by every later one.
#[tokio::test]
async fn a_key_is_stored_as_it_always_was() {
    let (app, _, device) = with_passkey().await;
    let (x, y) = device.public();
    let odd = y[31] & 1;
    let key = HEXUPPER.encode(&[&[1], x, &[odd], &[0, 0]].concat());
    let cells = app.dump().await;
    assert!(
        cells.contains(&key),
        "{key} {:#?}",
        cells.iter().filter(|cell| cell.contains(&key[2..66])).collect::<Vec<_>>()
    );
}
