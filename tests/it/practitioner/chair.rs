//! At the chair: checks, steps with their times by eye, shields, and what follows.

use palpebra::actions::case::Known;
use palpebra::actions::steps::{save_plan, save_shields};
use palpebra::domain::ids::VisitId;
use palpebra::domain::shield::Shield;
use palpebra::domain::steps::{Minutes, Part, Plan, Step, Trait};
use palpebra::domain::timing::Side;
use palpebra::store::steps::Subject;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{accounts, chair, treatments};
use time::{Duration, OffsetDateTime};

use super::treatment::under_way;
use super::{changes, log};
use crate::support::app::NOW;
use crate::support::chair::{start, ticks};
use crate::support::studio::{GOOD_BATCH, LIV, NOOR};
use crate::support::{Html, Person, Studio, TestApp};

pub(super) const FIRST: &str = "aaaaaaaaaaaaaaaaaaaaaaaaaa";
pub(super) const SECOND: &str = "bbbbbbbbbbbbbbbbbbbbbbbbbb";
const THIRD: &str = "cccccccccccccccccccccccccc";
const FOURTH: &str = "dddddddddddddddddddddddddd";

async fn arrived(app: &TestApp, studio: &Studio) -> (Person, VisitId) {
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await.status, 303);
    (liv, id)
}

/// A press so many seconds after nine.
pub(super) fn on(id: &str, step: u8, side: &str, second: i64) -> String {
    let at = NOW.unix_timestamp() + second;
    format!(r#"{{"id":"{id}","kind":"on","step":{step},"side":"{side}","at":{at},"seconds":360}}"#)
}

pub(super) fn off(id: &str, step: u8, side: &str, second: i64) -> String {
    let at = NOW.unix_timestamp() + second;
    format!(r#"{{"id":"{id}","kind":"off","step":{step},"side":"{side}","at":{at}}}"#)
}

pub(super) async fn send(person: &Person, visit: &VisitId, now: OffsetDateTime, presses: &[String]) -> Html {
    let (_, mut fields) = person.get("/desk").await.form("/team/sign-out");
    fields.push(("now".to_owned(), now.unix_timestamp().to_string()));
    fields.push(("presses".to_owned(), format!("[{}]", presses.join(","))));
    person.post(&format!("/desk/visits/{visit}/chair/presses"), &fields).await
}

#[tokio::test]
async fn only_the_page_of_a_treatment_under_way_says_that_it_may_be_kept() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = arrived(&app, &studio).await;
    let path = format!("/desk/visits/{id}/chair");
    let marked = async |path: &str| liv.get(path).await.headers.contains_key("under-way");
    assert!(!marked(&path).await, "the check before starting");
    start(&liv, id.as_str(), &[]).await;
    assert!(marked(&path).await);
    assert!(!marked(&format!("/desk/visits/{id}")).await);
}

#[tokio::test]
async fn nothing_starts_before_every_point_is_ticked() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = arrived(&app, &studio).await;
    let path = format!("/desk/visits/{id}/start");
    let page = liv.get(&format!("/desk/visits/{id}/chair")).await;
    let all = ticks(&page);
    let but_one: Vec<(&str, &str)> = all[1..].iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let refused = liv.submit(&page, &path, &but_one).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.all("#many-day-error").len(), 1);
    assert!(refused.all("#many-hygiene-error").is_empty());
    let mut other = but_one.clone();
    other.push(("many-day", "0"));
    other.push(("stamp", "0000000000000000"));
    assert_eq!(liv.submit(&page, &path, &other).await.status, 422, "the list was another one");
    assert!(chair::check(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().is_none());
    let started = start(&liv, id.as_str(), &[("many-traits", "fine")]).await;
    assert_eq!(started.location(), Some(format!("/desk/visits/{id}/chair")));
    let check = chair::check(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    assert_eq!(check.on_the_day.len() + check.hygiene.len(), all.len());
    assert_eq!(check.on_the_day[0], "Contact lenses are out");
    assert_eq!((check.by.as_str(), check.at, check.traits), ("Liv Tannhauer", NOW, vec![Trait::Fine]));
    let shown = liv.get(&format!("/desk/visits/{id}/chair")).await;
    assert!(shown.main().contains("ticked Monday 2 March 2026, 09:00 by Liv Tannhauer"), "{}", shown.main());
}

#[tokio::test]
async fn presses_are_stored_once_and_make_the_record() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let now = app.app.clock.now();
    // The second eye 90 seconds after the first, which stays on for too long.
    let presses = [on(FIRST, 1, "right", 600), on(SECOND, 1, "left", 690), off(THIRD, 1, "right", 1000)];
    let told = send(&liv, &id, now, &presses[..2]).await;
    assert_eq!(told.status, 200, "{}", told.text());
    let told = send(&liv, &id, now, &presses).await;
    assert_eq!(told.source().matches("\"id\"").count(), 3, "{}", told.source());
    send(&liv, &id, now, &[off(FOURTH, 1, "left", 1062), presses[0].clone()]).await;
    let stored = chair::pressed(&mut app.app.db.read().await.unwrap(), &id).await.unwrap();
    assert_eq!(stored.len(), 4);
    assert!(stored.iter().all(|pressed| pressed.by == "Liv Tannhauer" && pressed.received_at == now));
    let timed: Vec<String> =
        log(&app).await.into_iter().filter(|e| e.action == "treatment.timed").map(|e| e.detail).collect();
    assert_eq!(timed, ["1 press", "1 press", "2 presses"], "nothing is written down twice");

    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let value = |name: &str| page.form(&path).1.iter().find(|(key, _)| key == name).map(|(_, value)| value.clone());
    let filled = ["on_1_right_0", "off_1_right_0", "on_1_left_0", "off_1_left_0"].map(|name| value(name).unwrap());
    assert_eq!(filled, ["09:10:00", "09:16:40", "09:11:30", "09:17:42"]);
    let lotion = format!("batch_{}", studio.lotion);
    let fields = [(lotion.as_str(), GOOD_BATCH), ("outcome", "as_wished"), ("aftercare", "yes"), ("rinsed", "yes")];
    let mut wrong = fields.to_vec();
    wrong.push(("off_1_left_0", "09:11:29"));
    let refused = liv.submit(&page, &path, &wrong).await;
    assert_eq!(refused.all("#off_1_left_0-error"), ["That is before it went on."]);
    let done = liv.submit(&page, &path, &fields).await;
    let shown = liv.follow(done).await;
    let main = shown.main();
    for words in [
        "First lotion, right eye: 09:10:00 to 09:16:40, time up 09:16:00: 6 min 40 s. 40 s after its time was up, 40 s over the label’s longest time",
        "First lotion, left eye: 09:11:30 to 09:17:42",
        "Eyes rinsed Yes",
        "First lotion 7 minutes",
    ] {
        assert!(main.contains(words), "{words}: {main}");
    }
    assert!(!main.contains("Late entry"), "{main}");
    let record = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    let seconds = |at: OffsetDateTime| (at - NOW).whole_seconds();
    let times: Vec<_> = record.versions[0]
        .times
        .iter()
        .map(|time| (time.side, seconds(time.on), time.up.map(seconds), seconds(time.off)))
        .collect();
    assert_eq!(times, [(Side::Right, 600, Some(960), 1000), (Side::Left, 690, Some(1050), 1062)]);
    let letter = app.mail_to(crate::support::studio::MIA).await.0.letter;
    assert!(letter.text.contains("lashes dry for 24 hours") && letter.html.contains("<li>"), "{}", letter.text);
}

#[tokio::test]
async fn what_can_not_be_is_not_taken() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = arrived(&app, &studio).await;
    let early = send(&liv, &id, NOW, &[on(FIRST, 1, "right", 0)]).await;
    assert_eq!(early.status, 409, "nothing is on before the start");
    assert_eq!(start(&liv, id.as_str(), &[]).await.status, 303);
    let over = on(FIRST, 1, "right", 10).replace("360", "361");
    let told = send(&liv, &id, NOW, &[over, on(SECOND, 0, "left", 10), on(THIRD, 9, "left", 10)]).await;
    assert_eq!(told.source(), r#"{"events":[],"refused":3,"over":false}"#, "over the label, and steps without a timer");
    for odd in [r#"{"id":"x"}"#.to_owned(), on("short", 1, "left", 1), on(FIRST, 1, "nose", 1)] {
        assert_eq!(send(&liv, &id, NOW, &[odd]).await.status, 400);
    }
    let noor = app.member(NOOR.0, NOOR.1).await;
    assert_eq!(send(&noor, &id, NOW, &[on(FIRST, 1, "right", 10)]).await.status, 404);
    assert!(chair::pressed(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_device_whose_clock_is_wrong_is_set_right() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let now = app.app.clock.now();
    let wrong = Duration::minutes(7);
    send(&liv, &id, now + wrong, &[on(FIRST, 1, "left", 420 + 60), off(SECOND, 1, "left", 420 + 400)]).await;
    send(
        &liv,
        &id,
        now + Duration::seconds(3),
        &[on(THIRD, 3, "left", 700).replace("360", "300"), off(FOURTH, 3, "left", 900)],
    )
    .await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let value = |name: &str| page.form(&path).1.iter().find(|(key, _)| key == name).map(|(_, value)| value.clone());
    assert_eq!(value("on_1_left_0").as_deref(), Some("09:01:00"));
    assert_eq!(value("off_1_left_0").as_deref(), Some("09:06:40"));
    assert_eq!(value("on_3_left_0").as_deref(), Some("09:11:40"), "seconds are the network's, not the clock's");
}

#[tokio::test]
async fn the_same_record_is_written_by_hand_and_late_entries_say_so() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    app.app.clock.advance(Duration::days(1));
    drop(liv);
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let lotion = format!("batch_{}", studio.lotion);
    let times = [
        ("on_1_left_0", "9:10"),
        ("off_1_left_0", "9:15:31"),
        ("on_1_right_0", "09:11:30"),
        ("off_1_right_0", "09:17:30"),
    ];
    let mut fields = vec![(lotion.as_str(), GOOD_BATCH), ("outcome", "as_wished"), ("ended", "10:00")];
    fields.extend(times);
    fields.push(("off_1_right_0", ""));
    let refused = liv.submit(&page, &path, &fields).await;
    assert_eq!(refused.all("#off_1_right_0-error"), ["Write the time like 14:03:20."]);
    fields.push(("off_1_right_0", "09:17:30"));
    let done = liv.submit(&page, &path, &fields).await;
    let main = liv.follow(done).await.main();
    assert!(main.contains("Late entry"), "{main}");
    let record = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    let version = &record.versions[0];
    assert_eq!((version.lotion_one_minutes, version.rinsed), (Some(6), Some(false)));
    assert_eq!(version.times.iter().map(|time| time.up.is_some()).collect::<Vec<_>>(), [false, true]);
    let path = format!("/desk/treatments/{}/correction", record.id);
    let page = liv.get(&path).await;
    let done = liv.submit(&page, &path, &[("off_1_left_0", "9:16:05"), ("reason", "Misread the clock.")]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let record = treatments::get(&mut app.app.db.read().await.unwrap(), &record.id).await.unwrap().unwrap();
    let lengths = |n: usize| record.versions[n].times.iter().map(|t| t.length().whole_seconds()).collect::<Vec<_>>();
    assert_eq!((lengths(0), lengths(1)), (vec![365, 360], vec![331, 360]));
    assert_eq!(changes(&app).await[..2], ["treatment.corrected", "treatment.recorded"]);
}

#[tokio::test]
async fn shields_are_ranked_for_her_lashes_and_the_used_one_is_kept() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = accounts::by_mail(&mut app.app.db.read().await.unwrap(), LIV.0).await.unwrap().unwrap();
    let table = [("S", 8.0), ("M", 10.0), ("L", 12.0)].map(|(name, arc)| Shield::parse(name, arc).unwrap());
    save_shields(&app.app, &owner.member, &table).await.unwrap();
    studio
        .treated(&studio.mia, &studio.lift, NOW - Duration::days(200), Outcome::LessThanWished, &[&studio.lotion])
        .await;
    let (liv, id) = under_way(&app, &studio).await;
    let (path, post) = (format!("/desk/visits/{id}/chair"), format!("/desk/visits/{id}/chair/shield"));
    let page = liv.get(&path).await;
    assert!(page.main().contains("Last time: Thursday 14 August 2025, Lash lift: medium"), "{}", page.main());
    assert!(page.main().contains("less than wished"), "{}", page.main());
    let refused = liv.submit(&page, &post, &[("inner", "70"), ("effect", "even")]).await;
    assert_eq!((refused.status, refused.all("#middle-error").len(), refused.all("#inner-error").len()), (422, 1, 0));
    let measured = [("inner", "65"), ("middle", "75"), ("outer", "75"), ("effect", "even")];
    let done = liv.submit(&page, &post, &measured).await;
    let page = liv.follow(done).await;
    assert_eq!(page.all(".shield-card h3"), ["1. Shield M", "2. Shield S", "3. Shield L"]);
    assert!(page.main().contains("10.0 mm: 65 %, 75 %, 75 %, they lie on it"), "{}", page.main());
    let done = liv.submit(&page, &post, &[("used", "M")]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let form = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&form).await;
    assert!(page.form(&form).1.contains(&("shield".to_owned(), "M".to_owned())));
}

#[tokio::test]
async fn steps_of_a_product_and_reduced_times_hold_from_the_start_on() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = accounts::by_mail(&mut app.app.db.read().await.unwrap(), LIV.0).await.unwrap().unwrap().member;
    let minutes = Minutes { usual: 9, most: 12, fine: Some(7), tinted: None, lifted: None };
    let plan = |usual| {
        let step = Step::parse("Slow lotion", "", Part::LotionOne, Some(Minutes { usual, ..minutes })).unwrap();
        Plan::parse(vec![step]).unwrap()
    };
    let of = Subject::Service(studio.lift.clone(), Some(studio.lotion.clone()));
    save_plan(&app.app, &owner, &of, &plan(9)).await.unwrap();
    let (liv, id) = arrived(&app, &studio).await;
    let fields = [("product", studio.lotion.as_str()), ("many-traits", "fine")];
    assert_eq!(start(&liv, id.as_str(), &fields).await.status, 303);
    save_plan(&app.app, &owner, &of, &plan(10)).await.unwrap();
    let page = liv.get(&format!("/desk/visits/{id}/chair")).await;
    assert!(
        page.main().contains("7 minutes since the lashes are fine, never longer than 12 minutes"),
        "{}",
        page.main()
    );
    assert_eq!(page.attributes(".two-sides", "data-seconds"), ["420"]);
    assert!(!page.main().contains("Second lotion"), "{}", page.main());
}

/// The first day on which she may be lifted again, as whoever books is told and as the retouch list has it.
async fn opens(app: &TestApp, studio: &Studio) -> Option<String> {
    let listed = app.owner().await.get("/owner/retouch/list.csv").await.source();
    let listed = listed.lines().skip(1).map(|line| line.split(',').nth(3).unwrap().to_owned()).next();
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let known = Known::load(&mut c, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    let window = known.window(app.app.clock.now() + Duration::DAY, &[]).map(|window| window.opens().to_string());
    assert_eq!(listed, window, "one rule serves both");
    window
}

#[tokio::test]
async fn a_lift_that_was_stopped_opens_a_wait_once_anything_was_on_her_lashes() {
    let slip = format!(
        r#"{{"id":"{SECOND}","kind":"take_back","step":1,"side":"right","at":{},"slip":"{FIRST}"}}"#,
        NOW.unix_timestamp() + 610
    );
    let pressed = on(FIRST, 1, "right", 600);
    let lotion = |studio: &Studio| (format!("batch_{}", studio.lotion), GOOD_BATCH.to_owned());
    for (presses, minutes, named, waits) in [
        (vec![], "", false, false),
        (vec![], "1", false, true),
        (vec![], "", true, true),
        (vec![pressed.clone()], "", false, true),
        (vec![pressed, slip], "", false, false),
    ] {
        let (app, studio) = TestApp::with_studio().await;
        assert_eq!(opens(&app, &studio).await, None);
        let (liv, id) = under_way(&app, &studio).await;
        let begun = opens(&app, &studio).await;
        assert_eq!(begun.as_deref(), Some("2026-04-17"), "begun, and nothing is written yet");
        send(&liv, &id, app.app.clock.now(), &presses).await;
        let path = format!("/desk/visits/{id}/treatment");
        let page = liv.get(&path).await;
        let named = if named { lotion(&studio) } else { Default::default() };
        let fields = [
            ("outcome", "stopped"),
            ("on_1_right_0", ""),
            ("lotion_one", minutes),
            (named.0.as_str(), named.1.as_str()),
        ];
        let done = liv.submit(&page, &path, &fields).await;
        assert_eq!(done.status, 303, "{}", done.main());
        let told = opens(&app, &studio).await;
        assert_eq!(told, begun.filter(|_| waits), "{} presses, {minutes} minutes, {named:?}", presses.len());
        // What a device sends later counts too.
        send(&liv, &id, app.app.clock.now(), &[on(THIRD, 1, "left", 620)]).await;
        assert!(opens(&app, &studio).await.is_some());
    }
}
