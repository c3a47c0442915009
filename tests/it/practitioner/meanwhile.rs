//! What somebody else does while a form is open: nothing typed is lost, and nothing is written over what was not read.

use palpebra::domain::ids::VisitId;
use palpebra::domain::questionnaire::Answer;
use palpebra::store::treatments::Treatment;
use palpebra::store::visits::Purpose;
use palpebra::store::{treatments, visits};
use time::macros::date;
use time::{Duration, OffsetDateTime};

use super::chair::{FIRST, SECOND, off, on, send};
use super::changes;
use super::treatment::under_way;
use crate::support::app::NOW;
use crate::support::booking::first_slot;
use crate::support::chair::{start, ticks};
use crate::support::studio::{GOOD_BATCH, LIV, NOOR};
use crate::support::{Html, Person, Studio, TestApp};

const CHANGED: &str = "Something has changed in the meantime";

fn value(page: &Html, form: &str, name: &str) -> String {
    let fields = page.form(form).1;
    fields.into_iter().find(|(key, _)| key == name).map(|(_, value)| value).unwrap_or_default()
}

async fn record_of(app: &TestApp, visit: &VisitId) -> Option<Treatment> {
    treatments::of_visit(&mut app.app.db.read().await.unwrap(), visit).await.unwrap()
}

async fn state(app: &TestApp, visit: &VisitId) -> &'static str {
    visits::get(&mut app.app.db.read().await.unwrap(), visit).await.unwrap().unwrap().state.as_str()
}

/// A visit that is under way since a moment of the day on which it was booked.
async fn begun_at(app: &TestApp, studio: &Studio, at: OffsetDateTime) -> (Person, VisitId) {
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    app.app.clock.advance(at - app.app.clock.now());
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await.status, 303);
    assert_eq!(start(&liv, id.as_str(), &[]).await.status, 303);
    (liv, id)
}

#[tokio::test]
async fn a_reason_stands_only_against_the_cautions_that_were_read() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("rosacea_seb", Answer::Yes), ("atopy", Answer::Yes)]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await.status, 303);
    let page = liv.get(&format!("/desk/visits/{id}/chair")).await;

    app.app.clock.advance(Duration::minutes(1));
    let more = [("rosacea_seb", Answer::Yes), ("atopy", Answer::Yes), ("glaucoma", Answer::Yes)];
    studio.answer(&studio.mia, &more).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let path = format!("/desk/visits/{id}/start");
    let mut fields = ticks(&page);
    let typed = [("reason", "Her skin is calm today."), ("notes_read", "yes")];
    fields.extend(typed.map(|(name, value)| (name.to_owned(), value.to_owned())));
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    for fields in [&fields[..], &fields[1..]] {
        let refused = liv.submit(&page, &path, fields).await;
        assert_eq!(refused.status, 409, "{}", refused.text());
        assert!(refused.main().contains(CHANGED) && refused.main().contains("laucoma"), "{}", refused.main());
        assert_eq!(refused.all("#reason"), ["Her skin is calm today."], "what was typed is kept");
        assert!(refused.attributes("#notes_read", "checked").is_empty(), "these are other notes");
        assert_eq!(state(&app, &id).await, "arrived");
    }
    let refused = liv.submit(&page, &path, &fields).await;
    let done = liv.submit(&refused, &path, &[("notes_read", "yes")]).await;
    assert_eq!(done.status, 303, "{}", done.text());
}

#[tokio::test]
async fn a_record_from_a_second_tab_is_kept_on_the_page() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let (one, other) = (liv.get(&path).await, liv.get(&path).await);
    let lotion = format!("batch_{}", studio.lotion);
    let mut fields = vec![(lotion.as_str(), GOOD_BATCH), ("outcome", "as_wished"), ("notes", "From the phone.")];
    assert_eq!(liv.submit(&one, &path, &fields).await.status, 303);
    let again = liv.submit(&one, &path, &fields).await;
    assert_eq!(again.location(), Some(format!("/desk/visits/{id}")), "the same, pressed twice");
    fields.push(("notes", "From the tablet, with the patch of dry skin."));
    let unread: Vec<_> = fields.iter().copied().chain([("started", "soon")]).collect();
    for fields in [&fields, &unread] {
        let refused = liv.submit(&other, &path, fields).await;
        assert_eq!(refused.status, 409, "{}", refused.text());
        assert_eq!(refused.all("#notes"), ["From the tablet, with the patch of dry skin."]);
        assert!(refused.main().contains("From the phone."), "what stands is shown: {}", refused.main());
        assert!(refused.link("Correct this record").ends_with("/correction"));
    }
    assert_eq!(record_of(&app, &id).await.unwrap().versions.len(), 1);
}

#[tokio::test]
async fn a_stale_correction_undoes_no_newer_one() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let lotion = format!("batch_{}", studio.lotion);
    assert_eq!(liv.submit(&page, &path, &[(&lotion, GOOD_BATCH), ("outcome", "as_wished")]).await.status, 303);
    let path = format!("/desk/treatments/{}/correction", record_of(&app, &id).await.unwrap().id);
    let (one, other) = (liv.get(&path).await, liv.get(&path).await);
    let reacted = [("outcome", "reaction"), ("reason", "She called: her lids are swollen.")];
    let done = liv.submit(&one, &path, &reacted).await;
    assert_eq!(done.location(), Some(format!("/desk/clients/{}/reaction?visit={id}", studio.mia)));
    assert_eq!(liv.submit(&one, &path, &reacted).await.status, 303, "the same, pressed twice");
    let typed = [("shield", "S"), ("reason", "The shield was missing.")];
    let refused = liv.submit(&other, &path, &typed).await;
    assert_eq!(refused.status, 409, "{}", refused.text());
    assert!(refused.main().contains("her lids are swollen"), "what stands is shown: {}", refused.main());
    assert_eq!((value(&refused, &path, "shield").as_str(), refused.all("#reason").len()), ("S", 1));
    assert_eq!(record_of(&app, &id).await.unwrap().versions.len(), 2);
    let done = liv.submit(&refused, &path, &[("outcome", "reaction")]).await;
    assert_eq!(done.location(), Some(format!("/desk/visits/{id}")), "it was a reaction before");
    assert_eq!(record_of(&app, &id).await.unwrap().versions.len(), 3);
}

#[tokio::test]
async fn presses_and_bottles_that_come_in_while_the_record_is_typed_are_in_it() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let now = app.app.clock.now();
    send(&liv, &id, now, &[on(FIRST, 1, "right", 600)]).await;
    let page = liv.get(&path).await;
    send(&liv, &id, now, &[off(SECOND, 1, "right", 960)]).await;
    let chair = liv.get(&format!("/desk/visits/{id}/chair")).await;
    let taken = liv.submit(&chair, &format!("/desk/visits/{id}/chair/batch"), &[("batch", GOOD_BATCH)]).await;
    assert_eq!(taken.status, 303, "{}", taken.text());
    let fields = [("outcome", "as_wished"), ("notes", "Calm."), ("on_1_right_0", "09:10:05"), ("lotion_two", "x")];
    let refused = liv.submit(&page, &path, &fields).await;
    assert_eq!(refused.status, 409, "{}", refused.text());
    assert!(refused.main().contains("came in from the chair"), "{}", refused.main());
    let lotion = format!("batch_{}", studio.lotion);
    let shown = ["on_1_right_0", "off_1_right_0", &lotion].map(|name| value(&refused, &path, name));
    assert_eq!(shown, ["09:10:05", "09:16:00", GOOD_BATCH], "what came, and what was typed");
    assert_eq!(refused.all("#notes"), ["Calm."]);
    assert!(record_of(&app, &id).await.is_none());
    let unread = liv.submit(&refused, &path, &[]).await;
    assert_eq!((unread.status, unread.all("#lotion_two-error").len()), (422, 1));
    let done = liv.submit(&unread, &path, &[("lotion_two", "")]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let version = record_of(&app, &id).await.unwrap().versions.remove(0);
    assert_eq!(version.times.iter().map(|time| time.length().whole_seconds()).collect::<Vec<_>>(), [355]);
    assert_eq!(version.products, [(studio.lotion.clone(), GOOD_BATCH.to_owned())]);
}

#[tokio::test]
async fn what_was_typed_over_a_press_is_pointed_at_when_the_press_is_another() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let now = app.app.clock.now();
    send(&liv, &id, now, &[on(FIRST, 1, "right", 600), off(SECOND, 1, "right", 960)]).await;
    let lotion = format!("batch_{}", studio.lotion);
    let typed = [("on_1_right_0", "9:11"), ("off_1_right_0", "9:16"), (lotion.as_str(), GOOD_BATCH)];
    let refused = liv.submit(&page, &path, &[&typed[..], &[("outcome", "as_wished")]].concat()).await;
    assert_eq!(refused.status, 409);
    assert_eq!(value(&refused, &path, "on_1_right_0"), "9:11");
    assert_eq!(
        refused.all("#on_1_right_0-error"),
        ["At the chair this became “09:10:00”. Here stands what you typed."]
    );
    assert_eq!(liv.submit(&refused, &path, &[]).await.status, 303, "she has seen it");
}

#[tokio::test]
async fn times_by_side_have_the_day_on_which_they_were_pressed() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    drop(liv);
    app.app.clock.advance(Duration::days(1));
    let liv = app.member(LIV.0, LIV.1).await;
    let day = 24 * 3600;
    let now = app.app.clock.now();
    send(&liv, &id, now, &[on(FIRST, 1, "right", day + 600), off(SECOND, 1, "right", day + 960)]).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    assert_eq!(value(&page, &path, "ended"), "", "it was not over just now");
    let lotion = format!("batch_{}", studio.lotion);
    let mut fields = vec![(lotion.as_str(), GOOD_BATCH), ("outcome", "as_wished"), ("ended", "10:00")];
    let refused = liv.submit(&page, &path, &fields).await;
    assert_eq!(refused.status, 422);
    assert_eq!(
        refused.all("#on_1_right_0-error"),
        ["That is Tuesday 3 March 2026, 09:10, outside of From and Until."],
        "{}",
        refused.main()
    );
    fields.extend([("on_1_right_0", "9:05"), ("off_1_right_0", "10:30")]);
    let refused = liv.submit(&page, &path, &fields).await;
    assert_eq!(refused.all("#off_1_right_0-error").len(), 1, "after the end");
    fields.push(("off_1_right_0", "9:11"));
    let late: Vec<_> = fields.iter().copied().chain([("ended", "23:40")]).collect();
    let refused = liv.submit(&page, &path, &late).await;
    assert!(refused.all("#ended-error")[0].contains("more than twelve hours"), "{}", refused.main());
    let done = liv.submit(&page, &path, &fields).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let times = record_of(&app, &id).await.unwrap().versions.remove(0).times;
    assert_eq!(times.iter().map(|time| (time.on - NOW).whole_seconds()).collect::<Vec<_>>(), [300]);
}

#[tokio::test]
async fn a_treatment_past_midnight_keeps_its_order() {
    let (app, studio) = TestApp::with_studio().await;
    let late = NOW + Duration::minutes(14 * 60 + 30);
    let (liv, id) = begun_at(&app, &studio, late).await;
    app.app.clock.advance(Duration::minutes(29));
    assert_eq!(liv.get("/desk").await.status, 200);
    app.app.clock.advance(Duration::minutes(26));
    let (now, begun) = (app.app.clock.now(), (late - NOW).whole_seconds());
    send(&liv, &id, now, &[on(FIRST, 1, "left", begun + 1700), off(SECOND, 1, "left", begun + 2000)]).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    assert_eq!(["started", "ended"].map(|name| value(&page, &path, name)), ["23:30", "00:25"]);
    let lotion = format!("batch_{}", studio.lotion);
    let by_hand = [("on_1_right_0", "23:59:30"), ("off_1_right_0", "00:04:30")];
    let fields = [&by_hand[..], &[(lotion.as_str(), GOOD_BATCH), ("outcome", "as_wished")]].concat();
    let done = liv.submit(&page, &path, &fields).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let version = record_of(&app, &id).await.unwrap().versions.remove(0);
    assert_eq!((version.ended_at - version.started_at).whole_minutes(), 55);
    let seconds = |at: OffsetDateTime| (at - late).whole_seconds();
    let times: Vec<_> = version.times.iter().map(|time| (seconds(time.on), seconds(time.off))).collect();
    assert_eq!(times, [(1700, 2000), (1770, 2070)]);
}

#[tokio::test]
async fn a_treatment_without_a_record_is_asked_for_on_later_days_and_counts() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    const STILL: &str = "Record still to write";
    assert!(!liv.get("/desk").await.main().contains(STILL), "it is on the day's list");
    app.app.clock.advance(Duration::days(3));
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get("/desk").await;
    assert!(page.main().contains(STILL), "{}", page.main());
    assert_eq!(page.link("Mia Sandgren, Monday 2 March 2026, 09:00"), format!("/desk/visits/{id}/treatment"));
    assert!(!app.member(NOOR.0, NOOR.1).await.get("/desk").await.main().contains(STILL));
    assert!(app.owner().await.get("/desk").await.main().contains(STILL));
    let past = treatments::past(&mut app.app.db.read().await.unwrap(), Some(&studio.mia)).await.unwrap();
    assert_eq!(past.iter().map(|one| one.at).collect::<Vec<_>>(), [NOW], "her window counts from it");
}

#[tokio::test]
async fn an_old_page_moves_and_cancels_no_visit_that_was_moved() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(3)).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let (path, arrange) = (format!("/desk/visits/{id}"), format!("/desk/visits/{id}/arrange"));
    let (visit, old) = (liv.get(&path).await, liv.get(&arrange).await);
    let slots = old.attributes("button.slot", "value");
    let moved = liv.submit(&old, &format!("{path}/move"), &[("time", &first_slot(&old))]).await;
    assert_eq!(moved.status, 303, "{}", moved.text());
    let stands = visits::get(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    for refused in [
        liv.submit(&visit, &format!("{path}/cancel"), &[]).await,
        liv.submit(&old, &format!("{path}/called-off"), &[]).await,
        liv.submit(&old, &format!("{path}/move"), &[("time", slots.last().unwrap())]).await,
    ] {
        assert_eq!(refused.status, 409);
        assert!(refused.main().contains(CHANGED), "{}", refused.main());
    }
    let now = visits::get(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    assert_eq!((now.state, now.starts_at), (stands.state, stands.starts_at));
    assert_eq!(liv.submit(&liv.get(&path).await, &format!("{path}/cancel"), &[]).await.status, 303);
}

#[tokio::test]
async fn what_was_pressed_on_the_wrong_visit_is_put_back() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let at = NOW - Duration::HOUR;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    let (path, back) = (format!("/desk/visits/{id}"), format!("/desk/visits/{id}/put-back"));
    let page = liv.get(&path).await;
    assert!(page.all("summary").contains(&"The client did not come".to_owned()), "it is asked: {}", page.main());
    for wrong in ["arrive", "no-show"] {
        assert_eq!(liv.submit(&liv.get(&path).await, &format!("{path}/{wrong}"), &[]).await.status, 303);
        assert_eq!(liv.submit(&liv.visit(&path).await, &back, &[]).await.status, 303, "{wrong}");
        assert_eq!(state(&app, &id).await, "booked");
    }
    assert_eq!(changes(&app).await[..4], ["visit.put-back", "visit.no-show", "visit.put-back", "visit.arrived"]);
    assert_eq!(liv.submit(&liv.get(&path).await, &format!("{path}/no-show"), &[]).await.status, 303);
    let missed = liv.visit(&path).await;
    let other = studio.client("Ada Nilsen", "ada@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.liv, at + Duration::minutes(30)).await;
    let refused = liv.submit(&missed, &back, &[]).await;
    assert_eq!((refused.status, state(&app, &id).await), (409, "no_show"));
    assert!(refused.main().contains("That time is not free"), "{}", refused.main());
    let (liv, begun) = begun_at(&app, &studio, NOW + Duration::hours(3)).await;
    let (_, token) = liv.get("/desk").await.form("/team/sign-out");
    assert_eq!(liv.post(&format!("/desk/visits/{begun}/put-back"), &token).await.status, 409, "it has begun");
}
