//! Who treats: names, weeks, sign-ins.

use palpebra::domain::ids::PractitionerId;
use palpebra::store::visits::Purpose;
use palpebra::store::{accounts, practitioners};
use time::Duration;

use super::{Desk, PASSWORD};
use crate::support::TestApp;
use crate::support::app::OWNER;

async fn week(desk: &Desk, id: &str) -> Vec<(u8, u16, u16)> {
    let id = PractitionerId::parse(id).unwrap();
    practitioners::hours(&mut desk.app.app.db.read().await.unwrap(), &id).await.unwrap()
}

#[tokio::test]
async fn a_week_with_breaks_is_stored_and_shown_again() {
    let desk = Desk::new().await;
    let path = desk.fill("/owner/practitioners", "/owner/practitioners", &[("name", " Noor  Lindqvist ")]).await;
    let id = path.rsplit('/').next().unwrap();
    assert_eq!(week(&desk, id).await, []);
    let fields = [("Monday", "13:30-18:00,9:00–12:30"), ("Sunday", "22:00-24:00"), ("name", "Noor Lind")];
    assert_eq!(desk.fill(&path, &path, &fields).await, path);
    assert_eq!(week(&desk, id).await, [(1, 540, 750), (1, 810, 1080), (7, 1320, 1440)]);
    let page = desk.owner.get(&path).await;
    let (_, shown) = page.form(&path);
    assert!(shown.contains(&("Monday".to_owned(), "09:00-12:30, 13:30-18:00".to_owned())), "{shown:?}");
    let list = desk.owner.get("/owner/practitioners").await.main();
    assert!(list.contains("Noor Lind") && list.contains("Monday, Sunday") && list.contains("None yet"), "{list}");
}

#[tokio::test]
async fn what_is_no_week_is_refused_beside_its_day() {
    let desk = Desk::new().await;
    let path = format!("/owner/practitioners/{}", desk.practitioner("Noor Lindqvist").await);
    for bad in ["9-12", "nine to five", "12:00-9:00", "9:00-12:00, 11:00-13:00", "9:00-25:00", "9:60-10:00"] {
        desk.refuse(&path, &path, &[("Wednesday", bad)], "Wednesday").await;
    }
    desk.refuse(&path, &path, &[("name", "")], "name").await;
    desk.refuse("/owner/practitioners", "/owner/practitioners", &[("name", &"n".repeat(101))], "name").await;
    assert_eq!(week(&desk, path.rsplit('/').next().unwrap()).await.len(), 14, "nothing was changed");
}

#[tokio::test]
async fn without_the_tick_she_cant_be_booked() {
    let desk = Desk::new().await;
    let id = desk.practitioner("Noor Lindqvist").await;
    let path = format!("/owner/practitioners/{id}");
    let page = desk.owner.get(&path).await;
    let (_, mut fields) = page.form(&path);
    fields.retain(|(name, _)| name != "active");
    assert_eq!(desk.owner.post(&path, &fields).await.status, 303);
    let all = practitioners::all(&mut desk.app.app.db.read().await.unwrap()).await.unwrap();
    assert_eq!(all.iter().map(|she| (she.id.as_str(), she.active)).collect::<Vec<_>>(), [(id.as_str(), false)]);
    assert!(desk.owner.get("/owner/practitioners").await.main().contains("Can’t be booked"));
}

#[tokio::test]
async fn she_signs_in_until_her_sign_in_is_switched_off() {
    let desk = Desk::new().await;
    let mail = "noor@studio.example.org";
    let (id, noor) = desk.member("Noor Lindqvist", mail).await;
    let path = format!("/owner/practitioners/{id}");
    assert_eq!(noor.get("/owner").await.status, 403, "she is signed in, and no owner");
    let page = desk.owner.get(&path).await;
    assert!(page.main().contains(mail) && page.main().contains("Switched on"), "{}", page.main());

    let access = format!("{path}/access");
    desk.fill(&path, &access, &[("access", "off")]).await;
    assert_eq!(noor.get("/owner").await.location().as_deref(), Some("/team/sign-in"), "her session ended");
    let visitor = desk.app.visitor();
    let page = visitor.get("/team/sign-in").await;
    let fields = [("mail", mail), ("password", PASSWORD)];
    assert_eq!(visitor.submit(&page, "/team/sign-in", &fields).await.status, 422);
    desk.fill(&path, &access, &[("access", "on")]).await;
    desk.app.app.clock.advance(time::Duration::minutes(1));
    assert_eq!(visitor.submit(&page, "/team/sign-in", &fields).await.status, 303);
}

/// The owner gives somebody new a sign-in: where her page is, and the password that is shown.
async fn gives_first_password(desk: &Desk, mail: &str) -> (String, String) {
    let path = format!("/owner/practitioners/{}", desk.practitioner("Noor Lindqvist").await);
    let page = desk.owner.get(&path).await;
    let shown = desk.owner.submit(&page, &format!("{path}/sign-in"), &[("mail", mail)]).await;
    assert!(shown.status == 200 && shown.main().contains("It is shown only now"), "{}", shown.main());
    (path, shown.all(".secret").concat())
}

#[tokio::test]
async fn a_first_password_lets_her_choose_her_own_and_nothing_else() {
    let (desk, mail) = (Desk::new().await, "noor@studio.example.org");
    let (path, first) = gives_first_password(&desk, mail).await;
    let after = desk.owner.get(&path).await;
    assert!(after.main().contains("First password, until") && !after.source().contains(&first), "{}", after.main());

    let noor = desk.app.member(mail, &first).await;
    for path in ["/desk", "/desk/password", "/team/second-factor", "/team/passkey", "/team/code"] {
        assert_eq!(noor.get(path).await.location().as_deref(), Some("/team/password"), "{path}");
    }
    let page = noor.get("/team/password").await;
    for refused in ["too short", &first] {
        let again = noor.submit(&page, "/team/password", &[("new", refused)]).await;
        assert_eq!(again.status, 422, "{refused}: {}", again.main());
    }
    let done = noor.submit(&page, "/team/password", &[("new", PASSWORD)]).await;
    assert_eq!(done.location().as_deref(), Some("/desk"));
    assert_eq!(noor.get("/desk").await.status, 200);
    assert_eq!(
        noor.get("/team/password").await.location().as_deref(),
        Some("/desk"),
        "she changes it with the old one"
    );
    assert_eq!(
        noor.post("/team/password", &page.form("/team/password").1).await.status,
        403,
        "of a session that ended"
    );
    assert!(desk.owner.get(&path).await.main().contains("Her own"));
    let visitor = desk.app.visitor();
    let page = visitor.get("/team/sign-in").await;
    let refused = visitor.submit(&page, "/team/sign-in", &[("mail", mail), ("password", &first)]).await;
    assert_eq!(refused.status, 422, "it is used up");
}

#[tokio::test]
async fn a_first_password_ends_after_three_days_and_looks_like_a_wrong_one() {
    let (desk, mail) = (Desk::new().await, "noor@studio.example.org");
    let (path, first) = gives_first_password(&desk, mail).await;
    let clock = &desk.app.app.clock;
    clock.advance(time::Duration::days(3) - time::Duration::SECOND);
    desk.app.member(mail, &first).await;
    clock.advance(time::Duration::SECOND);
    let visitor = desk.app.visitor();
    let page = visitor.get("/team/sign-in").await;
    let late = visitor.submit(&page, "/team/sign-in", &[("mail", mail), ("password", &first)]).await;
    let wrong = visitor.submit(&page, "/team/sign-in", &[("mail", mail), ("password", "quiet green lamps")]).await;
    assert_eq!((late.status, late.main()), (422, wrong.main()));
    let owner = desk.app.owner().await;
    assert!(owner.get(&path).await.main().contains("First password, ended unused"));
}

#[tokio::test]
async fn a_new_first_password_ends_her_sessions() {
    let desk = Desk::new().await;
    let mail = "noor@studio.example.org";
    let (id, noor) = desk.member("Noor Lindqvist", mail).await;
    let path = format!("/owner/practitioners/{id}");
    let page = desk.owner.get(&path).await;
    let shown = desk.owner.submit(&page, &format!("{path}/password"), &[]).await;
    assert_eq!(noor.get("/desk").await.location().as_deref(), Some("/team/sign-in"));
    let again = desk.app.member(mail, &shown.all(".secret").concat()).await;
    assert_eq!(again.get("/desk").await.location().as_deref(), Some("/team/password"));
}

#[tokio::test]
async fn a_mail_signs_one_person_in() {
    let desk = Desk::new().await;
    let (_, _) = desk.member("Noor Lindqvist", "noor@studio.example.org").await;
    let other = format!("/owner/practitioners/{}", desk.practitioner("Ida Quell").await);
    let action = format!("{other}/sign-in");
    for (mail, field) in [("NOOR@studio.example.org", "mail"), (OWNER.0, "mail"), ("no at sign", "mail"), ("", "mail")]
    {
        desk.refuse(&other, &action, &[("mail", mail)], field).await;
    }
    let good = ("mail", "ida@studio.example.org");
    let page = desk.owner.get(&other).await;
    let (_, fields) = page.form(&action);
    assert_eq!(desk.owner.submit(&page, &action, &[good]).await.status, 200);
    let again: Vec<_> = fields
        .into_iter()
        .map(|(name, value)| match name.as_str() {
            "mail" => (name, "second@studio.example.org".to_owned()),
            _ => (name, value),
        })
        .collect();
    assert_eq!(desk.owner.post(&action, &again).await.status, 409, "she has one already");
}

#[tokio::test]
async fn the_owner_may_be_a_practitioner_and_keeps_her_sign_in() {
    let desk = Desk::new().await;
    let id = desk.practitioner("Runa Ostfeld").await;
    let path = format!("/owner/practitioners/{id}");
    let me = format!("{path}/me");
    desk.fill(&path, &me, &[("me", "yes")]).await;
    let mine = PractitionerId::parse(&id).unwrap();
    let account = accounts::of_practitioner(&mut desk.app.app.db.read().await.unwrap(), &mine).await.unwrap().unwrap();
    assert_eq!(account.mail, OWNER.0);
    assert!(desk.owner.get(&path).await.main().contains("This is you"));
    let (_, token) = desk.owner.get("/owner").await.form("/team/sign-out");
    let with = |name: &str, value: &str| [&token[..], &[(name.to_owned(), value.to_owned())]].concat();
    assert_eq!(desk.owner.post(&format!("{path}/access"), &with("access", "off")).await.status, 404);
    assert_eq!(desk.owner.post(&format!("{path}/password"), &with("password", PASSWORD)).await.status, 404);
    let other = format!("/owner/practitioners/{}", desk.practitioner("Ida Quell").await);
    assert_eq!(desk.owner.post(&format!("{other}/me"), &with("me", "yes")).await.status, 409, "she is one only");
    desk.fill(&path, &me, &[("me", "no")]).await;
    assert!(desk.owner.get(&path).await.main().contains("Are you Runa Ostfeld?"));
}

#[tokio::test]
async fn whoever_can_t_be_booked_any_more_and_a_room_out_of_use_show_what_is_booked_with_them() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let her = format!("/owner/practitioners/{}", studio.liv);
    let room = format!("/owner/rooms/{}", studio.room);
    for days in [3, -3] {
        let at = app.app.clock.now() + Duration::days(days);
        studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    }
    let said = [(&her, "1 visit is booked with her"), (&room, "1 visit is booked here")];
    for (path, words) in said {
        let page = owner.get(path).await;
        assert!(!page.main().contains(words), "{path}: {}", page.main());
        assert_eq!(owner.submit(&page, path, &[("active", "")]).await.status, 303, "{path}");
        assert!(owner.get(path).await.main().contains(words), "{path}: {}", owner.get(path).await.main());
    }
    assert!(owner.get("/owner/rooms").await.main().contains("1 visit is booked here"));
}
