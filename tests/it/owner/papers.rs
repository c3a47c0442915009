//! Certificates and the insurance policy: kept, warned of in time, and followed by bookings once the studio says so.

use std::collections::BTreeSet;

use palpebra::actions::diary::{Between, Diary};
use palpebra::actions::papers;
use palpebra::domain::ids::PractitionerId;
use palpebra::domain::schedule::free_times;
use palpebra::store::catalogue;
use palpebra::store::treatments::Outcome;
use time::macros::date;
use time::{Date, Duration};

use crate::documents::upload::jpeg;
use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA};
use crate::support::{Html, Person, Studio, TestApp};

const PAGE: &str = "/owner/papers";

pub(super) async fn add(owner: &Person, whose: &str, services: &[&str], expires: &str, file: Option<&[u8]>) -> Html {
    let page = owner.get(PAGE).await;
    let mut fields = vec![
        ("whose".to_owned(), whose.to_owned()),
        ("number".to_owned(), "C-1207".to_owned()),
        ("issuer".to_owned(), "Invented School".to_owned()),
        ("expires".to_owned(), expires.to_owned()),
    ];
    fields.extend(services.iter().map(|id| ("many-services".to_owned(), (*id).to_owned())));
    owner.send(&page, PAGE, &fields, file).await
}

async fn follow(owner: &Person, keeps: &str) {
    let page = owner.get(PAGE).await;
    assert_eq!(owner.submit(&page, "/owner/papers/rule", &[("keeps", keeps)]).await.status, 303);
}

/// On how many days each of the two has a free time for a lift, and the last of Noor's.
async fn free(studio: &Studio, app: &TestApp) -> (usize, usize, Option<Date>) {
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let service = catalogue::service(&mut c, &studio.lift).await.unwrap().unwrap();
    let diary = Diary::load(&mut c, &row, &service, NOW, None).await.unwrap();
    let days = |who: &PractitionerId| -> BTreeSet<Date> {
        diary.search(diary.service, &Between::default(), |search| {
            let times = free_times(search).into_iter().filter(|time| time.practitioners().any(|one| one == who));
            times.map(|time| time.civil.date()).collect()
        })
    };
    let (liv, noor) = (days(&studio.liv), days(&studio.noor));
    (liv.len(), noor.len(), noor.last().copied())
}

#[tokio::test]
async fn a_new_studio_is_not_blocked_and_one_that_follows_certificates_is_held_to_them() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let before = free(&studio, &app).await;
    assert!(before.0 > 20 && before.1 > 20, "nothing is asked for yet: {before:?}");
    let noor = studio.noor.as_str();
    assert_eq!(add(&owner, noor, &[studio.lift.as_str()], "2026-03-12", Some(&jpeg())).await.status, 303);
    assert_eq!(free(&studio, &app).await, before);
    follow(&owner, "yes").await;
    let (liv, noor_days, last) = free(&studio, &app).await;
    assert_eq!((liv, last), (0, Some(date!(2026 - 03 - 12))), "it holds on its last day, and Liv has none");
    assert!(noor_days > 5, "{noor_days}");
    let page = owner.get(PAGE).await;
    assert!(page.main().contains("Liv Tannhauer: Lash lift"), "{}", page.main());
    assert_eq!(add(&owner, noor, &[studio.lift.as_str()], "", Some(&jpeg())).await.status, 303);
    assert_eq!(free(&studio, &app).await.2, before.2, "the one without an end counts");
    let ended = [studio.lift.as_str()];
    assert_eq!(add(&owner, studio.liv.as_str(), &ended, "2026-03-01", Some(&jpeg())).await.status, 303);
    assert_eq!(free(&studio, &app).await.0, 0, "hers has ended");
    follow(&owner, "").await;
    assert_eq!(free(&studio, &app).await, before);
}

#[tokio::test]
async fn a_paper_is_checked_handed_over_and_removed() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let lift = studio.lift.as_str();
    for (whose, services, expires, file, field) in [
        ("", vec![lift], "", Some(jpeg()), "whose"),
        (crate::support::NOBODY, vec![lift], "", Some(jpeg()), "whose"),
        ("policy", vec![], "", Some(jpeg()), "many-services"),
        ("policy", vec![lift], "soon", Some(jpeg()), "expires"),
        ("policy", vec![lift], "", None, "file"),
        ("policy", vec![lift], "", Some(b"MZ no paper".to_vec()), "file"),
    ] {
        let page = add(&owner, whose, &services, expires, file.as_deref()).await;
        assert_eq!(page.status, 422, "{field}");
        assert_eq!(page.attributes(".summary a", "href"), [format!("#{field}")]);
    }
    assert_eq!(add(&owner, "policy", &[lift], "2026-12-31", Some(&jpeg())).await.status, 303);
    let page = owner.get(PAGE).await;
    let row = page.all("tbody tr").concat();
    assert!(row.starts_with("Insurance policyC-1207Invented SchoolLash liftThu 31 December 2026"), "{row}");
    let file = page.link("Fetch C-1207");
    assert_eq!(owner.get(&file).await.status, 200);
    assert_eq!(app.member(LIV.0, LIV.1).await.get(&file).await.status, 403);
    let remove = file.replace("/file", "/remove");
    assert_eq!(owner.submit(&page, &remove, &[]).await.status, 303);
    assert!(owner.get(PAGE).await.main().contains("None yet."));
    assert_eq!(owner.get(&file).await.status, 200, "what counted stays provable");
}

#[tokio::test]
async fn the_studio_is_told_once_before_a_paper_ends() {
    let (app, studio) = TestApp::with_studio().await;
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("UPDATE studio SET mail = 'hello@studio.example.org'").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let owner = app.owner().await;
    let ends = (date!(2026 - 03 - 02) + Duration::days(70)).to_string();
    add(&owner, "policy", &[studio.lift.as_str()], &ends, Some(&jpeg())).await;
    assert!(!papers::warn(&app.app).await.unwrap(), "it is too early");
    app.app.clock.advance(Duration::days(10));
    assert!(papers::warn(&app.app).await.unwrap());
    assert!(!papers::warn(&app.app).await.unwrap(), "once is enough");
    let letter = app.mail_to("hello@studio.example.org").await;
    assert_eq!(letter.0.letter.subject, "Papers of Studio Lidbogen end soon");
    let home = app.owner().await.get("/owner").await;
    assert!(home.main().contains("A certificate or the insurance policy ends soon or has ended."), "{}", home.main());
}

#[tokio::test]
async fn a_service_that_nobody_is_certified_for_is_not_offered_and_comes_back_with_a_certificate() {
    let (app, studio) = TestApp::with_studio().await;
    let (owner, visitor, mia) = (app.owner().await, app.visitor(), app.client(MIA).await);
    let path = format!("/services/{}", studio.lift);
    let offered = async |mia: &Person| {
        let listed = visitor.get("/").await.source().contains(&path);
        let page = visitor.get(&path).await.status;
        assert_eq!(page, if listed { 200 } else { 404 }, "the list and the page agree");
        (listed, mia.get("/me/return").await.source().contains(&path))
    };
    studio.treated(&studio.mia, &studio.lift, NOW - Duration::days(60), Outcome::AsWished, &[&studio.lotion]).await;
    assert_eq!(offered(&mia).await, (true, true), "a studio that doesn't follow certificates offers all that is given");
    let times = visitor.get(&path).await;
    follow(&owner, "yes").await;
    assert_eq!(offered(&mia).await, (false, false));
    // Whoever had the page open gets no further.
    let (action, fields) = times.form(&format!("{path}/hold"));
    let choice = times.attributes("button[name=choice]", "value").into_iter().next();
    let all: Vec<_> = fields.into_iter().chain(choice.map(|choice| ("choice".to_owned(), choice))).collect();
    assert_eq!(visitor.post(&action, &all).await.status, 404);
    let lift = [studio.lift.as_str()];
    add(&owner, "policy", &lift, "", Some(&jpeg())).await;
    assert_eq!(offered(&mia).await, (false, false), "a policy certifies nobody");
    add(&owner, studio.liv.as_str(), &[studio.lift_and_tint.as_str()], "", Some(&jpeg())).await;
    assert_eq!(offered(&mia).await, (false, false), "it names another service");
    add(&owner, studio.noor.as_str(), &lift, "2026-03-01", Some(&jpeg())).await;
    assert_eq!(offered(&mia).await, (false, false), "hers ended yesterday");
    add(&owner, studio.noor.as_str(), &lift, "2026-03-02", Some(&jpeg())).await;
    assert_eq!(offered(&mia).await, (true, true), "it holds on its last day");
    app.app.clock.advance(Duration::days(1));
    assert_eq!(offered(&mia).await, (false, false), "and not on the next");
    // Both sessions ended with the day.
    let (owner, mia) = (app.owner().await, app.client(MIA).await);
    add(&owner, studio.liv.as_str(), &lift, "", Some(&jpeg())).await;
    assert_eq!(offered(&mia).await, (true, true));
}
