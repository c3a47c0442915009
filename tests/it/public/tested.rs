//! A treatment is booked with the skin test that it needs, whatever a client answers on the way.

use palpebra::domain::reaction::{Level, State};
use palpebra::domain::skin_test::TestResult;
use palpebra::store::visits::Purpose;
use palpebra::store::{clients, visits};
use time::Duration;
use time::macros::datetime;

use crate::support::booking::{DETAILS, SIGNED, answer_all, fill, first_slot, signs, take_first};
use crate::support::studio::{MIA, Studio};
use crate::support::{Html, Person, TestApp};

/// Mia's test of the tint was clear, a while ago.
async fn tested_mia(app: &TestApp, studio: &Studio, days_ago: i64) -> Person {
    let applied = app.app.clock.now() - Duration::days(days_ago);
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::days(3)))).await;
    app.client(MIA).await
}

/// Holds a skin test and the treatment after it; ends on the page that comes next.
async fn pair(person: &Person, service: &str) -> Html {
    let path = format!("/services/{service}");
    let test = first_slot(&person.get(&path).await);
    let treatments = person.get(&format!("{path}?test={test}")).await;
    let held = person.submit(&treatments, "/services/", &[("time", &first_slot(&treatments))]).await;
    person.follow(held).await
}

#[tokio::test]
async fn an_answer_that_ends_a_test_asks_for_another_before_she_can_book() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = tested_mia(&app, &studio, 30).await;
    let answers = take_first(&mia, studio.lift_and_tint.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "check")]).await;
    let page = mia.follow(next).await;
    let stopped = answer_all(&mia, page, &[("new_medicine", "yes")]).await;
    assert!(stopped.main().contains("A little later, please"), "{}", stopped.main());
    let tests = mia.get(&stopped.link("See times from then on")).await;
    assert!(tests.main().contains("First choose a time for the skin test"), "{}", tests.main());
    let (action, _) = tests.form("/book/");
    let treatments = mia.get(&format!("{action}?test={}", first_slot(&tests))).await;
    let kept = mia.submit(&treatments, "/book/", &[("time", &first_slot(&treatments))]).await;
    let sign = mia.follow(kept).await;
    assert!(signs(&mia, &sign, "Mia Sandgren").await.main().contains("Booked"));
    let booked = visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    let purposes: Vec<_> = booked.iter().map(|visit| visit.purpose).collect();
    assert!(purposes.contains(&Purpose::SkinTest) && purposes.len() == 2, "{purposes:?}");
}

#[tokio::test]
async fn no_time_after_the_end_of_a_test_is_on_offer_or_taken() {
    let (app, studio) = TestApp::with_studio().await;
    // Good for six months, so for some days more.
    let mia = tested_mia(&app, &studio, 170).await;
    let answers = take_first(&mia, studio.lift_and_tint.as_str()).await;
    let (path, _) = answers.form("/book/");
    let times = path.replace("answers", "time");
    let near = mia.get(&times).await;
    let slots = near.attributes("button.slot", "value");
    assert!(!slots.is_empty());
    let far = mia.get(&format!("{times}?from=2026-03-20")).await;
    assert!(far.attributes("button.slot", "value").is_empty(), "{}", far.main());
    let (when, whom) = slots[0].split_once('.').unwrap();
    let later = format!("{}.{whom}", when.parse::<i64>().unwrap() + 21 * 86_400);
    let refused = mia.submit(&near, "/book/", &[("time", &later)]).await;
    assert_eq!(refused.status, 409, "{}", refused.main());
}

#[tokio::test]
async fn a_visit_after_the_end_of_a_test_is_booked_with_a_new_one() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = tested_mia(&app, &studio, 170).await;
    let path = format!("/services/{}", studio.lift_and_tint);
    let late = mia.get(&format!("{path}?from=2026-03-20")).await;
    assert!(!late.main().contains("Everything is taken"), "{}", late.main());
    let tests = mia.get(&format!("{path}{}", late.link("book a new one along"))).await;
    assert!(tests.main().contains("First visit: the skin test"), "{}", tests.main());
    let treatments = mia.get(&format!("{path}?from=2026-03-20&test={}", first_slot(&tests))).await;
    let slots = treatments.attributes("button.slot", "value");
    let held = mia.submit(&treatments, "/services/", &[("time", slots.last().unwrap())]).await;
    let answers = mia.follow(held).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let sign = mia.follow(next).await;
    assert!(signs(&mia, &sign, "Mia Sandgren").await.main().contains("Booked"));
    assert_eq!(visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().len(), 2);
}

#[tokio::test]
async fn a_skin_test_is_booked_for_a_day_on_which_it_may_be_made() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = pair(&person, studio.lift_and_tint.as_str()).await;
    let cream = fill(&person, &details, &DETAILS, &[("steroid_eye", "yes")]).await;
    assert!(cream.main().contains("The skin test can be made from Monday 9 March 2026 on"), "{}", cream.main());
    let tests = person.get(&cream.link("See times from then on")).await;
    assert!(tests.main().contains("First choose a time for the skin test"), "{}", tests.main());
    assert!(!tests.main().contains("Saturday 7 March") && tests.main().contains("Monday 9 March"), "{}", tests.main());

    let other = app.visitor();
    let details = pair(&other, studio.lift_and_tint.as_str()).await;
    let eczema = [("eczema_psoriasis", "yes"), ("eczema_psoriasis_where", "severe")];
    let none = fill(&other, &details, &DETAILS, &eczema).await;
    assert!(none.main().contains("before we have a short letter from your doctor"), "{}", none.main());
    assert!(none.main().contains("Please call or write"), "{}", none.main());
}

#[tokio::test]
async fn no_skin_test_is_booked_along_while_she_would_rather_talk_about_what_decides_on_it() {
    let (app, studio) = TestApp::with_studio().await;
    for key in ["dye_reaction", "ppd_allergy", "adhesive_reaction"] {
        let person = app.visitor();
        let details = pair(&person, studio.lift_and_tint.as_str()).await;
        let page = fill(&person, &details, &DETAILS, &[(key, "talk")]).await;
        assert!(page.main().contains("Let us talk first"), "{key}: {}", page.main());
        assert!(page.main().contains("Please call or write to us"), "{}", page.main());
        assert!(!page.main().contains("Sign and book") && !page.main().contains("is not right for you"), "{key}");
    }
    let person = app.visitor();
    let details = pair(&person, studio.lift_and_tint.as_str()).await;
    let sign = fill(&person, &details, &DETAILS, &[("contacts", "talk")]).await;
    assert!(sign.main().contains("your practitioner will ask you in private"), "{}", sign.main());
}

#[tokio::test]
async fn a_guardian_signs_for_whoever_is_tested_at_seventeen() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = pair(&person, studio.lift_and_tint.as_str()).await;
    let mut born = DETAILS;
    // 18 on the day of the treatment, 17 on that of the test.
    (born[3].1, born[4].1, born[5].1) = ("4", "3", "2008");
    let sign = fill(&person, &details, &born, &[]).await;
    assert!(sign.main().contains("Parent or guardian"), "{}", sign.main());
    assert_eq!(person.submit(&sign, "/book/", &SIGNED).await.status, 422);
    let name = clients::search(&mut app.app.db.read().await.unwrap(), "Ottilie", 5).await.unwrap();
    assert!(name.is_empty());
}

#[tokio::test]
async fn what_is_to_be_left_off_before_a_visit_is_said_also_when_it_is_weeks_away() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let page = person.get(&format!("/services/{}", studio.lift)).await;
    let last = page.attributes("button.slot", "value").pop().unwrap();
    let held = person.submit(&page, "/services/", &[("time", &last)]).await;
    let details = person.follow(held).await;
    let today =
        [("serum", "yes"), ("serum_last_on", "2026-03-02"), ("serum_prostaglandin", "no"), ("serum_redness", "no")];
    let sign = fill(&person, &details, &DETAILS, &today).await;
    assert!(sign.main().contains("leave the serum off for seven days before the visit"), "{}", sign.main());
}

#[tokio::test]
async fn no_skin_test_is_booked_along_while_a_reaction_is_followed_up() {
    let (app, studio) = TestApp::with_studio().await;
    studio.reacted(&studio.mia, (Level::Moderate, State::FollowedUp), None, &[]).await;
    let mia = app.client(MIA).await;
    let answers = pair(&mia, studio.lift_and_tint.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let page = mia.follow(next).await;
    assert!(page.main().contains("We would rather not do this one"), "{}", page.main());
    assert!(page.main().contains("a reaction that we are still following up"), "{}", page.main());
}

#[tokio::test]
async fn a_skin_test_that_is_booked_for_another_service_with_the_product_counts_after_its_wait() {
    let (app, studio) = TestApp::with_studio().await;
    let brows = studio.brow_tint().await;
    let at = datetime!(2026-03-03 09:00 UTC);
    let test = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    let mia = app.client(MIA).await;
    let times = mia.get(&format!("/services/{brows}")).await;
    assert!(!times.main().contains("skin test"), "{}", times.main());
    let first: i64 = first_slot(&times).split('.').next().unwrap().parse().unwrap();
    let wait_is_over = at + Duration::hours(48);
    assert!(first >= wait_is_over.unix_timestamp() && first < (wait_is_over + Duration::DAY).unix_timestamp());
    let answers = take_first(&mia, brows.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let sign = mia.follow(next).await;
    assert!(signs(&mia, &sign, "Mia Sandgren").await.main().contains("Booked"));
    let booked = visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    let paired: Vec<_> = booked.iter().filter(|one| one.purpose == Purpose::Treatment).collect();
    assert!(paired.len() == 1 && paired[0].paired_test.as_ref() == Some(&test), "the test stays while she needs it");
}
