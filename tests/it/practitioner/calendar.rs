//! The calendar: days, weeks, blocks, booking at the desk, moving, deposits, and what clients don't keep.

use palpebra::domain::ids::VisitId;
use palpebra::domain::visit::VisitState;
use palpebra::store::outbox;
use palpebra::store::visits::{self, Purpose};
use time::macros::{date, datetime};

use super::changes;
use crate::support::app::OWNER;
use crate::support::booking::first_slot;
use crate::support::studio::{LIV, MIA, NOOR, Studio};
use crate::support::{Html, Person, TestApp};

const TUESDAY: &str = "2026-03-10";

async fn stored(app: &TestApp, id: &VisitId) -> visits::Visit {
    visits::get(&mut app.app.db.read().await.unwrap(), id).await.unwrap().unwrap()
}

async fn booked(studio: &Studio) -> VisitId {
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, datetime!(2026-03-10 09:00 UTC)).await
}

fn lines(page: &Html) -> Vec<String> {
    page.all(".plan li")
}

#[tokio::test]
async fn a_day_shows_what_is_booked_blocked_held_and_free_and_who_is_in_which_room() {
    let (app, studio) = TestApp::with_studio().await;
    booked(&studio).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/calendar?day={TUESDAY}");
    let day = liv.get(&path).await;
    assert_eq!(
        lines(&day),
        [
            "09:00 to 10:00 Free 1 hour Book Liv Tannhauer, 09:00 to 10:00 Block Liv Tannhauer, 09:00 to 10:00",
            "10:00 to 11:00 Mia Sandgren Lash lift, Garden room",
            "11:00 to 18:00 Free 7 hours Book Liv Tannhauer, 11:00 to 18:00 Block Liv Tannhauer, 11:00 to 18:00",
        ]
    );
    assert!(day.all("td").contains(&"10:00 to 11:00, Liv Tannhauer".to_owned()), "{}", day.main());

    let form = liv.get(&day.link("Block Liv Tannhauer, 11:00")).await;
    let fields = [("from", "12:00"), ("to", "13:15"), ("reason", "Training")];
    assert_eq!(liv.submit(&form, "/desk/blocks/new", &fields).await.status, 303);
    let again = liv.submit(&form, "/desk/blocks/new", &[("from", "10:30"), ("to", "12:00")]).await;
    assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec!["#from".to_owned()]));
    let day = liv.get(&path).await;
    assert!(lines(&day)[3].starts_with("12:00 to 13:15 Blocked Training"), "{:?}", lines(&day));

    let visitor = app.visitor();
    let offered = visitor.get(&format!("/services/{}?from={TUESDAY}", studio.lift)).await;
    let held = visitor.submit(&offered, "/services/", &[("time", &first_slot(&offered))]).await;
    assert_eq!(held.status, 303);
    let noor = app.member(NOOR.0, NOOR.1).await;
    let all = lines(&liv.get(&path).await).len() + lines(&noor.get(&path).await).len();
    assert!(all > 5, "{all}");
    assert!(!noor.get(&path).await.main().contains("Mia Sandgren"), "a colleague's clients are not hers to see");
    assert!(noor.get(&path).await.main().contains("10:00 to 11:00, Liv Tannhauer"));

    let owner = app.member(OWNER.0, OWNER.1).await;
    let week = owner.get(&format!("/desk/calendar?view=week&day={TUESDAY}")).await;
    assert_eq!(week.all(".week-day h2").len(), 7);
    assert_eq!(week.all(".week-day h2")[1], "Tue 10 March");
    assert!(week.all(".week-day")[1].contains("Mia Sandgren") && week.all(".week-day")[6].contains("Nobody at work"));

    let remove = liv.submit(&liv.get(&path).await, "/desk/blocks/", &[]).await;
    assert_eq!(remove.status, 303);
    assert!(!liv.get(&path).await.main().contains("Training"));
    assert!(changes(&app).await.contains(&"block.removed".to_owned()));
}

#[tokio::test]
async fn nobody_blocks_for_another_and_nothing_is_offered_in_a_block() {
    let (app, studio) = TestApp::with_studio().await;
    let noor = app.member(NOOR.0, NOOR.1).await;
    let form = noor.get("/desk/blocks/new").await;
    let fields = [("what", studio.liv.as_str()), ("day", TUESDAY), ("from", "9:00"), ("to", "18:00")];
    assert_eq!(noor.submit(&form, "/desk/blocks/new", &fields).await.status, 422);
    let owner = app.member(OWNER.0, OWNER.1).await;
    for what in [studio.liv.to_string(), format!("room-{}", studio.room)] {
        let form = owner.get("/desk/blocks/new").await;
        let fields = [("what", what.as_str()), ("day", TUESDAY), ("from", "9:00"), ("to", "18:00")];
        assert_eq!(owner.submit(&form, "/desk/blocks/new", &fields).await.status, 303);
    }
    let page = app.visitor().get(&format!("/services/{}?from={TUESDAY}", studio.lift)).await;
    let slots = page.attributes(&format!("[aria-labelledby=day-{TUESDAY}] button.slot"), "value");
    assert!(!slots.is_empty() && slots.iter().all(|slot| slot.ends_with(studio.noor.as_str())), "{slots:?}");
    let second = app.visitor();
    let page = second.get(&format!("/services/{}?from={TUESDAY}", studio.lift)).await;
    assert_eq!(second.submit(&page, "/services/", &[("time", &slots[0])]).await.status, 303);
    let third = app.visitor();
    let page = third.get(&format!("/services/{}?from={TUESDAY}", studio.lift)).await;
    assert_eq!(third.submit(&page, "/services/", &[("time", &slots[0])]).await.status, 409, "one room is blocked");
}

#[tokio::test]
async fn a_walk_in_is_booked_at_the_desk_new_or_known() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/book?service={}&day=2026-03-02", studio.lift)).await;
    let slot = first_slot(&page);
    assert_eq!(page.all("button.slot b")[0], "09:00", "the desk needs no notice");
    let who = liv.get(&format!("/desk/book/who?service={}&time={slot}", studio.lift)).await;
    let missing = liv.submit(&who, "/desk/book/time", &[("name", "Walk Inghart")]).await;
    assert_eq!(missing.status, 422, "{}", missing.main());
    let details = [
        ("name", "Wilma Inghart"),
        ("mail", "wilma@clients.example.org"),
        ("phone", "+49 30 5550 1277"),
        ("born_day", "3"),
        ("born_month", "7"),
        ("born_year", "1988"),
    ];
    let done = liv.submit(&missing, "/desk/book/time", &details).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let visit = liv.follow(done).await;
    assert!(visit.main().contains("Wilma Inghart") && visit.main().contains("Ask before starting"), "{}", visit.main());
    assert!(app.mail_to("wilma@clients.example.org").await.0.letter.text.contains("you are booked"));
    let taken = liv.submit(&missing, "/desk/book/time", &details).await;
    assert_eq!(taken.status, 409, "twice the same time");

    let owner = app.member(OWNER.0, OWNER.1).await;
    let page = owner.get(&format!("/desk/book?service={}&who={}&day={TUESDAY}", studio.lift, studio.noor)).await;
    let slot = first_slot(&page);
    assert!(slot.ends_with(studio.noor.as_str()));
    let who = owner.get(&format!("/desk/book/who?service={}&time={slot}&q=Mia", studio.lift)).await;
    let done = owner.submit(&who, "/desk/book/time", &[("client", studio.mia.as_str())]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let who = liv.get(&format!("/desk/book/who?service={}&time={slot}&q=Mia", studio.lift)).await;
    assert!(who.main().contains("Nobody found"), "Noor's client is not Liv's to find");
    let forged = liv.submit(&who, "/desk/book/time", &[("client", studio.mia.as_str())]).await;
    assert_eq!(forged.status, 404);
}

#[tokio::test]
async fn a_treatment_without_a_test_is_offered_after_the_wait_and_its_test_is_booked_first() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    // Liv may see her because of it, and it lies far from what is booked here.
    let far = datetime!(2026-06-29 09:00 UTC);
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, far).await;
    let client = format!("&client={}&day=2026-03-02", studio.mia);
    let page = liv.get(&format!("/desk/book?service={}{client}", studio.lift_and_tint)).await;
    assert!(page.main().contains("A skin test comes first"), "{}", page.main());
    assert_eq!(page.all(".slot-day h3")[0], "Wednesday 4 March 2026 31 free");
    let test = liv.get(&page.link("Book the skin test")).await;
    let done = liv.submit(&test, "/desk/book/time", &[("time", &first_slot(&test))]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    assert!(liv.follow(done).await.main().contains("Skin test For Lift and tint"));
    let page = liv.get(&format!("/desk/book?service={}{client}", studio.lift_and_tint)).await;
    assert!(!page.main().contains("A skin test comes first"), "it is booked: {}", page.main());
}

#[tokio::test]
async fn from_the_chair_her_next_visit_is_booked_in_two_clicks_within_her_window() {
    let (app, studio) = TestApp::with_studio().await;
    let at = datetime!(2026-02-20 09:00 UTC);
    studio.treated(&studio.mia, &studio.lift, at, palpebra::store::treatments::Outcome::AsWished, &[]).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let record = liv.get(&format!("/desk/clients/{}", studio.mia)).await;
    let visit = liv.get(&record.link("Friday 20 February 2026, 10:00")).await;
    // Day 55 after the first lift is good, day 46 the first that may be: Thibaut et al. 2010 with the program's limits.
    let times = liv.get(&visit.link("Again in 6 weeks")).await;
    assert_eq!(times.all(".slot-day h3")[0].split(" 2026").next().unwrap(), "Thursday 16 April");
    assert!(times.main().contains("the first day is Tuesday 7 April 2026"), "{}", times.main());
    let early = liv.get(&format!("/desk/book?client={}&service={}&day=2026-03-03", studio.mia, studio.lift)).await;
    assert!(early.all(".slot-day h3")[0].starts_with("Tuesday 7 April 2026"), "never before her window opens");
    let done = liv.submit(&times, "/desk/book/time", &[("time", &first_slot(&times))]).await;
    assert_eq!(done.status, 303, "{}", done.main());
}

#[tokio::test]
async fn the_desk_moves_a_visit_and_the_client_is_told() {
    let (app, studio) = TestApp::with_studio().await;
    let id = booked(&studio).await;
    let owner = app.member(OWNER.0, OWNER.1).await;
    let path = format!("/desk/visits/{id}/arrange?day=2026-03-12&who={}", studio.noor);
    let page = owner.get(&path).await;
    let slot = first_slot(&page);
    let moved = owner.submit(&page, &format!("/desk/visits/{id}/move"), &[("time", &slot)]).await;
    assert_eq!(moved.status, 303, "{}", moved.main());
    let visit = stored(&app, &id).await;
    assert_eq!((visit.civil.date(), &visit.practitioner), (date!(2026 - 03 - 12), &studio.noor));
    assert!(app.mail_to(MIA).await.0.letter.text.contains("is now on"));
    let liv = app.member(LIV.0, LIV.1).await;
    assert_eq!(liv.get(&path).await.status, 404, "it is no longer hers");
    let form = owner.get(&path).await;
    let bad = owner.submit(&form, &format!("/desk/visits/{id}/move"), &[("time", &format!("1.{}", studio.noor))]).await;
    assert_eq!(bad.status, 409);
    assert_eq!(stored(&app, &id).await.starts_at, visit.starts_at, "the old time stands");
}

async fn called_off(person: &Person, id: &VisitId) -> Html {
    let page = person.get(&format!("/desk/visits/{id}/arrange")).await;
    let done = person.submit(&page, &format!("/desk/visits/{id}/called-off"), &[]).await;
    person.follow(done).await
}

#[tokio::test]
async fn calling_off_after_the_limit_is_late_and_the_deposit_is_noted_by_hand() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let early = booked(&studio).await;
    let late =
        studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, datetime!(2026-03-03 07:59 UTC)).await;
    assert!(called_off(&liv, &early).await.main().contains("Never late to cancel"));
    let page = liv.get(&format!("/desk/visits/{late}/arrange")).await;
    let path = format!("/desk/visits/{late}/deposit");
    for (amount, how) in [("0", "cash"), ("x", "cash"), ("20", "")] {
        assert_eq!(liv.submit(&page, &path, &[("amount", amount), ("how", how), ("fate", "held")]).await.status, 422);
    }
    let noted = liv.submit(&page, &path, &[("amount", "20.50"), ("how", "cash"), ("fate", "held")]).await;
    assert_eq!(noted.status, 303, "{}", noted.main());
    let after = called_off(&liv, &late).await;
    assert!(after.main().contains("Cancelled late: 1. Missed: 0."), "{}", after.main());
    let kept = liv.submit(&after, &path, &[("fate", "kept")]).await;
    assert_eq!(kept.status, 303, "{}", kept.main());
    let page = liv.get(&format!("/desk/visits/{late}/arrange")).await;
    let (_, fields) = page.form(&path);
    for pair in [("amount", "20.50"), ("how", "cash"), ("fate", "kept")] {
        assert!(fields.contains(&(pair.0.to_owned(), pair.1.to_owned())), "{fields:?}");
    }
    assert_eq!(stored(&app, &late).await.state.as_str(), "cancelled_by_client");
    let again = liv.submit(&after, &path, &[("fate", "kept")]).await;
    assert_eq!(again.status, 303);
    assert_eq!(changes(&app).await.iter().filter(|action| *action == "deposit.noted").count(), 3);
    app.send_mail().await;
    assert_eq!(outbox::standing(&mut app.app.db.read().await.unwrap()).await.unwrap().waiting, 0);
}

#[tokio::test]
async fn what_belongs_to_a_visit_goes_along_when_it_is_called_off_and_each_is_told_of() {
    for shared in [false, true] {
        let (app, studio) = TestApp::with_studio().await;
        let liv = app.member(LIV.0, LIV.1).await;
        let [at, then, later] =
            [datetime!(2026-03-10 09:00 UTC), datetime!(2026-03-17 09:00 UTC), datetime!(2026-03-18 09:00 UTC)];
        let (mia, both) = (&studio.mia, &studio.lift_and_tint);
        let test = studio.visit(Purpose::SkinTest, mia, both, &studio.liv, at).await;
        let visit = studio.visit(Purpose::Treatment, mia, both, &studio.liv, then).await;
        studio.pair(&visit, &test).await;
        if shared {
            let brows = studio.visit(Purpose::Treatment, mia, &studio.brow_tint().await, &studio.liv, later).await;
            studio.pair(&brows, &test).await;
        }
        let page = liv.get(&format!("/desk/visits/{visit}/arrange")).await;
        assert_eq!(page.main().contains("The two belong together"), !shared, "{}", page.main());
        assert_eq!(page.main().contains("another visit of hers needs it"), shared, "{}", page.main());
        let of_test = liv.get(&format!("/desk/visits/{test}/arrange")).await;
        assert!(of_test.main().contains("What Skin test for Lift and tint"), "{}", of_test.main());
        called_off(&liv, &visit).await;
        let off = [stored(&app, &visit).await.state, stored(&app, &test).await.state]
            .map(|state| state == VisitState::CancelledByClient);
        assert_eq!(off, [true, !shared]);
        let told = app.mails().await.into_iter().filter(|out| out.letter.subject.contains("is cancelled")).count();
        assert_eq!(told, if shared { 1 } else { 2 });
    }
}

#[tokio::test]
async fn a_skin_test_of_the_same_product_that_is_booked_for_another_service_counts_at_the_desk() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let at = datetime!(2026-03-03 09:00 UTC);
    let test = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    let path = format!("/desk/book?service={}&client={}&day=2026-03-02", studio.brow_tint().await, studio.mia);
    let page = liv.get(&path).await;
    assert!(!page.main().contains("A skin test comes first"), "{}", page.main());
    assert!(page.all(".slot-day h3")[0].starts_with("Thursday 5 March"), "{:?}", page.all(".slot-day h3"));
    let done = liv.submit(&page, "/desk/book/time", &[("time", &first_slot(&page))]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let all = visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    assert_eq!(all.iter().filter(|one| one.paired_test.as_ref() == Some(&test)).count(), 1);
}
