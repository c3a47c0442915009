//! The numbers behind a client's windows.

use palpebra::actions::case::Known;
use palpebra::domain::growth::{Count, CycleSet, LiftHistory, PersonalFit, Prior, Share};
use palpebra::domain::ids::TreatmentId;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::window::{GrowthRule, window_range};
use palpebra::store::audit;
use palpebra::store::treatments::{self, Outcome};
use time::macros::{date, datetime};
use time::{Date, OffsetDateTime};

use crate::support::studio::{LIV, NOOR};
use crate::support::{Html, Studio, TestApp};

const FIRST: OffsetDateTime = datetime!(2025-12-15 09:00 UTC);
const SECOND: OffsetDateTime = datetime!(2026-02-02 09:00 UTC);
/// The day of the support's clock.
const TODAY: Date = date!(2026 - 03 - 02);

async fn lifted_twice() -> (TestApp, Studio, TreatmentId) {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, FIRST, Outcome::AsWished, &[&studio.lotion]).await;
    let second = studio.treated(&studio.mia, &studio.lift, SECOND, Outcome::AsWished, &[&studio.lotion]).await;
    (app, studio, second)
}

/// A corrected version that has a count.
async fn count(app: &TestApp, id: &TreatmentId, seen: u16, lifted: u16) {
    let mut tx = app.app.db.write().await.unwrap();
    let mut version = treatments::get(&mut tx, id).await.unwrap().unwrap().versions.remove(0);
    version.version += 1;
    version.count = Some((seen, lifted));
    version.reason = "the count was left out".to_owned();
    treatments::add_version(&mut tx, id, &version).await.unwrap();
    tx.commit().await.unwrap();
}

async fn page(app: &TestApp, studio: &Studio, query: &str) -> Html {
    let liv = app.member(LIV.0, LIV.1).await;
    liv.get(&format!("/desk/clients/{}/growth{query}", studio.mia)).await
}

fn percent(share: Share) -> String {
    format!("{:.1} %", share.get() * 100.0)
}

fn history() -> LiftHistory {
    LiftHistory::parse(vec![FIRST.date(), SECOND.date()], TODAY).unwrap()
}

#[tokio::test]
async fn shares_windows_and_their_basis_are_the_models() {
    let (app, studio, _) = lifted_twice().await;
    let page = page(&app, &studio, "?on=2026-03-25").await;
    assert_eq!(page.status, 200, "{}", page.text());
    let cycle = CycleSet::default();
    let rows = page.all("[aria-labelledby=shares] tbody tr");
    assert_eq!(rows.len(), 3, "{rows:?}");
    for (row, m) in rows.iter().zip([1, 1, 2]) {
        for day in [TODAY, date!(2026 - 03 - 25)] {
            let share = percent(cycle.carrying(&history(), m, day));
            assert!(row.contains(&share), "{row} lacks {share}");
        }
    }
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let known = Known::load(&mut c, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    let window = known.window(app.app.clock.now(), &[]).unwrap();
    let contributors = page.all("[aria-labelledby=why-1] tbody tr");
    assert_eq!(contributors.len(), window.contributors().len());
    for (row, one) in contributors.iter().zip(window.contributors()) {
        assert!(row.contains(one.reason.to_string().trim_start_matches(char::is_alphabetic)), "{row}");
        assert!(row.contains(&palpebra::when::day(one.date)), "{row}");
        assert_eq!(row.ends_with("decides"), one == window.binding(), "{row}");
    }
    assert_eq!(page.all("figure svg[role=img] title"), ["Share of the lashes still lifted"]);
    let text = page.main();
    for words in [
        "observed",
        "90 days",
        "Thibaut",
        "sources disagree",
        "ever lowers the studio’s minimum",
        "Nothing has been counted",
    ] {
        assert!(text.contains(words), "{words} is not in {text}");
    }
}

#[tokio::test]
async fn counts_are_fitted_and_told_as_a_range() {
    let (app, studio, second) = lifted_twice().await;
    count(&app, &second, 60, 33).await;
    let page = page(&app, &studio, "").await;
    let rule = GrowthRule::default();
    let count = Count::parse(33, 60, &history(), SECOND.date()).unwrap();
    let fit = PersonalFit::new(rule.cycle(), Prior::default(), &[count], &[]).unwrap();
    let mean = fit.mean_days();
    let rows = page.all("[aria-labelledby=fit] tbody tr");
    let days = format!(" {:.0} days {:.0} days {:.0} days", mean.median, mean.low, mean.high);
    assert!(rows[0].ends_with(&days), "{rows:?}");
    let windows = window_range(history().days(), &rule, mean, &[]).unwrap().unwrap();
    for (row, day) in rows[1..].iter().zip([windows.median.opens(), windows.median.due(), windows.median.lapsed()]) {
        assert!(row.contains(&palpebra::when::day(day)), "{row} lacks {day}");
    }
    assert!(page.main().contains("Fitted to one count"), "{}", page.main());
    let share = percent(rule.cycle().with_mean(mean.median).unwrap().carrying(&history(), 1, TODAY));
    assert!(page.main().contains(&share), "the shares follow the fit");
}

#[tokio::test]
async fn a_count_after_a_lift_that_was_stopped_says_nothing_of_her_cycle() {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, FIRST, Outcome::Stopped, &[&studio.lotion]).await;
    let second = studio.treated(&studio.mia, &studio.lift, SECOND, Outcome::AsWished, &[&studio.lotion]).await;
    count(&app, &second, 60, 33).await;
    let text = page(&app, &studio, "").await.main();
    assert!(text.contains("Nothing has been counted") && text.contains("15 December 2025"), "{text}");
}

#[tokio::test]
async fn a_broken_balance_is_told_without_naming_the_answer() {
    let (app, studio, second) = lifted_twice().await;
    count(&app, &second, 60, 33).await;
    app.app.clock.advance(time::Duration::MINUTE);
    studio.answer(&studio.mia, &[("pregnant", Answer::Yes)]).await;
    let text = page(&app, &studio, "").await.main();
    assert!(text.contains("counts are not fitted: a health answer"), "{text}");
    assert!(!text.to_lowercase().contains("pregnan"), "{text}");
}

#[tokio::test]
async fn a_wait_from_an_answer_pushes_the_window_and_says_so() {
    let (app, studio, _) = lifted_twice().await;
    app.app.clock.advance(time::Duration::days(18));
    studio.answer(&studio.mia, &[("stye", Answer::Yes)]).await;
    let page = page(&app, &studio, "").await;
    let rows = page.all("[aria-labelledby=why-1] tbody tr");
    // 14 days from 20 March.
    let wait = rows.iter().find(|row| row.starts_with("A health answer asks to wait")).unwrap();
    assert!(wait.contains("Friday 3 April 2026"), "{rows:?}");
    assert!(!page.main().to_lowercase().contains("stye"));
}

#[tokio::test]
async fn odd_days_and_clients_without_lifts_are_answered() {
    let (app, studio, _) = lifted_twice().await;
    let refused = page(&app, &studio, "?on=27.3.2026").await;
    assert_eq!(refused.status, 422);
    assert!(refused.all(".error")[0].contains("2026-03-27"), "{}", refused.main());
    assert_eq!(refused.attributes("#on", "value"), ["27.3.2026"]);
    let before = page(&app, &studio, "?on=2025-12-14").await;
    assert!(before.main().contains("no lift before that day"), "{}", before.main());
    let new = studio.client("Ida Nylund", "ida@clients.example.org", date!(1990 - 01 - 01)).await;
    let owner = app.owner().await;
    let empty = owner.get(&format!("/desk/clients/{new}/growth")).await;
    assert!(empty.main().contains("No window yet") && empty.all("figure").is_empty(), "{}", empty.main());
}

#[tokio::test]
async fn only_who_treats_her_sees_it_and_it_is_written_down() {
    let (app, studio, _) = lifted_twice().await;
    let path = format!("/desk/clients/{}/growth", studio.mia);
    assert_eq!(app.visitor().get(&path).await.location().as_deref(), Some("/team/sign-in"));
    assert_eq!(app.member(NOOR.0, NOOR.1).await.get(&path).await.status, 404);
    assert_eq!(app.owner().await.get(&path).await.status, 200);
    assert_eq!(page(&app, &studio, "").await.status, 200);
    let owner = app.owner().await;
    for id in ["x", "aaaaaaaaaaaaaaaaaaaaaaaaaa"] {
        assert_eq!(owner.get(&format!("/desk/clients/{id}/growth")).await.status, 404);
    }
    let mut c = app.app.db.read().await.unwrap();
    let entries = audit::list(&mut c, Some(&studio.mia), None, 100).await.unwrap();
    let seen: Vec<&str> = entries.iter().filter(|e| e.action == "growth.seen").map(|e| e.actor_kind.as_str()).collect();
    assert_eq!(seen, ["practitioner", "owner"]);
}
