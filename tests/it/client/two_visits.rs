//! A visit that lies too near to another that is booked.

use palpebra::actions::case::Known;
use palpebra::domain::ids::VisitId;
use palpebra::domain::verdict::{About, Verdict};
use palpebra::store::studio;
use palpebra::store::visits::{self, Purpose};
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use crate::support::booking::signs;
use crate::support::studio::{LIV, MIA, Studio};
use crate::support::{Html, Person, TestApp};

/// A first lift keeps the window closed for 46 days under the default cycle, until 2 May.
const BOOKED: OffsetDateTime = datetime!(2026-03-17 09:00 UTC);
const NAME: &str = "Mia Sandgren";
const LEFT_OUT: &str = "Days too near to your other visit are left out.";

async fn lift(studio: &Studio, at: OffsetDateTime) -> VisitId {
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await
}

/// Every day that a calendar offers, page after page.
async fn days(person: &Person, path: &str, first: &str) -> Vec<Date> {
    let mut found: Vec<Date> = Vec::new();
    let mut next = Some(format!("{path}{first}"));
    while let Some(at) = next {
        let page = person.get(&at).await;
        assert_eq!(page.status, 200, "{}", page.main());
        found.extend(page.attributes("button.slot", "value").iter().map(|value| moment(value).date()));
        let later = page.attributes("a.button.quiet", "href").into_iter().find(|href| href.contains("from="));
        next = later.map(|href| if href.starts_with('?') { format!("{path}{href}") } else { href });
    }
    found.dedup();
    found
}

fn moment(value: &str) -> OffsetDateTime {
    OffsetDateTime::from_unix_timestamp(value.split('.').next().unwrap().parse().unwrap()).unwrap()
}

fn at(studio: &Studio, at: OffsetDateTime) -> String {
    format!("{}.{}", at.unix_timestamp(), studio.liv)
}

#[tokio::test]
async fn what_is_too_near_to_a_booked_lift_is_neither_offered_nor_held() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = app.client(MIA).await;
    let path = format!("/services/{}", studio.lift);
    assert_eq!(days(&mia, &path, "").await[0], date!(2026 - 03 - 02));
    assert!(!mia.get(&path).await.main().contains(LEFT_OUT));
    lift(&studio, BOOKED).await;
    let page = mia.get(&path).await;
    assert!(page.main().contains(LEFT_OUT), "{}", page.main());
    // The second is a Saturday on which the studio works.
    assert_eq!(days(&mia, &path, "").await[0], date!(2026 - 05 - 02));
    let page = mia.get(&format!("{path}?from=2026-05-02")).await;
    for near in [datetime!(2026-03-18 09:00 UTC), datetime!(2026-03-03 09:00 UTC), datetime!(2026-04-30 09:00 UTC)] {
        let refused = mia.submit(&page, "/services/", &[("time", &at(&studio, near))]).await;
        assert_eq!(refused.status, 409, "{near}: {}", refused.main());
    }
    let visitor = app.visitor();
    assert_eq!(days(&visitor, &path, "").await[0], date!(2026 - 03 - 02), "others book as ever");
}

/// Holds a time of a lift; ends on the page to sign.
async fn held(mia: &Person, studio: &Studio, time: OffsetDateTime) -> Html {
    let page = mia.get(&format!("/services/{}", studio.lift)).await;
    let held = mia.submit(&page, "/services/", &[("time", &at(studio, time))]).await;
    let answers = mia.follow(held).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    mia.follow(next).await
}

#[tokio::test]
async fn of_two_that_are_filled_in_side_by_side_the_second_is_not_booked() {
    for (first, second) in [(BOOKED, BOOKED + Duration::DAY), (BOOKED + Duration::DAY, BOOKED)] {
        let (app, studio) = TestApp::with_studio().await;
        let mia = app.client(MIA).await;
        let one = held(&mia, &studio, first).await;
        let other = held(&mia, &studio, second).await;
        assert!(signs(&mia, &one, NAME).await.main().contains("Booked"));
        let late = signs(&mia, &other, NAME).await;
        assert!(late.main().contains("Choose another time"), "{}", late.main());
        assert!(late.main().contains(LEFT_OUT), "{}", late.main());
        let booked = visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
        assert_eq!(booked.iter().map(|visit| visit.starts_at).collect::<Vec<_>>(), [first]);
    }
}

#[tokio::test]
async fn a_visit_is_moved_freely_from_itself_but_not_near_to_another() {
    let (app, studio) = TestApp::with_studio().await;
    let visit = lift(&studio, BOOKED).await;
    let mia = app.client(MIA).await;
    let path = format!("/me/visits/{visit}/move");
    let all = days(&mia, &path, "").await;
    assert!(all.contains(&date!(2026 - 03 - 03)) && all.contains(&date!(2026 - 03 - 18)), "{all:?}");
    lift(&studio, datetime!(2026-05-02 08:00 UTC)).await;
    let page = mia.get(&path).await;
    assert!(page.main().contains(LEFT_OUT), "{}", page.main());
    let left = days(&mia, &path, "").await;
    let (before, after): (Vec<Date>, Vec<Date>) = left.into_iter().partition(|day| *day < date!(2026 - 05 - 02));
    assert_eq!(*before.last().unwrap(), date!(2026 - 03 - 17), "46 days before the other");
    assert_eq!(after[0], date!(2026 - 06 - 17), "and after it");
    let (_, mut fields) = mia.get("/me").await.form("/sign-out");
    fields.push(("time".to_owned(), at(&studio, datetime!(2026-03-18 09:00 UTC))));
    assert_eq!(mia.post(&path, &fields).await.status, 409);
}

#[tokio::test]
async fn the_desk_leaves_the_same_days_out() {
    let (app, studio) = TestApp::with_studio().await;
    lift(&studio, BOOKED).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/book?client={}&service={}&day=2026-03-02", studio.mia, studio.lift);
    let page = liv.get(&path).await;
    assert!(page.main().contains("Days too near to her other visit are left out."), "{}", page.main());
    assert!(page.all(".slot-day h3")[0].starts_with("Saturday 2 May 2026"), "{:?}", page.all(".slot-day h3"));
    let near = at(&studio, datetime!(2026-03-18 09:00 UTC));
    assert_eq!(liv.submit(&page, "/desk/book/time", &[("time", &near)]).await.status, 409);
}

#[tokio::test]
async fn the_later_of_two_that_stand_too_near_is_judged_by_the_one_before_it() {
    let (app, studio) = TestApp::with_studio().await;
    let first = lift(&studio, BOOKED).await;
    let second = lift(&studio, BOOKED + Duration::DAY).await;
    let mut c = app.app.db.read().await.unwrap();
    let settings = studio::get(&mut c).await.unwrap().unwrap();
    let now = app.app.clock.now();
    let mut windows: Vec<Vec<Verdict>> = Vec::new();
    for id in [&first, &second] {
        let visit = visits::get(&mut c, id).await.unwrap().unwrap();
        let known = Known::of_visit(&mut c, &settings, &visit).await.unwrap();
        let reasons = known.readiness(visit.starts_at, now).reasons.into_iter();
        windows.push(reasons.filter(|reason| reason.about == About::Window).map(|reason| reason.verdict).collect());
    }
    assert_eq!(windows, [vec![], vec![Verdict::WaitUntil]]);
    // At the chair of the first nothing is known against it.
    let visit = visits::get(&mut c, &first).await.unwrap().unwrap();
    let known = Known::of_visit(&mut c, &settings, &visit).await.unwrap();
    assert!(!known.readiness(BOOKED, BOOKED).reasons.iter().any(|reason| reason.about == About::Window));
}

#[tokio::test]
async fn a_skin_test_may_lie_near_and_who_is_signed_in_is_not_asked_to_sign_in() {
    let (app, studio) = TestApp::with_studio().await;
    lift(&studio, BOOKED).await;
    let mia = app.client(MIA).await;
    let path = format!("/services/{}", studio.lift_and_tint);
    let tests = mia.get(&path).await;
    assert!(!tests.main().contains(LEFT_OUT), "{}", tests.main());
    assert!(!tests.main().contains("Been here before?"), "{}", tests.main());
    let test = tests.attributes("button.slot", "value").pop().unwrap();
    assert!(mia.get(&format!("{path}?test={test}")).await.main().contains(LEFT_OUT));
    assert!(app.visitor().get(&path).await.main().contains("Been here before?"));
}
