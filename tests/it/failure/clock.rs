//! A clock that jumps: forward, everything that should have ended has; back, nothing lasts longer and nobody is kept out.

use palpebra::jobs::{housekeeping, outbox};
use palpebra::store::audit;
use palpebra::store::sessions::{self, Holder};
use time::Duration;

use crate::support::TestApp;
use crate::support::app::OWNER;
use crate::support::booking::{first_slot, take_first};
use crate::support::studio::MIA;

#[tokio::test]
async fn when_it_goes_back_sessions_end_rather_than_last_longer() {
    let (app, _) = TestApp::with_studio().await;
    let (owner, mia) = (app.owner().await, app.client(MIA).await);
    app.app.clock.advance(-Duration::minutes(3));
    assert_eq!((owner.get("/desk").await.status, mia.get("/me").await.status), (200, 200), "a small step is no jump");
    app.app.clock.advance(-Duration::HOUR);
    assert_eq!(owner.get("/desk").await.location().as_deref(), Some("/team/sign-in"));
    assert_eq!(mia.get("/me").await.location().as_deref(), Some("/sign-in"));
    assert_eq!(app.owner().await.get("/desk").await.status, 200, "and she can sign in at once");
}

#[tokio::test]
async fn a_proof_from_the_future_counts_for_nothing() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/exports").await;
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("UPDATE session SET proved_at = proved_at + 86400").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let asked = owner.submit(&page, "/owner/exports", &[("scope", "everyone"), ("why", "x")]).await;
    assert_eq!((asked.status, asked.all("h1")), (422, vec!["Is it still you?".to_owned()]));
}

#[tokio::test]
async fn a_link_made_in_the_future_signs_nobody_in() {
    let (app, _) = TestApp::with_studio().await;
    let person = app.visitor();
    let page = person.get("/sign-in").await;
    person.submit(&page, "/sign-in", &[("mail", MIA)]).await;
    let link = app.mail_to(MIA).await.link("/sign-in/");
    app.app.clock.advance(-Duration::DAY);
    let page = person.get(&link).await;
    assert!(page.main().contains("This link has ended"), "{}", page.main());
    let (_, token) = person.get("/sign-in").await.form("/sign-in");
    let csrf: Vec<_> = token.into_iter().filter(|(name, _)| name == "csrf").collect();
    assert_eq!(person.post(&link, &csrf).await.status, 410);
    app.app.clock.advance(Duration::DAY);
    assert_eq!(person.post(&link, &csrf).await.status, 303, "when the clock is right again it is good");
}

#[tokio::test]
async fn codes_are_taken_again_when_the_clock_was_ahead_and_is_right_again() {
    let app = TestApp::empty_with_second_factor().await;
    app.app.clock.advance(Duration::days(2));
    let owner = app.visitor();
    let page = owner.get("/set-up").await;
    let mut fields = vec![("code", "the-code"), ("studio", "Studio Lidbogen"), ("zone", "Europe/Berlin")];
    fields.extend([("currency", "EUR"), ("name", "Runa Ostfeld"), ("mail", OWNER.0), ("password", OWNER.1)]);
    owner.submit(&page, "/set-up", &fields).await;
    let (phone, _) = owner.sets_up_factor(&app).await;
    app.app.clock.advance(-Duration::days(2));
    let her = app.visitor();
    her.gives_password(OWNER.0, OWNER.1).await;
    let code = phone.code(&app);
    assert_eq!(her.gives_code(&code).await.status, 303, "she is not kept out for two days");
    let again = app.visitor();
    again.gives_password(OWNER.0, OWNER.1).await;
    assert_eq!(again.gives_code(&code).await.status, 422, "and a code is still taken once");
}

#[tokio::test]
async fn limits_and_the_audit_go_on_when_it_goes_back() {
    let app = TestApp::with_owner().await;
    let visitor = app.visitor();
    let mut last = 0;
    for _ in 0..6 {
        last = visitor.gives_password(OWNER.0, "not the right one").await.status;
    }
    assert_eq!(last, 429);
    app.app.clock.advance(-Duration::days(30));
    assert_eq!(visitor.gives_password(OWNER.0, OWNER.1).await.status, 303, "nobody waits for a month");
    let mut c = app.app.db.read().await.unwrap();
    assert!(audit::verify(&mut c).await.unwrap().is_ok(), "the chain goes by number, not by time");
    let rows = audit::list(&mut c, None, None, 50).await.unwrap();
    assert!(rows.windows(2).all(|pair| pair[0].seq > pair[1].seq) && rows[0].at < rows[rows.len() - 1].at);
}

#[tokio::test]
async fn when_it_goes_forward_what_should_have_ended_has() {
    let (app, studio) = TestApp::with_studio().await;
    let (owner, person) = (app.owner().await, app.visitor());
    let held = take_first(&person, studio.lift.as_str()).await;
    let slot = first_slot(&app.visitor().get(&format!("/services/{}", studio.lift)).await);
    app.app.clock.advance(Duration::days(400));
    assert_eq!(owner.get("/desk").await.status, 303);
    housekeeping::sweep(&app.app).await.unwrap();
    let gone = person.submit(&held, "/book/", &[]).await;
    assert!(matches!(gone.status, 303 | 404 | 409 | 422), "{}", gone.status);
    let page = app.visitor().get(&format!("/services/{}", studio.lift)).await;
    assert!(page.status == 200 && !page.attributes("button.slot", "value").contains(&slot), "times of then are past");
    let mut c = app.app.db.read().await.unwrap();
    let account = palpebra::store::accounts::by_mail(&mut c, OWNER.0).await.unwrap().unwrap().member.account;
    let now = app.app.clock.now();
    assert!(sessions::of(&mut c, &Holder::Account(account), now, now - Duration::days(900)).await.unwrap().is_empty());
}

#[tokio::test]
async fn mail_that_waits_leaves_once_however_the_clock_jumps() {
    let (app, _) = TestApp::with_studio().await;
    let person = app.visitor();
    let page = person.get("/sign-in").await;
    person.submit(&page, "/sign-in", &[("mail", MIA)]).await;
    for jump in [-Duration::days(1), Duration::days(2), -Duration::days(1), Duration::days(400)] {
        app.app.clock.advance(jump);
        while outbox::step(&app.app).await.unwrap() != outbox::Step::Empty {}
    }
    assert_eq!(app.mails().await.len(), 1);
}
