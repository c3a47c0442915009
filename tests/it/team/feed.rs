//! The address of a practitioner's calendar: made after a proof, told of, and ended with her sign-ins.

use palpebra::actions::second_factor::forget;
use palpebra::domain::role::Actor;
use palpebra::store::{accounts, second_factor};
use time::Duration;

use crate::support::studio::LIV;
use crate::support::{Html, Person, TestApp};

const LONG: Duration = Duration::minutes(11);

fn asks(page: &Html) -> bool {
    page.status == 422 && page.all("h1") == ["Is it still you?"]
}

/// Makes an address: its path.
async fn made(app: &TestApp, liv: &Person) -> String {
    let form = liv.get("/desk/feed").await;
    let page = liv.submit(&form, "/desk/feed/address", &[]).await;
    page.all(".notice code").remove(0).strip_prefix(&app.url).unwrap().to_owned()
}

async fn letter(app: &TestApp) -> String {
    app.mail_to(LIV.0).await.0.letter.text
}

#[tokio::test]
async fn an_address_is_made_and_a_calendar_set_only_after_a_proof_and_both_are_told_of() {
    let (app, _) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    app.app.clock.advance(LONG);
    let before = app.fingerprint().await;
    let form = liv.get("/desk/feed").await;
    let asked = liv.submit(&form, "/desk/feed/address", &[]).await;
    assert!(asks(&asked), "{}", asked.main());
    assert_eq!(app.fingerprint().await, before);
    let page = liv.submit(&asked, "/desk/feed/address", &[("proof", LIV.1)]).await;
    let path = page.all(".notice code").remove(0).strip_prefix(&app.url).unwrap().to_owned();
    assert_eq!(app.visitor().get(&path).await.status, 200);
    assert!(letter(&app).await.contains("an address was made at which a calendar program reads your visits"));

    app.app.clock.advance(LONG);
    let form = liv.get("/desk/feed").await;
    let asked = liv.submit(&form, "/desk/feed/outside", &[("url", "https://cal.example.org/a.ics")]).await;
    assert!(asks(&asked), "{}", asked.main());
    let set = liv.submit(&asked, "/desk/feed/outside", &[("proof", LIV.1)]).await;
    assert_eq!(set.status, 303, "{}", set.main());
    assert!(liv.get("/desk/feed").await.main().contains("cal.example.org"));
    assert!(letter(&app).await.contains("another calendar was set"), "{}", letter(&app).await);

    app.app.clock.advance(LONG);
    let form = liv.get("/desk/feed").await;
    let letters = app.mails().await.len();
    assert_eq!(
        liv.submit(&form, "/desk/feed/address", &[("end", "yes")]).await.status,
        303,
        "ending it waits for nothing"
    );
    assert_eq!(liv.submit(&form, "/desk/feed/outside", &[("remove", "yes")]).await.status, 303);
    assert_eq!((app.visitor().get(&path).await.status, app.mails().await.len()), (404, letters));
}

#[tokio::test]
async fn the_owner_s_address_ends_when_she_treats_no_longer() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/practitioners").await;
    let added = owner.submit(&page, "/owner/practitioners", &[("name", "Ida Quell")]).await.location().unwrap();
    let her = added.split('?').next().unwrap();
    let me = format!("{her}/me");
    assert_eq!(owner.submit(&owner.get(her).await, &me, &[("me", "yes")]).await.status, 303);
    let path = made(&app, &owner).await;
    assert_eq!(app.visitor().get(&path).await.status, 200);
    assert_eq!(owner.submit(&owner.get(her).await, &me, &[("me", "no")]).await.status, 303);
    assert_eq!(app.visitor().get(&path).await.status, 404, "she could not end it any more");
}

#[tokio::test]
async fn an_address_ends_with_whatever_ends_all_her_sign_ins_and_she_is_told() {
    let (app, studio) = TestApp::with_studio().await;
    let ended = async |path: &str| {
        assert_eq!(app.visitor().get(path).await.status, 404);
        let of_end = app.mails().await.into_iter().filter(|out| out.letter.text.contains("read your visits has ended"));
        assert!(of_end.clone().all(|out| out.to == LIV.0));
        of_end.count()
    };
    let liv = app.member(LIV.0, LIV.1).await;
    let path = made(&app, &liv).await;
    liv.submit(&liv.get("/desk/sign-in").await, "/team/sign-out-everywhere", &[]).await;
    assert_eq!(ended(&path).await, 1);

    let liv = app.member(LIV.0, LIV.1).await;
    let path = made(&app, &liv).await;
    let new = "eight warm grey stones";
    let page = liv.get("/desk/password").await;
    assert!(page.main().contains("calendar program"), "{}", page.main());
    liv.submit(&page, "/desk/password", &[("old", LIV.1), ("new", new)]).await;
    assert_eq!(ended(&path).await, 2);

    let path = made(&app, &liv).await;
    let account = accounts::of_practitioner(&mut app.app.db.read().await.unwrap(), &studio.liv).await.unwrap().unwrap();
    let account = account.member.account;
    let mut tx = app.app.db.write().await.unwrap();
    second_factor::set(&mut tx, &account, &[7; 20], 0, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    assert!(forget(&app.app, &Actor::Command, &account).await.unwrap());
    assert_eq!(ended(&path).await, 3);

    app.app.clock.advance(Duration::minutes(1));
    let owner = app.owner().await;
    let liv = app.member(LIV.0, new).await;
    let path = made(&app, &liv).await;
    let page = owner.get("/owner/practitioners").await;
    owner.submit(&page, "/owner/practitioners/sign-outs", &[]).await;
    assert_eq!(ended(&path).await, 4);

    let liv = app.member(LIV.0, new).await;
    let path = made(&app, &liv).await;
    let hers = format!("/owner/practitioners/{}", studio.liv);
    let page = owner.get(&hers).await;
    assert_eq!(owner.submit(&page, &format!("{hers}/password"), &[]).await.status, 200);
    assert_eq!(ended(&path).await, 5);
    owner.submit(&owner.get(&hers).await, &format!("{hers}/password"), &[]).await;
    assert_eq!(ended(&path).await, 5, "where there was none, nobody is told of one");
    assert!(owner.get("/owner/audit").await.main().contains("Feed ended"));
}
