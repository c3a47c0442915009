//! Signing in with a password: the same work for everybody, letters about what is new, one's own sessions.

use palpebra::actions::second_factor::forget;
use palpebra::domain::role::Actor;
use palpebra::mail::transport::Outgoing;
use palpebra::password::Passwords;
use palpebra::store::{accounts, second_factor};
use time::Duration;

use crate::support::app::OWNER;
use crate::support::studio::{LIV, MIA};
use crate::support::{Person, TestApp};

/// How many rows were written since the file was opened.
async fn rows_written(app: &TestApp) -> i64 {
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query_scalar("SELECT total_changes()").fetch_one(&mut *tx).await.unwrap()
}

/// What signing in costs: passwords hashed, and rows written.
async fn work(app: &TestApp, mail: &str) -> (u64, i64, u16, Vec<String>) {
    let person = app.visitor();
    let (runs, rows) = (app.app.passwords.runs(), rows_written(app).await);
    let answer = person.gives_password(mail, "not the right one at all").await;
    (app.app.passwords.runs() - runs, rows_written(app).await - rows, answer.status, answer.all(".summary"))
}

#[tokio::test]
async fn a_wrong_sign_in_is_the_same_work_for_a_mail_that_is_known_disabled_or_nobodys() {
    let (app, _) = TestApp::with_studio().await;
    let known = work(&app, OWNER.0).await;
    assert_eq!((known.0, known.1, known.2), (1, 1, 422), "one hash, one row in the audit");
    let mut tx = app.app.db.write().await.unwrap();
    let liv = accounts::by_mail(&mut tx, LIV.0).await.unwrap().unwrap().member.account;
    accounts::set_enabled(&mut tx, &liv, false, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    for mail in [LIV.0, "nobody@studio.example.org"] {
        assert_eq!(work(&app, mail).await, known, "{mail}");
    }
}

#[tokio::test]
async fn asking_for_a_link_is_the_same_work_whether_or_not_the_mail_is_a_clients() {
    let (app, _) = TestApp::with_studio().await;
    let mut asked = Vec::new();
    for mail in [MIA, "nobody@clients.example.org"] {
        let person = app.visitor();
        let page = person.get("/sign-in").await;
        let rows = rows_written(&app).await;
        let answer = person.submit(&page, "/sign-in", &[("mail", mail)]).await;
        asked.push((rows_written(&app).await - rows, answer.status, answer.main().replace(mail, "")));
    }
    assert_eq!(asked[0], asked[1]);
    let to: Vec<_> = app.mails().await.into_iter().map(|out| out.to).collect();
    assert_eq!(to, [MIA], "only she gets one");
    assert!(!app.dump().await.join("\n").contains("nobody@clients.example.org"), "nothing is kept of the other");
}

#[tokio::test]
async fn a_hash_of_old_costs_is_made_anew_when_its_password_comes_by() {
    let app = TestApp::with_owner().await;
    let stored = async || accounts::by_mail(&mut app.app.db.read().await.unwrap(), OWNER.0).await.unwrap().unwrap();
    let strong = Passwords::strong().hash(OWNER.1.to_owned()).await.unwrap();
    let mut tx = app.app.db.write().await.unwrap();
    let id = accounts::by_mail(&mut tx, OWNER.0).await.unwrap().unwrap().member.account;
    accounts::set_password(&mut tx, &id, &strong).await.unwrap();
    tx.commit().await.unwrap();
    app.visitor().gives_password(OWNER.0, "not the right one").await;
    assert_eq!(stored().await.password_hash, strong, "a wrong password changes nothing");
    app.owner().await;
    let renewed = stored().await.password_hash;
    assert!(renewed != strong && !app.app.passwords.is_outdated(&renewed), "{renewed}");
    app.owner().await;
    assert_eq!(stored().await.password_hash, renewed);
}

async fn signs_in(person: &Person) -> u16 {
    person.gives_password(OWNER.0, OWNER.1).await.status
}

#[tokio::test]
async fn a_new_browser_is_told_of_and_a_known_one_is_not() {
    let app = TestApp::with_owner().await;
    let (first, second) = (app.visitor(), app.visitor());
    assert_eq!((signs_in(&first).await, app.mails().await.len()), (303, 0), "there is nothing to compare with yet");
    assert_eq!((signs_in(&second).await, app.mails().await.len()), (303, 1));
    let letter = app.mail_to(OWNER.0).await.0.letter;
    assert!(letter.text.contains("a browser that it had not been used in before (a program)"), "{}", letter.text);
    assert!(letter.text.contains("Monday 2 March 2026, 09:00"), "{}", letter.text);
    for person in [&first, &second] {
        app.app.clock.advance(Duration::days(3));
        assert_eq!((signs_in(person).await, app.mails().await.len()), (303, 1));
    }
    assert_eq!(signs_in(&first).await, 303, "it is known for long, but signed in only for hours");
    let page = first.get("/desk/password").await;
    let fields = [("old", OWNER.1), ("new", "seven slow blue kettles")];
    assert_eq!(first.submit(&page, "/desk/password", &fields).await.status, 303);
    assert!(app.mail_to(OWNER.0).await.0.letter.text.contains("your password was changed"));
    assert_eq!(app.mails().await.len(), 2, "the browser itself is no news");
}

#[tokio::test]
async fn browsers_are_forgotten_with_whatever_ends_all_her_sign_ins() {
    let (app, studio) = TestApp::with_studio().await;
    let told = async || {
        let to_her = |out: &Outgoing| out.to == LIV.0 && out.letter.text.contains("a browser that it had not");
        app.mails().await.iter().filter(|out| to_her(out)).count()
    };
    let (here, there) = (app.member(LIV.0, LIV.1).await, app.member(LIV.0, LIV.1).await);
    assert_eq!(told().await, 1);
    let page = here.get("/desk/sign-in").await;
    here.submit(&page, "/team/sign-out-everywhere", &[]).await;
    here.gives_password(LIV.0, LIV.1).await;
    assert_eq!(told().await, 2, "not even the one is known in which she did it");
    there.gives_password(LIV.0, LIV.1).await;
    assert_eq!(told().await, 3);

    let new = "eight warm grey stones";
    let page = here.get("/desk/password").await;
    assert_eq!(here.submit(&page, "/desk/password", &[("old", LIV.1), ("new", new)]).await.status, 303);
    app.app.clock.advance(Duration::minutes(1));
    here.gives_password(LIV.0, new).await;
    assert_eq!(told().await, 3, "where she chose the password she is known");
    there.gives_password(LIV.0, new).await;
    assert_eq!(told().await, 4);

    let account = accounts::of_practitioner(&mut app.app.db.read().await.unwrap(), &studio.liv).await.unwrap().unwrap();
    let account = account.member.account;
    let mut tx = app.app.db.write().await.unwrap();
    second_factor::set(&mut tx, &account, &[7; 20], 0, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    assert!(forget(&app.app, &Actor::Command, &account).await.unwrap());
    here.gives_password(LIV.0, new).await;
    assert_eq!(told().await, 5);

    let owner = app.owner().await;
    let path = format!("/owner/practitioners/{}", studio.liv);
    let page = owner.get(&path).await;
    let first = owner.submit(&page, &format!("{path}/password"), &[]).await.all(".secret").concat();
    here.gives_password(LIV.0, &first).await;
    assert_eq!(told().await, 6);
    let page = owner.get("/owner/practitioners").await;
    owner.submit(&page, "/owner/practitioners/sign-outs", &[]).await;
    app.app.clock.advance(Duration::minutes(1));
    here.gives_password(LIV.0, &first).await;
    assert_eq!(told().await, 7);
}

#[tokio::test]
async fn a_browser_that_names_a_token_of_its_own_is_given_another() {
    let app = TestApp::with_owner().await;
    let person = app.visitor();
    let page = person.get("/team/sign-in").await;
    let (_, mut fields) = page.form("/team/sign-in");
    fields.retain(|(name, _)| name == "csrf");
    fields.extend([("mail", OWNER.0), ("password", OWNER.1)].map(|(name, value)| (name.to_owned(), value.to_owned())));
    let visit = page.headers["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let planted = "A".repeat(43);
    let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let request = http.post(format!("{}/team/sign-in", app.url)).header("cookie", format!("{visit}; known={planted}"));
    let answer = request.form(&fields).send().await.unwrap();
    assert_eq!(answer.status(), 303);
    let cookies: Vec<_> = answer.headers().get_all("set-cookie").iter().map(|c| c.to_str().unwrap()).collect();
    let known = cookies.iter().find(|cookie| cookie.starts_with("known=")).expect("a token of ours");
    assert!(!known.contains(&planted) && known.contains("HttpOnly") && known.contains("SameSite=Strict"), "{known}");
}

#[tokio::test]
async fn whoever_guesses_passwords_holds_no_known_browser_back() {
    let app = TestApp::with_owner().await;
    let (owner, thief) = (app.owner().await, app.visitor());
    let mut last = 0;
    for _ in 0..30 {
        last = thief.gives_password(OWNER.0, "not the right one").await.status;
    }
    assert_eq!(last, 429);
    assert_eq!(app.visitor().gives_password(OWNER.0, OWNER.1).await.status, 429, "a stranger's is held back");
    assert_eq!(signs_in(&owner).await, 303, "hers is not");
    let mut tries = 0;
    while owner.gives_password(OWNER.0, "not the right one").await.status != 429 {
        tries += 1;
    }
    assert!(tries < 10, "but it may not guess either: {tries}");
}

#[tokio::test]
async fn one_s_own_sessions_are_listed_and_ended_and_nobody_elses() {
    let (app, _) = TestApp::with_studio().await;
    let (here, there, liv) = (app.owner().await, app.owner().await, app.member(LIV.0, LIV.1).await);
    let page = here.get("/desk/sign-in").await;
    assert_eq!(page.all("#sessions ~ tbody tr").len(), 2, "{}", page.main());
    let hash = page.attributes("input[name=session]", "value");
    assert_eq!(hash.len(), 1, "there is no button for the session that one sits in");
    let (_, token) = liv.get("/desk/sign-in").await.form("/team/sign-out");
    let foreign = [token, vec![("session".to_owned(), hash[0].clone())]].concat();
    assert_eq!(liv.post("/desk/sign-in/end", &foreign).await.status, 404);
    assert_eq!(there.get("/desk").await.status, 200);
    assert_eq!(here.submit(&page, "/desk/sign-in/end", &[]).await.status, 303);
    assert_eq!(there.get("/desk").await.location().as_deref(), Some("/team/sign-in"));
    assert_eq!(here.get("/desk").await.status, 200);
}

#[tokio::test]
async fn a_client_sees_her_sessions_and_ends_one_and_nobody_elses() {
    let (app, studio) = TestApp::with_studio().await;
    studio.client("Zoë Birkholm", "zoe@clients.example.org", time::macros::date!(1988 - 02 - 03)).await;
    let (here, there) = (app.client(MIA).await, app.client(MIA).await);
    let zoe = app.client("zoe@clients.example.org").await;
    let page = here.get("/me/data").await;
    assert_eq!(page.all("#sessions ~ tbody tr").len(), 2, "{}", page.main());
    let hash = page.attributes("form[action=\"/me/data/end\"] input[name=session]", "value");
    assert_eq!(hash.len(), 1, "there is no button for the session that one sits in");
    let (_, token) = zoe.get("/me/data").await.form("/me/data/copy");
    let foreign = [token, vec![("session".to_owned(), hash[0].clone())]].concat();
    assert_eq!(zoe.post("/me/data/end", &foreign).await.status, 404);
    assert_eq!(there.get("/me").await.status, 200);
    assert_eq!(here.submit(&page, "/me/data/end", &[]).await.status, 303);
    assert_eq!(there.get("/me").await.location().as_deref(), Some("/sign-in"));
    assert_eq!((here.get("/me").await.status, zoe.get("/me").await.status), (200, 200));
}

#[tokio::test]
async fn the_owner_signs_everybody_out_but_herself() {
    let (app, _) = TestApp::with_studio().await;
    let (here, there) = (app.owner().await, app.owner().await);
    let (liv, mia) = (app.member(LIV.0, LIV.1).await, app.client(MIA).await);
    let page = here.get("/owner/practitioners").await;
    let done = here.submit(&page, "/owner/practitioners/sign-outs", &[]).await;
    let page = here.follow(done).await;
    assert!(page.source().contains("Everybody else is signed out."), "{}", page.main());
    assert_eq!(there.get("/owner").await.location().as_deref(), Some("/team/sign-in"));
    assert_eq!(liv.get("/desk").await.location().as_deref(), Some("/team/sign-in"));
    assert_eq!(mia.get("/me").await.location().as_deref(), Some("/sign-in"));
    assert!(here.get("/owner/audit").await.main().contains("Sign-out everybody 3"));
    // Nothing is barred: they sign in again.
    assert_eq!(app.member(LIV.0, LIV.1).await.get("/desk").await.status, 200);
}

#[tokio::test]
async fn of_more_than_twenty_sessions_the_oldest_ends() {
    let (app, _) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let mut all = Vec::new();
    for _ in 0..21 {
        app.app.clock.advance(time::Duration::seconds(61));
        all.push(app.owner().await);
    }
    let [first, second, .., last] = &all[..] else { panic!("there are 21") };
    assert_eq!(first.get("/owner").await.location().as_deref(), Some("/team/sign-in"));
    assert_eq!(second.get("/owner").await.status, 200);
    assert_eq!(last.get("/desk/sign-in").await.all("#sessions ~ tbody tr").len(), 20);
    assert_eq!(liv.get("/desk").await.status, 200, "hers are counted apart");
}
