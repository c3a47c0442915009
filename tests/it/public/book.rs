//! A client books herself, page by page, without a script.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

use palpebra::domain::ids::AnswersId;
use palpebra::domain::questionnaire::Answer;
use palpebra::store::health::StoredAnswers;
use palpebra::store::{clients, drafts, health, visits};
use palpebra::web::limits::Limits;
use reqwest::Method;
use time::Duration;
use time::macros::date;

use crate::support::TestApp;
use crate::support::booking::{DETAILS, SIGNED, answer_all, answer_page, fill, first_slot, take_first};
use crate::support::studio::{MIA, Studio};

async fn booked_rows(app: &TestApp) -> i64 {
    let mut c = app.app.db.read().await.unwrap();
    let far = app.app.clock.now() + Duration::days(400);
    let all = visits::between(&mut c, app.app.clock.now() - Duration::days(1), far).await.unwrap();
    i64::try_from(all.len()).unwrap()
}

#[tokio::test]
async fn a_first_visit_is_booked_with_answers_and_signature() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let home = person.get("/").await;
    assert!(home.text().contains("Lash lift") && home.text().contains("55.00 EUR"), "{}", home.text());
    let details = take_first(&person, studio.lift.as_str()).await;
    assert!(details.text().contains("held for you until 09:20"), "{}", details.text());
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    assert!(sign.main().contains("Check and sign") && sign.main().contains("Ottilie Farnborg"), "{}", sign.main());
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let done = person.follow(done).await;
    assert!(done.main().contains("Booked") && done.main().contains("Monday 2 March 2026, 11:00"), "{}", done.main());

    let mut c = app.app.db.read().await.unwrap();
    let client = clients::search(&mut c, "Ottilie", 5).await.unwrap().remove(0);
    assert_eq!(client.phone.as_str(), "+493055501277");
    let visit = visits::of_client(&mut c, &client.id).await.unwrap().remove(0);
    assert_eq!((visit.state.as_str(), visit.price_minor), ("booked", 5500));
    let answers = health::answers(&mut c, &client.id).await.unwrap();
    let consents = health::consents(&mut c, &client.id).await.unwrap();
    assert_eq!((answers.len(), consents.len()), (1, 1));
    assert_eq!(consents[0].answers.as_ref(), Some(&answers[0].id));
    assert_eq!(consents[0].visit.as_ref(), Some(&visit.id));
    let mail = app.mail_to("ottilie@clients.example.org").await;
    assert!(mail.0.letter.text.contains("Monday 2 March 2026, 11:00"), "{}", mail.0.letter.text);
    assert!(!mail.0.letter.text.to_lowercase().contains("lift"), "no name of a treatment in a mail");
}

#[tokio::test]
async fn test_and_treatment_are_booked_as_a_pair_at_least_two_days_apart_or_neither() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let path = format!("/services/{}", studio.lift_and_tint);
    let tests = person.get(&path).await;
    assert!(tests.text().contains("Two visits"), "{}", tests.text());
    let test = first_slot(&tests);
    let treatments = person.get(&format!("{path}?test={test}")).await;
    let treatment = first_slot(&treatments);
    let gap = |slot: &str| slot.split('.').next().unwrap().parse::<i64>().unwrap();
    assert!(gap(&treatment) - (gap(&test) + 600) >= 48 * 3600, "UK trade association for hair colour: 48 h ahead");

    let (_, token) = treatments.form("/services/");
    let mut too_soon = token.clone();
    too_soon.retain(|(name, _)| name != "time");
    too_soon.push(("time".to_owned(), test.clone()));
    let refused = person.post(&format!("{path}/hold"), &too_soon).await;
    assert_eq!(refused.status, 409, "a forged pair: {}", refused.text());
    let alone: Vec<_> = token
        .iter()
        .filter(|(name, _)| name == "csrf")
        .cloned()
        .chain([("time".to_owned(), treatment.clone())])
        .collect();
    assert_eq!(person.post(&format!("{path}/hold"), &alone).await.status, 400, "a treatment without its test");

    let held = person.submit(&treatments, "/services/", &[("time", &treatment)]).await;
    let details = person.follow(held).await;
    assert!(details.main().contains("Skin test for Lift and tint"), "{}", details.main());
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    let done = person.follow(done).await;
    assert!(done.main().contains("Booked"), "{}", done.main());
    assert_eq!(booked_rows(&app).await, 2);
}

#[tokio::test]
async fn a_refused_step_keeps_what_was_typed_and_says_why() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let long = "x".repeat(5000);
    for (field, value, words) in [
        ("mail", "ottilie", "has an @"),
        ("name", "", "write the name"),
        ("name", long.as_str(), "longer than"),
        ("phone", "call me", "figures"),
        ("born_year", "2027", "still to come"),
        ("born_year", "1850", "120 years"),
        ("born_month", "13", "calendar"),
    ] {
        let mut fields = DETAILS.to_vec();
        fields.push((field, value));
        let again = person.submit(&details, "/book/", &fields).await;
        assert_eq!(again.status, 422, "{field}={value:.20}");
        assert!(again.main().contains(words), "{field}={value:.20}: {}", again.main());
        let (_, kept) = again.form("/book/");
        assert!(kept.contains(&("born_day".to_owned(), "3".to_owned())), "{kept:?}");
    }
    let questions = person.submit(&details, "/book/", &DETAILS).await;
    let questions = person.follow(questions).await;
    let blank = person.submit(&questions, "/book/", &[]).await;
    assert_eq!(blank.status, 422, "blank is never no");
    let one = answer_page(&person, &questions, &[("perm_reaction", "perhaps")]).await;
    assert_eq!(one.status, 422);
    let unsigned = app.visitor();
    let details = take_first(&unsigned, studio.lift.as_str()).await;
    let sign = fill(&unsigned, &details, &DETAILS, &[]).await;
    let refused = unsigned.submit(&sign, "/book/", &[("typed_name", "Ottilie Farnborg")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.main().contains("Without it we can"), "{}", refused.main());
    assert_eq!(booked_rows(&app).await, 0);
}

#[tokio::test]
async fn one_press_says_no_to_what_was_left_open_and_leaves_a_yes_alone() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let next = person.submit(&details, "/book/", &DETAILS).await;
    let mut page = person.follow(next).await;
    let next = person.submit(&page, "/book/", &[("atopy", "yes"), ("rest", "no")]).await;
    assert_eq!(next.status, 303, "{}", next.main());
    page = person.follow(next).await;
    while page.source().contains("fieldset class=\"field answer") {
        let next = person.submit(&page, "/book/", &[("rest", "no")]).await;
        page = person.follow(next).await;
    }
    let done = person.submit(&page, "/book/", &SIGNED).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let mut c = app.app.db.read().await.unwrap();
    let client = clients::search(&mut c, "Ottilie", 5).await.unwrap().remove(0);
    let given = health::answers(&mut c, &client.id).await.unwrap().remove(0).set.answers;
    let words = |key| format!("{}", serde_json::to_value(given.get(key)).unwrap());
    assert_eq!((words("atopy").as_str(), words("conjunctivitis").as_str()), ("\"yes\"", "\"no\""));
}

#[tokio::test]
async fn steps_can_not_be_jumped() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    take_first(&person, studio.lift.as_str()).await;
    let page = person.get(&format!("/services/{}", studio.lift)).await;
    let held = person.submit(&page, "/services/", &[("time", &first_slot(&page))]).await;
    let draft = held.location().unwrap();
    assert_eq!(person.get(&format!("{draft}/sign")).await.location(), Some(format!("{draft}/details")));
    assert_eq!(person.get(&format!("{draft}/health/1")).await.location(), Some(format!("{draft}/details")));
    assert_eq!(person.get(&format!("{draft}/health/99")).await.location(), Some(format!("{draft}/details")));
    assert_eq!(person.get(&format!("{draft}/done")).await.location(), Some(draft.clone()));
    for step in ["details", "health/1", "sign", "time", "answers", "done"] {
        assert_eq!(app.visitor().get(&format!("{draft}/{step}")).await.status, 404, "another browser: {step}");
    }
}

#[tokio::test]
async fn a_hold_runs_out_and_the_same_time_is_taken_again_if_it_is_free() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    app.app.clock.advance(Duration::minutes(21));
    let next = person.submit(&details, "/book/", &DETAILS).await;
    assert_eq!(next.status, 303);
    let questions = person.follow(next).await;
    assert!(questions.main().contains("held for you until 09:41"), "{}", questions.main());
    let more = person.submit(&questions, "/book/", &[("more_time", "1")]).await;
    assert_eq!(more.status, 303, "the button renews and loses nothing");
}

#[tokio::test]
async fn a_time_taken_meanwhile_is_said_and_nothing_typed_is_lost() {
    let (app, studio) = TestApp::with_studio().await;
    let slow = app.visitor();
    let details = take_first(&slow, studio.lift.as_str()).await;
    let sign = fill(&slow, &details, &DETAILS, &[]).await;
    app.app.clock.advance(Duration::minutes(21));
    // Two practitioners have this time: two others take it.
    let slot = {
        let page = app.visitor().get(&format!("/services/{}", studio.lift)).await;
        first_slot(&page)
    };
    let when = slot.split('.').next().unwrap().to_owned();
    for who in [&studio.liv, &studio.noor] {
        let quick = app.visitor();
        let page = quick.get(&format!("/services/{}", studio.lift)).await;
        let held = quick.submit(&page, "/services/", &[("time", &format!("{when}.{who}"))]).await;
        assert_eq!(held.status, 303);
    }
    let answer = slow.submit(&sign, "/book/", &SIGNED).await;
    let page = slow.follow(answer).await;
    assert!(page.main().contains("Everything you filled in is kept"), "{}", page.main());
    assert!(page.main().contains("Monday 2 March 2026"), "the nearest times come first: {}", page.main());
    let again = slow.submit(&page, "/book/", &[("time", &first_slot(&page))]).await;
    let sign = slow.follow(again).await;
    assert!(sign.main().contains("Ottilie Farnborg"), "{}", sign.main());
    let (_, kept) = sign.form("/book/");
    assert!(kept.contains(&("typed_name".to_owned(), "Ottilie Farnborg".to_owned())), "{kept:?}");
    let done = slow.submit(&sign, "/book/", &[]).await;
    let done = slow.follow(done).await;
    assert!(done.main().contains("Booked"), "{}", done.main());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hundred_race_for_one_time_and_one_gets_it() {
    let (app, studio) = race_studio().await;
    let slot = first_slot(&app.visitor().get(&format!("/services/{}", studio.lift)).await);
    let mut ready = Vec::new();
    for _ in 0..100 {
        let person = app.visitor();
        let (_, mut fields) = person.get("/sign-in").await.form("/sign-in");
        fields.retain(|(name, _)| name == "csrf");
        fields.push(("time".to_owned(), slot.clone()));
        ready.push((person, fields));
    }
    let mut racers = tokio::task::JoinSet::new();
    for (person, fields) in ready {
        let path = format!("/services/{}/hold", studio.lift);
        racers.spawn(async move {
            let answer = person.post(&path, &fields).await;
            (answer.status, answer.main())
        });
    }
    let (mut won, mut told) = (0, 0);
    while let Some(Ok((status, text))) = racers.join_next().await {
        match status {
            303 => won += 1,
            409 => {
                told += 1;
                assert!(text.contains("taken a moment ago"), "{text}");
            }
            other => panic!("{other}: {text}"),
        }
    }
    assert_eq!((won, told), (1, 99));
    let held = app.dump().await.into_iter().filter(|cell| cell == "held").count();
    assert_eq!(held, 1, "the database shows one visit");
}

/// Without limits: here a hundred visitors share one address.
async fn race_studio() -> (TestApp, Studio) {
    TestApp::with_studio_and(Limits::off()).await
}

#[tokio::test]
async fn a_double_click_books_once() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    let (one, two) = tokio::join!(person.submit(&sign, "/book/", &SIGNED), person.submit(&sign, "/book/", &SIGNED));
    assert_eq!((one.status, two.status), (303, 303), "{} {}", one.main(), two.main());
    let last = person.follow(two).await;
    assert!(last.main().contains("Booked"), "{}", last.main());
    assert_eq!(booked_rows(&app).await, 1);
}

#[tokio::test]
async fn a_rule_that_forbids_is_told_kindly_and_nothing_is_booked() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let page = fill(&person, &details, &DETAILS, &[("conjunctivitis", "yes")]).await;
    assert!(page.main().contains("Why"), "{}", page.main());
    assert!(!page.main().contains("Sign and book"), "{}", page.main());
    assert_eq!(booked_rows(&app).await, 0);
}

/// Mia answered when one question was on lashes and brows at once.
#[tokio::test]
async fn a_returning_client_is_asked_what_is_new_among_the_questions() {
    let (app, studio) = TestApp::with_studio().await;
    let gone = ["last_lash_lift", "last_brow_lamination", "last_lash_tint", "last_brow_tint"];
    let mut set =
        studio.answers(&[("last_lift", Answer::Yes), ("last_lift_on", Answer::Date(date!(2026 - 02 - 23)))]).await;
    set.answers = set.answers.without(|key| gone.contains(&key));
    app.app.clock.advance(Duration::MINUTE);
    let given = StoredAnswers { id: AnswersId::from_random([7; 16]), set, taken: None, given_at: app.app.clock.now() };
    let mut tx = app.app.db.write().await.unwrap();
    health::add_answers(&mut tx, &studio.mia, &given).await.unwrap();
    tx.commit().await.unwrap();
    let mia = app.client(MIA).await;
    let page = take_first(&mia, studio.lift.as_str()).await;
    assert!(
        page.main().contains("Have your lashes been lifted before, here or elsewhere? Not answered"),
        "{}",
        page.main()
    );
    assert!(!page.main().contains("laminated") && !page.main().contains("Nothing has changed"), "{}", page.main());
    let next = mia.submit(&page, "/book/", &[("nothing", "check")]).await;
    let questions = mia.follow(next).await;
    let sign = answer_all(&mia, questions, &[]).await;
    let done = mia.submit(&sign, "/book/", &[SIGNED[0], SIGNED[1], ("typed_name", "Mia Sandgren")]).await;
    assert!(mia.follow(done).await.main().contains("Booked"));
    let newest = health::answers(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().remove(0).set;
    assert_eq!(newest.answers.get("last_lash_lift"), Some(&Answer::No));
}

/// A cold sore heals: it bars today, and not a visit five weeks from now, before which she is asked again (common practice,
/// no source).
#[tokio::test]
async fn what_passes_is_refused_today_and_booked_for_in_five_weeks() {
    let (app, studio) = TestApp::with_studio().await;
    let sore = [("herpes", "yes"), ("herpes_state", "active")];
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let refused = fill(&person, &details, &DETAILS, &sore).await;
    assert!(refused.main().contains("While it is active we won't treat"), "{}", refused.main());
    assert!(refused.main().contains("From Monday 30 March 2026 on"), "{}", refused.main());
    let times = person.get(&refused.link("See times from then on")).await;
    assert_eq!(times.status, 200);

    let path = format!("/services/{}", studio.lift);
    let page = person.get(&format!("{path}?from=2026-04-06")).await;
    let held = person.submit(&page, "/services/", &[("time", &first_slot(&page))]).await;
    let details = person.follow(held).await;
    let sign = fill(&person, &details, &DETAILS, &sore).await;
    assert!(sign.main().contains("the skin has to have been whole for two weeks"), "{}", sign.main());
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    assert!(person.follow(done).await.main().contains("Booked"));
}

/// "No colour and no allergy test under 16": advice of a UK trade body for hairdressing.
#[tokio::test]
async fn whoever_turns_sixteen_after_the_skin_test_that_she_chose_is_led_to_one_on_her_birthday() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let path = format!("/services/{}", studio.lift_and_tint);
    let test = first_slot(&person.get(&path).await);
    let treatments = person.get(&format!("{path}?test={test}")).await;
    let held = person.submit(&treatments, "/services/", &[("time", &first_slot(&treatments))]).await;
    let details = person.follow(held).await;
    let mut born = DETAILS;
    (born[3].1, born[4].1, born[5].1) = ("4", "3", "2010");
    let refused = fill(&person, &details, &born, &[]).await;
    assert!(refused.main().contains("We don't test the skin of anyone under 16"), "{}", refused.main());
    assert!(refused.main().contains("From Friday 6 March 2026 on"), "{}", refused.main());
    let tests = person.get(&refused.link("See times from then on")).await;
    assert!(tests.main().contains("First choose a time for the skin test"), "{}", tests.main());
    assert!(tests.main().contains("Wednesday 4 March") && !tests.main().contains("Tuesday 3 March"));
    let (action, _) = tests.form("/book/");
    let treatments = person.get(&format!("{action}?test={}", first_slot(&tests))).await;
    let kept = person.submit(&treatments, "/book/", &[("time", &first_slot(&treatments))]).await;
    let sign = person.follow(kept).await;
    assert!(sign.main().contains("Check and sign"), "{}", sign.main());
}

#[tokio::test]
async fn a_returning_client_signs_in_and_confirms_her_last_answers() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    assert!(answers.main().contains("Is this still right?"), "{}", answers.main());
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let sign = mia.follow(next).await;
    assert!(sign.main().contains("Mia Sandgren"), "her details are known: {}", sign.main());
    let done = mia.submit(&sign, "/book/", &SIGNED).await;
    let done = mia.follow(done).await;
    assert!(done.main().contains("Booked"), "{}", done.main());
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(
        health::answers(&mut c, &studio.mia).await.unwrap().len(),
        2,
        "confirmed answers follow the earlier ones"
    );
}

#[tokio::test]
async fn whoever_names_a_client_s_mail_and_birthday_learns_nothing_but_joins_her_record() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let mut fields = DETAILS.to_vec();
    fields.extend([
        ("name", "mia sandgren"),
        ("mail", MIA),
        ("born_day", "14"),
        ("born_month", "6"),
        ("born_year", "1991"),
    ]);
    let next = person.submit(&details, "/book/", &fields).await;
    let questions = person.follow(next).await;
    assert!(!questions.text().contains("Is this still right?"));
    let sign = answer_all(&person, questions, &[]).await;
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    person.follow(done).await;
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(visits::of_client(&mut c, &studio.mia).await.unwrap().len(), 1);
    drop(c);
    assert_eq!(person.get("/me").await.status, 303, "still a visitor");
}

#[tokio::test]
async fn unfinished_bookings_go_after_two_days() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let page = person.get(&format!("/services/{}", studio.lift)).await;
    let held = person.submit(&page, "/services/", &[("time", &first_slot(&page))]).await;
    let draft = held.location().unwrap();
    app.app.clock.advance(Duration::hours(47));
    palpebra::jobs::housekeeping::sweep(&app.app).await.unwrap();
    assert_eq!(person.visit(&draft).await.status, 200);
    app.app.clock.advance(Duration::hours(49));
    palpebra::jobs::housekeeping::sweep(&app.app).await.unwrap();
    assert_eq!(person.get(&draft).await.status, 404);
    let mut tx = app.app.db.write().await.unwrap();
    assert_eq!(drafts::sweep(&mut tx, app.app.clock.now()).await.unwrap(), 0);
}

#[tokio::test]
async fn odd_paths_and_bodies_are_plain_4xx_pages() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    for path in [
        "/services/nothing",
        "/book/nothing",
        "/book/aaaaaaaaaaaaaaaaaaaaaaaaaa/details",
        "/static/x/y",
        "/no/such/page",
    ] {
        assert_eq!(person.get(path).await.status, 404, "{path}");
    }
    let page = person.get(&format!("/services/{}", studio.lift)).await;
    for slot in ["", "soon", "1.2.3", "99999999999999999999.x", "-1.aaaaaaaaaaaaaaaaaaaaaaaaaa"] {
        let answer = person.submit(&page, "/services/", &[("time", slot)]).await;
        assert!(answer.status == 400 || answer.status == 409, "{slot}: {}", answer.status);
    }
    let hold = format!("/services/{}/hold", studio.lift);
    let json = person.request(Method::POST, &hold).header("content-type", "application/json").body("{}");
    assert_eq!(json.send().await.unwrap().status(), 415);
    let huge = person.request(Method::POST, &hold).header("content-type", "application/x-www-form-urlencoded");
    assert_eq!(huge.body("a=".to_owned() + &"x".repeat(70_000)).send().await.unwrap().status(), 413);
    assert_eq!(person.request(Method::PUT, "/").send().await.unwrap().status(), 405);
}

/// Each is answered before the other, or after it: what was told to be kept is there.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_tabs_that_send_at_the_same_moment_lose_nothing_that_was_kept() {
    let (app, studio) = TestApp::with_studio_and(Limits::off()).await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let first = person.follow(person.submit(&details, "/book/", &DETAILS).await).await;
    let second = person.follow(answer_page(&person, &first, &[]).await).await;
    let pages = [(&first, "atopy"), (&second, "stye")];
    let paths = pages.map(|(page, _)| page.form("/book/").0);
    let mut now = ["no"; 2];
    let mut kept = 0;
    for round in 0..30 {
        let word = if round % 2 == 0 { "yes" } else { "no" };
        let [one, other] = pages.map(|(page, key)| {
            let person = &person;
            async move { answer_page(person, page, &[(key, word)]).await }
        });
        let (one, other) = tokio::join!(one, other);
        for (at, answered) in [one, other].iter().enumerate() {
            assert!(matches!(answered.status, 303 | 409), "{}: {}", answered.status, answered.main());
            if answered.status == 303 {
                now[at] = word;
                kept += 1;
            }
        }
        for ((path, (_, key)), word) in paths.iter().zip(pages).zip(now) {
            let page = person.get(path).await;
            let ticked = page.attributes(&format!("input[name={key}][checked]"), "value");
            assert_eq!(ticked, [word], "{key} in round {round}");
        }
    }
    assert!(kept >= 30, "of two at least one is kept: {kept}");
}
