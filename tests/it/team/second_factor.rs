//! The second factor: set up first, asked for each time, never taken twice.

use axum::http::Method;
use palpebra::domain::role::Who;
use palpebra::web::routes;
use time::Duration;

use crate::support::app::OWNER;
use crate::support::phone::Phone;
use crate::support::{Person, TestApp, address};

const PASSWORD: &str = "seven slow blue kettles";
const MAIL: &str = "noor@studio.example.org";

/// Every page of the team sends her there and no further.
async fn is_kept_at(person: &Person, place: &str) {
    let mut tried = 0;
    let pages = routes::table().into_iter().filter(|route| route.method == Method::GET);
    for route in pages.filter(|route| matches!(route.who, Who::Practitioner | Who::Owner)) {
        let path = address(route.path, &[]);
        assert_eq!(person.get(&path).await.location().as_deref(), Some(place), "{path}");
        tried += 1;
    }
    assert!(tried > 20, "{tried}");
}

#[tokio::test]
async fn the_owner_sets_it_up_before_anything_else_and_needs_it_from_then_on() {
    let app = TestApp::empty_with_second_factor().await;
    let owner = app.visitor();
    let page = owner.get("/set-up").await;
    let mut fields = vec![("code", "the-code"), ("studio", "Studio Lidbogen"), ("zone", "Europe/Berlin")];
    fields.extend([("currency", "EUR"), ("name", "Runa Ostfeld"), ("mail", OWNER.0), ("password", OWNER.1)]);
    assert_eq!(owner.submit(&page, "/set-up", &fields).await.status, 303);
    is_kept_at(&owner, "/team/second-factor").await;

    let page = owner.visit("/owner").await;
    assert_eq!(page.attributes("svg.for-cameras", "role"), ["img"]);
    assert_eq!(page.all("code.secret"), owner.get("/team/second-factor").await.all("code.secret"), "it stays the same");
    let phone = Phone::with_secret_of(&page);
    let wrong = owner.submit(&page, "/team/second-factor", &[("code", "000000")]).await;
    assert_eq!(wrong.status, 422, "{}", wrong.main());
    let (_, token) = page.form("/team/second-factor");
    assert_eq!(owner.post("/team/second-factor/later", &token).await.status, 403, "the owner can't put it off");
    let code = phone.code(&app);
    let done = owner.submit(&page, "/team/second-factor", &[("code", &code)]).await;
    assert_eq!(done.all(".codes code").len(), 10, "{}", done.main());
    assert_eq!(owner.get("/owner").await.status, 200);

    let again = app.visitor();
    assert_eq!(again.gives_password(OWNER.0, OWNER.1).await.location().as_deref(), Some("/team/code"));
    is_kept_at(&again, "/team/code").await;
    assert_eq!(again.get("/team/second-factor").await.location().as_deref(), Some("/team/code"));
    let replayed = again.gives_code(&code).await;
    assert_eq!(replayed.status, 422, "the code that set it up is used up: {}", replayed.main());
    app.app.clock.advance(Duration::seconds(30));
    let code = phone.code(&app);
    assert_eq!(again.gives_code(&code).await.location().as_deref(), Some("/desk"));
    assert_eq!(again.get("/owner").await.status, 200);

    let other = app.visitor();
    other.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(other.gives_code(&code).await.status, 422, "nobody signs in with a code that was used");
    is_kept_at(&other, "/team/code").await;
}

#[tokio::test]
async fn a_recovery_code_signs_in_once_and_stands_nowhere_in_the_file() {
    let (app, _, _, codes) = TestApp::with_guarded_owner().await;
    let her = app.visitor();
    her.gives_password(OWNER.0, OWNER.1).await;
    let sloppy = codes[3].to_uppercase().replace('-', " ");
    assert_eq!(her.gives_code(&sloppy).await.location().as_deref(), Some("/desk"));
    assert!(her.get("/desk/sign-in").await.main().contains("9 left"));
    let letters = app.mails().await.into_iter().map(|out| out.letter.text).collect::<String>();
    assert!(
        letters.contains("a recovery code was used. 9 are left.") && letters.contains("a browser that"),
        "{letters}"
    );
    let again = app.visitor();
    again.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(again.gives_code(&codes[3]).await.status, 422);
    let cells = app.dump().await.join("\n").to_lowercase();
    for code in &codes {
        assert!(!cells.contains(code) && !cells.contains(&code.replace('-', "")), "{code}");
    }
}

#[tokio::test]
async fn new_recovery_codes_take_the_place_of_the_earlier_ones() {
    let (app, owner, _, old) = TestApp::with_guarded_owner().await;
    let page = owner.get("/desk/sign-in").await;
    let fresh = owner.submit(&page, "/desk/sign-in/codes", &[]).await.all(".codes code");
    assert_eq!(fresh.len(), 10);
    let her = app.visitor();
    her.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(her.gives_code(&old[0]).await.status, 422);
    assert_eq!(her.gives_code(&fresh[0]).await.status, 303);
}

/// The owner gives a practitioner a sign-in.
async fn practitioner(app: &TestApp, owner: &Person) -> String {
    let page = owner.get("/owner/practitioners").await;
    let made = owner.submit(&page, "/owner/practitioners", &[("name", "Noor Lindqvist")]).await.location().unwrap();
    let path = made.split('?').next().unwrap().to_owned();
    app.visitor().is_given_sign_in(owner, &path, MAIL, PASSWORD).await;
    path
}

#[tokio::test]
async fn a_practitioner_may_put_it_off_once() {
    let (app, owner, ..) = TestApp::with_guarded_owner().await;
    practitioner(&app, &owner).await;
    let noor = app.visitor();
    assert_eq!(noor.gives_password(MAIL, PASSWORD).await.location().as_deref(), Some("/team/second-factor"));
    is_kept_at(&noor, "/team/second-factor").await;
    let page = noor.get("/team/second-factor").await;
    assert_eq!(noor.submit(&page, "/team/second-factor/later", &[]).await.location().as_deref(), Some("/desk"));
    assert_eq!(noor.get("/desk").await.status, 200);
    assert!(noor.get("/desk/sign-in").await.main().contains("Not set up"));

    let again = app.visitor();
    assert_eq!(again.gives_password(MAIL, PASSWORD).await.location().as_deref(), Some("/team/second-factor"));
    let page = again.get("/team/second-factor").await;
    assert!(!page.main().contains("Not now"), "{}", page.main());
    let (_, token) = page.form("/team/second-factor");
    assert_eq!(again.post("/team/second-factor/later", &token).await.status, 403);
    again.sets_up_factor(&app).await;
    assert_eq!(again.get("/desk").await.status, 200);
    assert_eq!(noor.get("/desk").await.location().as_deref(), Some("/team/sign-in"), "her other sessions end");
}

#[tokio::test]
async fn the_owner_lets_a_practitioner_in_again_who_lost_her_phone() {
    let (app, owner, ..) = TestApp::with_guarded_owner().await;
    let path = practitioner(&app, &owner).await;
    let noor = app.visitor();
    noor.gives_password(MAIL, PASSWORD).await;
    noor.sets_up_factor(&app).await;
    app.app.clock.advance(Duration::minutes(1));
    let page = owner.get(&path).await;
    let done = owner.submit(&page, &format!("{path}/second-factor"), &[]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    assert_eq!(noor.get("/desk").await.status, 303, "her sessions end");
    assert!(app.mail_to(MAIL).await.0.letter.text.contains("your second factor was taken away"));
    assert_eq!(noor.gives_password(MAIL, PASSWORD).await.location().as_deref(), Some("/team/second-factor"));
    assert!(!owner.get(&path).await.main().contains("lost her phone"), "there is nothing left to take away");
}

#[tokio::test]
async fn whoever_guesses_codes_is_stopped_and_holds_nobody_else_back() {
    let (app, owner, phone, codes) = TestApp::with_guarded_owner().await;
    let mut refused = 0;
    for _ in 0..6 {
        let thief = app.visitor();
        app.app.clock.advance(Duration::minutes(1));
        thief.gives_password(OWNER.0, OWNER.1).await;
        let page = thief.get("/team/code").await;
        for guess in 0..6 {
            let tried = thief.submit(&page, "/team/code", &[("code", &format!("00000{guess}"))]).await;
            assert!(matches!(tried.status, 422 | 429), "{}", tried.status);
            refused += u32::from(tried.status == 429);
        }
    }
    assert_eq!(refused, 16, "five for each password, twenty an hour for the account");
    let page = owner.get("/desk").await;
    owner.submit(&page, "/team/sign-out", &[]).await;
    owner.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(owner.gives_code(&phone.code(&app)).await.status, 303, "her own browser is known");
    let elsewhere = app.visitor();
    elsewhere.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(elsewhere.gives_code(&codes[0]).await.status, 303, "and elsewhere a recovery code helps");
}

/// How many letters of those that left tell of wrong codes.
async fn told_of_wrong_codes(app: &TestApp) -> usize {
    app.mails().await.iter().filter(|out| out.letter.text.contains("the code after it was wrong several times")).count()
}

#[tokio::test]
async fn a_known_browser_guesses_no_codes_for_long_and_she_is_told() {
    let (app, thief, phone, codes) = TestApp::with_guarded_owner().await;
    let elsewhere = app.visitor();
    app.app.clock.advance(Duration::minutes(1));
    elsewhere.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(elsewhere.gives_code(&phone.code(&app)).await.status, 303);
    let mut tried = Vec::new();
    for half in 0..6 {
        app.app.clock.advance(Duration::minutes(1));
        assert_eq!(thief.gives_password(OWNER.0, OWNER.1).await.location().as_deref(), Some("/team/code"));
        let page = thief.get("/team/code").await;
        for guess in 0..5 {
            tried.push(thief.submit(&page, "/team/code", &[("code", &format!("00000{guess}"))]).await.status);
        }
        assert_eq!(told_of_wrong_codes(&app).await, 1, "after {half}");
    }
    assert_eq!(tried, [[422; 20].as_slice(), &[429; 10]].concat(), "twenty an hour");
    let page = elsewhere.get("/desk").await;
    elsewhere.submit(&page, "/team/sign-out", &[]).await;
    elsewhere.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(elsewhere.gives_code(&phone.code(&app)).await.status, 303, "another browser of hers is not held back");
    thief.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(thief.gives_code(&codes[0]).await.status, 303, "and a recovery code helps in this one");
    assert_eq!(told_of_wrong_codes(&app).await, 1, "one letter a day");
    app.app.clock.advance(Duration::DAY);
    let stranger = app.visitor();
    stranger.gives_password(OWNER.0, OWNER.1).await;
    let page = stranger.get("/team/code").await;
    for told in [1, 1, 1, 1, 2] {
        stranger.submit(&page, "/team/code", &[("code", "000000")]).await;
        assert_eq!(told_of_wrong_codes(&app).await, told, "whatever browser they are tried in");
    }
}

#[tokio::test]
async fn whoever_has_only_the_password_pushes_nobody_out() {
    let (app, owner, ..) = TestApp::with_guarded_owner().await;
    for _ in 0..21 {
        app.app.clock.advance(Duration::seconds(61));
        let asked = app.visitor().gives_password(OWNER.0, OWNER.1).await;
        assert_eq!(asked.location().as_deref(), Some("/team/code"));
    }
    assert_eq!(owner.get("/owner").await.status, 200);
}

#[tokio::test]
async fn a_first_factor_that_was_put_off_asks_a_session_that_rested_for_a_proof() {
    let (app, owner, ..) = TestApp::with_guarded_owner().await;
    practitioner(&app, &owner).await;
    let noor = app.visitor();
    noor.gives_password(MAIL, PASSWORD).await;
    let page = noor.get("/team/second-factor").await;
    assert_eq!(noor.submit(&page, "/team/second-factor/later", &[]).await.status, 303);
    app.app.clock.advance(Duration::minutes(11));
    let before = app.fingerprint().await;
    let page = noor.get("/team/second-factor").await;
    let phone = Phone::with_secret_of(&page);
    let asked = noor.submit(&page, "/team/second-factor", &[("code", &phone.code(&app))]).await;
    assert_eq!(asked.location().as_deref(), Some("/team/prove?next=/team/second-factor"), "{}", asked.main());
    assert_eq!(noor.get("/team/passkey").await.location().as_deref(), Some("/team/prove?next=/team/passkey"));
    assert_eq!(app.fingerprint().await, before, "whoever sits at her browser sets nothing up");
    let proof = noor.follow(asked).await;
    assert_eq!(noor.submit(&proof, "/team/prove", &[("proof", PASSWORD)]).await.status, 303);
    noor.sets_up_factor(&app).await;
}

#[tokio::test]
async fn a_new_password_leaves_the_factor_where_it_is() {
    let (app, owner, phone, _) = TestApp::with_guarded_owner().await;
    let new = "eight warm grey stones";
    let page = owner.get("/desk/password").await;
    let done = owner.submit(&page, "/desk/password", &[("old", OWNER.1), ("new", new)]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    app.app.clock.advance(Duration::minutes(1));
    let her = app.visitor();
    her.gives_password(OWNER.0, new).await;
    assert_eq!(her.get("/owner").await.status, 303, "the code comes first");
    assert_eq!(her.gives_code(&phone.code(&app)).await.status, 303);
    assert_eq!(her.get("/owner").await.status, 200);
}

#[tokio::test]
async fn another_app_takes_the_place_of_the_first() {
    let (app, owner, old, _) = TestApp::with_guarded_owner().await;
    app.app.clock.advance(Duration::minutes(11));
    let elsewhere = app.visitor();
    elsewhere.gives_password(OWNER.0, OWNER.1).await;
    elsewhere.gives_code(&old.code(&app)).await;
    assert_eq!(elsewhere.get("/owner").await.status, 200);
    app.app.clock.advance(Duration::minutes(1));
    let page = owner.get("/team/second-factor").await;
    let phone = Phone::with_secret_of(&page);
    let asked = owner.submit(&page, "/team/second-factor", &[("code", &phone.code(&app))]).await;
    assert_eq!(asked.location().as_deref(), Some("/team/prove?next=/team/second-factor"));
    let proof = owner.follow(asked).await;
    let back = owner.submit(&proof, "/team/prove", &[("proof", &old.code(&app))]).await;
    assert_eq!(back.location().as_deref(), Some("/team/second-factor"), "{}", back.main());
    owner.sets_up_factor(&app).await;
    assert_eq!(elsewhere.get("/owner").await.status, 303, "her other session is ended");
    app.app.clock.advance(Duration::minutes(1));
    elsewhere.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(elsewhere.gives_code(&old.code(&app)).await.status, 422);
    assert_eq!(elsewhere.gives_code(&phone.code(&app)).await.status, 303);
    let told = app.mails().await.into_iter().filter(|out| out.letter.text.contains("a browser that it had not"));
    assert_eq!(told.count(), 2, "and that browser is a new one again");
}

#[tokio::test]
async fn in_the_demo_it_is_off_and_the_page_says_so() {
    let app = TestApp::with_owner().await;
    let owner = app.owner().await;
    let page = owner.get("/team/second-factor").await;
    assert!(page.main().contains("In this demonstration it is off"), "{}", page.main());
    assert!(page.all("code.secret").is_empty());
    let (_, token) = owner.get("/desk").await.form("/team/sign-out");
    assert_eq!(owner.post("/team/second-factor", &token).await.status, 409);
}
