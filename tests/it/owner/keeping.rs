//! How long records are kept, and what holds them longer.

use palpebra::actions::restriction;
use palpebra::domain::retention::{Class, Fate, Keeps, OnRequest, Term};
use palpebra::store::treatments::{Outcome, Start};
use palpebra::store::visits::Purpose;
use palpebra::store::{audit, retention, treatments};
use time::Duration;

use crate::support::app::NOW;
use crate::support::{NOBODY, TestApp};

#[tokio::test]
async fn a_period_is_followed_by_another_with_its_reason() {
    let app = TestApp::with_owner().await;
    let owner = app.owner().await;
    let home = owner.get("/owner/keeping").await;
    assert!(home.main().contains("7 years, from the last treatment"), "{}", home.main());
    assert!(home.main().contains("at least until they are 25"), "{}", home.main());
    let path = "/owner/keeping/terms/treated";
    let form = owner.get(path).await;
    for (field, value) in [("months", "0"), ("months", "601"), ("until_age", "17"), ("basis", " "), ("reason", "")] {
        let mut fields = vec![("reason", "Our insurer asks for it.")];
        fields.push((field, value));
        assert_eq!(owner.submit(&form, path, &fields).await.status, 422, "{field}={value}");
    }
    let fields = [("months", "120"), ("until_age", "28"), ("basis", "Policy, part 4."), ("reason", "A new policy.")];
    assert_eq!(owner.submit(&form, path, &fields).await.status, 303);
    let late = owner.submit(&form, path, &fields).await;
    assert_eq!(late.status, 409, "the form was opened before the change");
    let page = owner.get(path).await;
    for words in ["10 years", "A new policy.", "Policy, part 4.", "Came with the program", "7 years"] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    let mut c = app.app.db.read().await.unwrap();
    let versions = retention::versions(&mut c, Class::Treated).await.unwrap();
    assert_eq!(versions.len(), 2);
    assert_eq!(versions[0].term, Term { months: 120, until_age: Some(28) });
    let log = audit::list(&mut c, None, None, 1).await.unwrap();
    assert_eq!(log[0].detail, "treated: 84 months, minors to 25 → 120 months, minors to 28");
    assert_eq!(owner.get("/owner/keeping/terms/everything").await.status, 404);
}

#[tokio::test]
async fn no_period_is_rewritten_or_taken_away() {
    let app = TestApp::with_owner().await;
    let mut tx = app.app.db.write().await.unwrap();
    for sql in ["UPDATE retention SET months = 1", "DELETE FROM retention"] {
        let refused = sqlx::query(sql).execute(&mut *tx).await.unwrap_err();
        assert!(refused.to_string().contains("followed, not changed"), "{sql}: {refused}");
    }
}

#[tokio::test]
async fn a_treatment_that_was_begun_counts_also_when_nobody_recorded_it() {
    let (app, studio) = TestApp::with_studio().await;
    let at = NOW - Duration::days(500);
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    let mut tx = app.app.db.write().await.unwrap();
    let start = Start {
        verdict: "clear".to_owned(),
        readiness: "{}".to_owned(),
        reason: String::new(),
        started_by: "Liv Tannhauer".to_owned(),
        started_at: at,
    };
    treatments::add_start(&mut tx, &visit, &start).await.unwrap();
    tx.commit().await.unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let answer = restriction::answer(&mut c, &row, &studio.mia, NOW).await.unwrap().unwrap();
    let stays = |fate: Fate| matches!(fate, Fate::Stays { why: Keeps::Treatment, .. });
    assert!(matches!(answer, OnRequest::Restrict(fate) if stays(fate)), "{answer:?}");
}

#[tokio::test]
async fn a_hold_keeps_a_record_until_it_is_lifted() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    studio.treated(&studio.mia, &studio.lift, NOW - Duration::days(3000), Outcome::AsWished, &[&studio.lotion]).await;
    app.app.clock.advance(Duration::days(400));
    let owner_again = app.owner().await;
    let data = format!("/owner/clients/{}/data", studio.mia);
    let page = owner_again.get(&data).await;
    assert!(page.main().contains("May go. It was kept to"), "{}", page.main());
    assert_eq!(owner.get(&data).await.status, 303, "the old session has ended");

    let hold = format!("/owner/clients/{}/hold", studio.mia);
    assert_eq!(owner_again.submit(&page, &hold, &[("held_why", "  ")]).await.status, 422);
    assert_eq!(owner_again.submit(&page, &hold, &[("held_why", "Claim 77")]).await.status, 303);
    let page = owner_again.get(&data).await;
    assert!(page.main().contains("Stays until the hold on it is lifted"), "{}", page.main());
    let home = owner_again.get("/owner/keeping").await;
    assert!(home.main().contains("Mia Sandgren") && home.main().contains("Claim 77"), "{}", home.main());

    let lift = page.link("Lift it");
    let form = owner_again.get(&lift).await;
    assert_eq!(owner_again.submit(&form, &lift, &[]).await.status, 422);
    assert_eq!(owner_again.submit(&form, &lift, &[("why", "Settled")]).await.status, 303);
    assert_eq!(owner_again.submit(&form, &lift, &[("why", "Settled")]).await.status, 404, "it is lifted once");
    let page = owner_again.get(&data).await;
    assert!(page.main().contains("May go.") && page.main().contains("Settled"), "{}", page.main());
    let log = owner_again.get(&format!("/owner/audit?client={}", studio.mia)).await;
    assert!(log.main().contains("Hold set") && log.main().contains("Hold lifted"), "{}", log.main());
    assert!(!log.main().contains("Claim 77"), "a reason may tell of somebody's health");
    assert_eq!(owner_again.get(&format!("/owner/clients/{NOBODY}/data")).await.status, 404);

    let mut tx = app.app.db.write().await.unwrap();
    for sql in ["UPDATE hold SET why = 'x'", "UPDATE hold SET lifted_at = NULL, lifted_by = NULL, lifted_why = NULL"] {
        assert!(sqlx::query(sql).execute(&mut *tx).await.is_err(), "{sql}");
    }
}

#[tokio::test]
async fn an_open_report_of_a_reaction_holds_by_itself() {
    let (app, studio) = TestApp::with_studio().await;
    let at = NOW - Duration::hours(20);
    studio.treated(&studio.mia, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
    let owner = app.owner().await;
    let path = format!("/desk/clients/{}/reaction", studio.mia);
    let form = owner.get(&path).await;
    let treatment = form.attributes("select#treatment option", "value").remove(1);
    let fields = [("treatment", treatment.as_str()), ("day", "2026-03-01"), ("time", "18:30"), ("many-sign", "itch")];
    let reported = owner.submit(&form, &path, &fields).await;
    assert_eq!(reported.status, 303, "{}", reported.text());
    let page = owner.get(&format!("/owner/clients/{}/data", studio.mia)).await;
    assert!(page.main().contains("Stays until the report of a reaction is settled"), "{}", page.main());
}
