//! The retouch list.

use std::collections::BTreeSet;

use palpebra::actions::case::Known;
use palpebra::domain::catalogue::Chemistry;
use palpebra::domain::consent::{Agreement, ConsentRecord, Offer, Signed, Tick, TypedName};
use palpebra::domain::ids::{ClientId, ConsentId};
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::skin_test::{TestResult, VoidCause};
use palpebra::store::health::StoredConsent;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{audit, health, skin_tests};
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA};
use crate::support::{Html, Studio, TestApp};

const LIFTED: OffsetDateTime = datetime!(2026-02-02 09:00 UTC);

/// Nine in the morning in Berlin.
fn go_to(app: &TestApp, day: Date) {
    let at = day.with_hms(7, 0, 0).unwrap().assume_utc();
    app.app.clock.advance(at - app.app.clock.now());
}

async fn list(app: &TestApp, query: &str) -> Html {
    let page = app.owner().await.get(&format!("/owner/retouch{query}")).await;
    assert_eq!(page.status, 200, "{}", page.text());
    page
}

async fn mia_lifted() -> (TestApp, Studio) {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, LIFTED, Outcome::AsWished, &[&studio.lotion]).await;
    (app, studio)
}

#[tokio::test]
async fn a_first_lift_goes_through_its_states_on_the_day() {
    let (app, _) = mia_lifted().await;
    // 46, 55 and 94 days after 2 February, as the default cycle and limits give them.
    for (day, state) in [
        (date!(2026 - 03 - 19), "Opens on Fri 20 March 2026"),
        (date!(2026 - 03 - 20), "Open; due on Sun 29 March 2026"),
        (date!(2026 - 03 - 28), "Open; due on Sun 29 March 2026"),
        (date!(2026 - 03 - 29), "Due since Sun 29 March 2026, today"),
        (date!(2026 - 05 - 06), "Due since Sun 29 March 2026, 38 days"),
        (date!(2026 - 05 - 07), "Lapsed on Thu 7 May 2026: counts as a first visit"),
    ] {
        go_to(&app, day);
        let page = list(&app, "").await;
        let rows = page.all("tbody tr");
        assert_eq!(rows.len(), 1, "{rows:?}");
        assert!(rows[0].contains(state), "{day}: {}", rows[0]);
        assert!(rows[0].contains("Mia Sandgren Lash lift"), "{}", rows[0]);
        assert!(rows[0].contains("Fri 20 March 2026 Until then more than 50 % of the lashes"), "{}", rows[0]);
        assert!(rows[0].contains("Mon 2 February 2026"), "{}", rows[0]);
    }
}

#[tokio::test]
async fn what_is_booked_is_told_and_can_be_left_out() {
    let (app, studio) = mia_lifted().await;
    assert!(list(&app, "?free=yes").await.main().contains("Mia"));
    studio
        .visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, datetime!(2026-03-10 09:00 UTC))
        .await;
    assert!(list(&app, "?free=yes").await.main().contains("Mia"), "a skin test is no return");
    let next = datetime!(2026-03-30 09:00 UTC);
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, next).await;
    let page = list(&app, "").await;
    assert!(page.all("tbody tr")[0].contains("Mon 30 March 2026, Lift and tint"), "{}", page.main());
    assert!(list(&app, "?free=yes").await.main().contains("Nobody fits"));
}

#[tokio::test]
async fn the_windows_are_those_that_everybody_else_is_shown() {
    let (app, studio) = mia_lifted().await;
    let tinted = LIFTED + Duration::days(20);
    studio.treated(&studio.mia, &studio.lift_and_tint, tinted, Outcome::LessThanWished, &[&studio.tint]).await;
    studio.treated(&studio.mia, &studio.lift, tinted + Duration::days(3), Outcome::Stopped, &[]).await;
    studio.treated(&studio.mia, &studio.lift, tinted + Duration::days(6), Outcome::AsWished, &[&studio.lotion]).await;
    let csv = app.owner().await.get("/owner/retouch/list.csv").await.source();
    let rows: Vec<&str> = csv.lines().skip(1).collect();
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let mut wanted = Vec::new();
    for (service, name) in [(&studio.lift, "Lash lift"), (&studio.lift_and_tint, "Lift and tint")] {
        let known = Known::load(&mut c, &row, Some(&studio.mia), service).await.unwrap();
        let window = known.window(app.app.clock.now(), &[]).unwrap();
        wanted.push(format!(
            "Mia Sandgren,{name},Not yet open,{},{},{},",
            window.opens(),
            window.due(),
            window.lapsed()
        ));
    }
    for line in &wanted {
        assert!(rows.iter().any(|row| row.starts_with(line)), "{line} is not in {csv}");
    }
    assert_eq!(rows.len(), wanted.len(), "nothing was on her when one was stopped: {csv}");
}

async fn sign(app: &TestApp, studio: &Studio, marketing: bool) {
    let now = app.app.clock.now();
    let mut tx = app.app.db.write().await.unwrap();
    let row = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
    let known = Known::load(&mut tx, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    let mut ticks = BTreeSet::from([Tick::Treatment, Tick::HealthData]);
    if marketing {
        ticks.insert(Tick::Marketing);
    }
    let offer = Offer {
        id: ConsentId::from_random(app.app.random.id()),
        subject: known.subject(),
        ticks,
        name: TypedName::parse("Mia Sandgren").unwrap(),
        drawing: None,
        guardian: None,
    };
    let stored = StoredConsent {
        id: offer.id.clone(),
        client: studio.mia.clone(),
        visit: None,
        text_version: known.in_force.consent.version(),
        answers: None,
        record: ConsentRecord::Signed(Box::new(Signed::sign(offer, now).unwrap())),
        given_at: now,
    };
    health::add_consent(&mut tx, &stored).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn whom_a_letter_may_reach_is_what_she_signed_last() {
    let (app, studio) = mia_lifted().await;
    let mut told = Vec::new();
    for marketing in [None, Some(true), Some(false), Some(true)] {
        if let Some(marketing) = marketing {
            sign(&app, &studio, marketing).await;
        }
        let listed = list(&app, "").await.all("tbody tr")[0].contains("May be mailed");
        let mut c = app.app.db.read().await.unwrap();
        let given = health::agreements(&mut c, &studio.mia).await.unwrap();
        let news = given.into_iter().find(|(tick, _)| *tick == Tick::Marketing).unwrap().1;
        assert_eq!(listed, matches!(news, Agreement::Given { .. }), "the list and her own page say the same");
        told.push(listed);
        app.app.clock.advance(Duration::MINUTE);
    }
    assert_eq!(told, [false, true, false, true]);
}

#[tokio::test]
async fn a_reaction_or_a_failed_test_blocks_only_what_needs_the_product() {
    for by_test in [true, false] {
        let (app, studio) = mia_lifted().await;
        let (applied, treated) = (NOW - Duration::days(8), NOW - Duration::days(4));
        let outcome = if by_test { Outcome::AsWished } else { Outcome::Reaction };
        studio.treated(&studio.mia, &studio.lift_and_tint, treated, outcome, &[&studio.tint]).await;
        studio.treated(&studio.mia, &studio.lift, treated + Duration::days(1), Outcome::AsWished, &[]).await;
        let result = if by_test { TestResult::ItchOrRaised } else { TestResult::NoVisibleChange };
        studio.tested(&studio.mia, applied, Some((result, applied + Duration::hours(50)))).await;
        let page = list(&app, "").await;
        let blocked: Vec<bool> = page.all("tbody tr").iter().map(|row| row.contains("Product blocked")).collect();
        let both: Vec<bool> = page.all("tbody tr").iter().map(|row| row.contains("Lift and tint")).collect();
        assert_eq!((blocked, both.len()), (both, 2), "{}", page.main());
    }
}

#[tokio::test]
async fn a_report_blocks_what_has_no_other_product_and_a_test_by_mistake_nothing() {
    let (app, studio) = mia_lifted().await;
    let told = async |app: &TestApp| {
        let row = list(app, "").await.all("tbody tr").remove(0);
        (row.contains("Product blocked"), row.contains("Open reaction"))
    };
    assert_eq!(told(&app).await, (false, false));
    studio.reacted(&studio.mia, (Level::Serious, State::Reported), None, &[&studio.lotion]).await;
    assert_eq!(told(&app).await, (true, true));
    studio.product("Mild Lotion", Chemistry::Lotion, None, "M-1").await;
    assert_eq!(told(&app).await, (false, true), "another lotion is left");

    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift_and_tint, LIFTED, Outcome::AsWished, &[&studio.tint]).await;
    let applied = NOW - Duration::days(8);
    let failed = Some((TestResult::ItchOrRaised, applied + Duration::hours(50)));
    let test = studio.tested(&studio.mia, applied, failed).await;
    assert_eq!(told(&app).await, (true, false));
    let mut tx = app.app.db.write().await.unwrap();
    skin_tests::void(&mut tx, &test, VoidCause::Mistake).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(told(&app).await, (false, false), "it was another client's");
}

async fn many(studio: &Studio, count: i64) -> Vec<ClientId> {
    let mut all = Vec::new();
    for n in 0..count {
        let id = studio.client(&format!("Client {n:02}"), "many@clients.example.org", date!(1990 - 01 - 01)).await;
        let at = datetime!(2025-10-01 08:00 UTC) + Duration::days(n * 2);
        studio.treated(&id, &studio.lift, at, Outcome::AsWished, &[]).await;
        all.push(id);
    }
    all
}

#[tokio::test]
async fn the_list_has_pages_filters_orders_and_a_search() {
    let (app, studio) = TestApp::with_studio().await;
    assert!(list(&app, "").await.main().contains("Nobody to write to yet"));
    many(&studio, 60).await;
    // Signing in is slowed, so the owner does it once.
    let owner = app.owner().await;
    let list = async |query: &str| owner.get(&format!("/owner/retouch{query}")).await;
    let first = list("").await;
    let names = |page: &Html| page.all("tbody th");
    // From 2 March, 55 to 93 days back lie between 29 November and 6 January, which is clients 30 to 48.
    assert_eq!(names(&first)[..3], ["Client 30", "Client 31", "Client 32"]);
    assert!(first.all("select[name=state] option").contains(&"Due (19)".to_owned()), "{}", first.main());
    assert_eq!((names(&first).len(), first.main().contains("60 lines, page 1 of 2")), (50, true));
    let second = owner.get(&first.link("Next page")).await;
    assert_eq!((names(&second).len(), names(&second).last().unwrap().as_str()), (10, "Client 00"), "lapsed longest");
    assert!(second.link("Previous page").contains("page=1"));
    assert_eq!(names(&list("?page=99").await).len(), 10, "past the end is the end");
    let due = list("?state=due&sort=name").await;
    assert_eq!((names(&due).len(), names(&due)[18].as_str()), (19, "Client 48"));
    let open = list("?state=open&sort=date").await;
    assert_eq!(names(&open), ["Client 49", "Client 50", "Client 51", "Client 52", "Client 53"]);
    let found = list("?q=%20cLIENT+5&state=not-yet").await;
    assert_eq!(names(&found), ["Client 54", "Client 55", "Client 56", "Client 57", "Client 58", "Client 59"]);
    let printed = owner.get(&first.link("All on one page")).await;
    assert_eq!(names(&printed).len(), 60);
    let csv = owner.get(&due.link("As a spreadsheet")).await;
    assert_eq!(csv.source().lines().count(), 20, "the filter goes along");
    assert_eq!(list("?state=nonsense&sort=x").await.all("tbody tr").len(), 50);
    assert_eq!(owner.get("/owner/retouch?page=x").await.status, 400);
}

#[tokio::test]
async fn the_spreadsheet_runs_nothing_that_a_stranger_typed() {
    let (app, studio) = TestApp::with_studio().await;
    let id = studio.client("=HYPERLINK(A1)", "odd@clients.example.org", date!(1990 - 01 - 01)).await;
    studio.treated(&id, &studio.lift, LIFTED, Outcome::AsWished, &[]).await;
    let csv = app.owner().await.get("/owner/retouch/list.csv").await;
    assert_eq!(csv.headers["content-type"], "text/csv; charset=utf-8");
    assert!(csv.headers["content-disposition"].to_str().unwrap().starts_with("attachment"));
    let source = csv.source();
    let row = source.lines().nth(1).unwrap();
    assert!(row.starts_with("'=HYPERLINK(A1),Lash lift,Not yet open,2026-03-20,2026-03-29,2026-05-07,"), "{row}");
}

#[tokio::test]
async fn only_the_owner_reads_it_and_each_reading_is_written_down() {
    let (app, studio) = mia_lifted().await;
    studio.consent(&studio.mia, &studio.lift).await;
    for path in ["/owner/retouch", "/owner/retouch/list.csv"] {
        assert_eq!(app.visitor().get(path).await.location().as_deref(), Some("/team/sign-in"));
        assert_eq!(app.client(MIA).await.get(path).await.location().as_deref(), Some("/team/sign-in"));
        assert_eq!(app.member(LIV.0, LIV.1).await.get(path).await.status, 403);
        assert_eq!(app.owner().await.get(path).await.status, 200);
    }
    let mut c = app.app.db.read().await.unwrap();
    let entries = audit::list(&mut c, None, None, 100).await.unwrap();
    let told = |action| entries.iter().filter(|entry| entry.action == action).count();
    assert_eq!((told("retouch.seen"), told("retouch.exported")), (1, 1));
}
