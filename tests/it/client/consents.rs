//! What she signs, refuses and takes back, and when an earlier signature holds.

use palpebra::actions::case::Known;
use palpebra::actions::verdicts;
use palpebra::domain::consent::{Agreement, ConsentRecord, ConsentStanding, Tick};
use palpebra::domain::ids::ClientId;
use palpebra::domain::questionnaire::Answer;
use palpebra::store::visits::Purpose;
use palpebra::store::{self, audit, health, letters, visits};
use time::Duration;
use time::macros::date;

use crate::documents::upload::jpeg;
use crate::support::booking::{DETAILS, SIGNED, answer_all, fill, take_first};
use crate::support::studio::{LIV, MIA, Studio};
use crate::support::{Person, TestApp};

const ALL_TICKS: [&str; 5] = ["treatment", "health_data", "record_photos", "publicity_photos", "marketing"];

async fn standing(app: &TestApp, studio: &Studio, client: &ClientId) -> ConsentStanding {
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    Known::load(&mut c, &row, Some(client), &studio.lift).await.unwrap().consent_standing()
}

async fn agreement(app: &TestApp, client: &ClientId, tick: Tick) -> Agreement {
    let mut c = app.app.db.read().await.unwrap();
    let all = health::agreements(&mut c, client).await.unwrap();
    all.into_iter().find(|(one, _)| *one == tick).unwrap().1
}

/// Mia books a lift and signs with these ticks.
async fn books(app: &TestApp, studio: &Studio, ticks: &[&str]) -> Person {
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let sign = mia.follow(next).await;
    let mut fields: Vec<(&str, &str)> = ticks.iter().map(|tick| (*tick, "yes")).collect();
    fields.push(("typed_name", "Mia Sandgren"));
    let done = mia.submit(&sign, "/book/", &fields).await;
    assert_eq!(done.status, 303, "{}", done.main());
    mia
}

#[tokio::test]
async fn nothing_is_ticked_beforehand_and_each_needed_tick_is_asked_for_at_its_box() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    let boxes = sign.attributes("input[type=checkbox]", "name");
    assert_eq!(boxes, ALL_TICKS);
    assert!(sign.attributes("input[type=checkbox][checked]", "name").is_empty());
    for (missing, given) in [("treatment", "health_data"), ("health_data", "treatment")] {
        let fields = [(given, "yes"), (missing, ""), ("marketing", "yes"), ("typed_name", "Ottilie Farnborg")];
        let refused = person.submit(&sign, "/book/", &fields).await;
        assert_eq!(refused.status, 422);
        assert_eq!(refused.all(&format!(".field.bad:has(#{missing}) .error")).len(), 1, "{}", refused.main());
        let kept = refused.attributes("input[type=checkbox][checked]", "name");
        assert!(kept.contains(&"marketing".to_owned()), "{kept:?}");
    }
    for (name, words) in [
        ("", "write the name"),
        ("?!", "at least one letter"),
        (&*"x".repeat(300), "longer than"),
        (" ", "write the name"),
    ] {
        let fields = [("treatment", "yes"), ("health_data", "yes"), ("typed_name", name)];
        let refused = person.submit(&sign, "/book/", &fields).await;
        assert_eq!(refused.status, 422, "{name}");
        assert!(refused.main().contains(words), "{name}: {}", refused.main());
    }
    // A drawing that is none is left out; the typed name signs alone.
    let mut fields = SIGNED.to_vec();
    fields.push(("drawing", "<svg>"));
    assert_eq!(person.submit(&sign, "/book/", &fields).await.status, 303);
    assert!(!newest_paper(&app).await.contains("svg"));
}

/// What was signed last, as JSON.
async fn newest_paper(app: &TestApp) -> String {
    let mut c = app.app.db.read().await.unwrap();
    let newest = "SELECT client_id FROM consent ORDER BY rowid DESC LIMIT 1";
    let newest: String = sqlx::query_scalar(newest).fetch_one(&mut *c).await.unwrap();
    let signed = health::consents(&mut c, &ClientId::parse(&newest).unwrap()).await.unwrap().remove(0);
    serde_json::to_string(&signed.record).unwrap()
}

#[tokio::test]
async fn a_returning_client_with_nothing_changed_books_on_her_earlier_signature() {
    let (app, studio) = TestApp::with_studio().await;
    books(&app, &studio, &["treatment", "health_data", "record_photos"]).await;
    app.app.clock.advance(Duration::days(3));
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let text = answers.main();
    assert!(text.contains("You gave these answers on Monday 2 March 2026"), "{text}");
    assert!(text.contains("What you signed on Monday 2 March 2026 still holds"), "{text}");
    let done = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let done = mia.follow(done).await;
    assert!(done.main().contains("Booked"), "one page lies between the times and the end: {}", done.main());
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(health::consents(&mut c, &studio.mia).await.unwrap().len(), 1, "nothing new was signed");
    assert_eq!(
        health::answers(&mut c, &studio.mia).await.unwrap().len(),
        3,
        "the confirmed answers have their own day"
    );
    drop(c);
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::SignedCurrent);
}

#[tokio::test]
async fn a_changed_answer_is_signed_for_anew() {
    let (app, studio) = TestApp::with_studio().await;
    books(&app, &studio, &["treatment", "health_data"]).await;
    app.app.clock.advance(Duration::days(3));
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "check")]).await;
    let questions = mia.follow(next).await;
    let sign = answer_all(&mia, questions, &[("contacts", "yes")]).await;
    assert!(sign.main().contains("What you agree to"), "{}", sign.main());
    let done =
        mia.submit(&sign, "/book/", &[("treatment", "yes"), ("health_data", "yes"), ("typed_name", "Mia S")]).await;
    assert!(mia.follow(done).await.main().contains("Booked"));
    let mut c = app.app.db.read().await.unwrap();
    let signed = health::consents(&mut c, &studio.mia).await.unwrap();
    let given = health::answers(&mut c, &studio.mia).await.unwrap();
    let ConsentRecord::Signed(newest) = &signed[0].record else { panic!("signed") };
    assert_eq!(newest.subject.answers, given[0].set.answers.fingerprint(), "the hash of the very answers");
    let text = health::consent_text(&mut c, signed[0].text_version).await.unwrap();
    assert_eq!(newest.subject.text, text.fingerprint(), "and of the very text");
}

#[tokio::test]
async fn what_she_changed_stays_changed_whichever_way_she_comes_back_to_her_answers() {
    let (app, studio) = TestApp::with_studio().await;
    books(&app, &studio, &["treatment", "health_data"]).await;
    app.app.clock.advance(Duration::days(3));
    let mia = app.client(MIA).await;
    let before = take_first(&mia, studio.lift.as_str()).await;
    let again = [("nothing", "check")];
    let next = mia.submit(&before, "/book/", &again).await;
    let questions = mia.follow(next).await;
    let sign = answer_all(&mia, questions, &[("contacts", "yes")]).await;
    let answers = sign.attributes("main dd a", "href").into_iter().find(|href| href.ends_with("/answers")).unwrap();
    let now = mia.get(&answers).await;
    assert!(now.main().contains("This is what you answered now"), "{}", now.main());
    assert!(now.attributes("main form button", "value").iter().all(|value| value != "changed"), "{}", now.main());
    let with_contacts =
        now.attributes("main p a", "href").into_iter().find(|href| href.ends_with("/health/1")).unwrap();
    let section = |page: &crate::support::Html| page.attributes("input[name=contacts][checked]", "value");
    let mut sections = 1;
    while section(&mia.get(&with_contacts.replace("health/1", &format!("health/{sections}"))).await).is_empty() {
        sections += 1;
    }
    let contacts = with_contacts.replace("health/1", &format!("health/{sections}"));
    // Also from a page that was there before she changed anything, as the back button shows it.
    let at_once = [("nothing", "changed"), ("at_once", "1")];
    let ways = [&[][..], &[("more_time", "1")], &[("later", "1")], &[("nothing", "changed")], &at_once, &again];
    for page in [&now, &before] {
        for way in ways {
            let led = mia.submit(page, "/book/", way).await;
            assert!(!led.location().unwrap().ends_with("/done"), "{way:?}");
            assert_eq!(section(&mia.get(&contacts).await), ["yes"], "{way:?}");
        }
    }
    let mut page = mia.visit(&answers.replace("answers", "health/1")).await;
    while page.source().contains("fieldset class=\"field answer") {
        let next = mia.submit(&page, "/book/", &[]).await;
        assert_eq!(next.status, 303, "all that she answered still stands there: {}", next.main());
        page = mia.follow(next).await;
    }
    let fields = [("treatment", "yes"), ("health_data", "yes"), ("typed_name", "Mia S")];
    assert_eq!(mia.submit(&page, "/book/", &fields).await.status, 303);
    let given = health::answers(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().remove(0);
    assert_eq!(given.set.answers.get("contacts"), Some(&Answer::Yes));
}

#[tokio::test]
async fn changing_one_section_of_last_time_keeps_the_others() {
    let (app, studio) = TestApp::with_studio().await;
    books(&app, &studio, &["treatment", "health_data"]).await;
    app.app.clock.advance(Duration::days(3));
    let mia = app.client(MIA).await;
    let before = take_first(&mia, studio.lift.as_str()).await;
    let second = before.attributes("main p a", "href").into_iter().find(|href| href.ends_with("/health/2")).unwrap();
    let page = mia.get(&second).await;
    assert!(!page.attributes("main input[type=radio][checked]", "value").is_empty(), "as she answered last time");
    assert_eq!(mia.submit(&page, "/book/", &[]).await.status, 303);
    let first = mia.get(&second.replace("health/2", "health/1")).await;
    assert!(!first.attributes("main input[type=radio][checked]", "value").is_empty());
    for n in 1..9 {
        let page = mia.get(&second.replace("health/2", &format!("health/{n}"))).await;
        assert!(
            page.attributes("input[name=changes][checked]", "value").is_empty(),
            "whether anything has changed is asked anew"
        );
    }
}

#[tokio::test]
async fn a_text_that_changes_while_she_reads_it_is_read_anew_before_she_signs_or_refuses() {
    let (app, studio) = TestApp::with_studio().await;
    let at = app.app.clock.now() + Duration::days(7);
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    let mia = app.client(MIA).await;
    let path = format!("/me/visits/{visit}/sign");
    let page = mia.get(&path).await;
    let owner = app.owner().await;
    let text = owner.get("/owner/consent-text").await;
    let words = [("words", "What is new\nWe now open the window."), ("reviewed_by", "x"), ("reason", "y")];
    assert_eq!(owner.submit(&text, "/owner/consent-text", &words).await.status, 303);
    let ticked = [("treatment", "yes"), ("health_data", "yes")];
    for fields in [&ticked[..], &[("refuse", "1")], &[ticked[0], ticked[1], ("typed_name", "Mia")]] {
        let changed = mia.submit(&page, "/me/visits/", fields).await;
        assert_eq!(changed.status, 409, "{}", changed.main());
        assert!(changed.main().contains("We now open the window."), "{}", changed.main());
        assert!(changed.attributes("main input[type=checkbox][checked]", "name").is_empty(), "ticks to other words");
    }
    let mut c = app.app.db.read().await.unwrap();
    assert!(health::consents(&mut c, &studio.mia).await.unwrap().is_empty());
    drop(c);
    // The same of a booking.
    let she = app.visitor();
    let details = take_first(&she, studio.lift.as_str()).await;
    let sign = fill(&she, &details, &DETAILS, &[]).await;
    let text = owner.get("/owner/consent-text").await;
    let words = [("words", "What is newer\nWe close it."), ("reviewed_by", "x"), ("reason", "y")];
    assert_eq!(owner.submit(&text, "/owner/consent-text", &words).await.status, 303);
    assert_eq!(she.submit(&sign, "/book/", &[("refuse", "1")]).await.status, 409);
    assert!(!app.dump().await.iter().any(|cell| cell == "consent.refused"));
}

#[tokio::test]
async fn an_answer_that_changes_after_booking_is_signed_for_on_her_page() {
    let (app, studio) = TestApp::with_studio().await;
    let at = app.app.clock.now() + Duration::days(7);
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let mia = app.client(MIA).await;
    assert!(!mia.get("/me").await.main().contains("Please sign"));
    app.app.clock.advance(Duration::MINUTE);
    studio.answer(&studio.mia, &[("contacts", Answer::Yes)]).await;
    let page = mia.get(&mia.get("/me").await.link("Read and sign")).await;
    assert!(page.all("#answers dl").join(" ").contains("Do you wear contact lenses? Yes"), "{}", page.main());
    assert!(page.main().contains("A health answer has changed"), "{}", page.main());
    let path = format!("/me/visits/{visit}/sign");
    let refused = mia.submit(&page, "/me/visits/", &[("typed_name", "Mia")]).await;
    assert_eq!(refused.status, 422);
    let other_text = [("treatment", "yes"), ("health_data", "yes"), ("typed_name", "Mia"), ("text", "another")];
    let changed = mia.submit(&page, "/me/visits/", &other_text).await;
    assert_eq!(changed.status, 409, "what was on her screen is what she signs: {}", changed.main());
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::AnswersChanged);
    let fields =
        [("treatment", "yes"), ("health_data", "yes"), ("typed_name", "Mia Sandgren"), ("drawing", "1,1 20,30")];
    assert_eq!(mia.submit(&page, "/me/visits/", &fields).await.status, 303);
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::SignedCurrent);
    assert!(mia.get(&path).await.main().contains("nothing to sign"));
    let mut c = app.app.db.read().await.unwrap();
    let newest = health::consents(&mut c, &studio.mia).await.unwrap().remove(0);
    assert_eq!(newest.visit, Some(visit));
    let ConsentRecord::Signed(signed) = newest.record else { panic!("signed") };
    assert_eq!(signed.drawing.unwrap().text(), "1,1 20,30");
    drop(c);
    studio.client("Zora Halvig", "zora@clients.example.org", date!(1999 - 01 - 02)).await;
    let zora = app.client("zora@clients.example.org").await;
    assert_eq!(zora.get(&path).await.status, 404);
}

#[tokio::test]
async fn a_refusal_is_written_down_and_gives_the_time_back() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "changed")]).await;
    let sign = mia.follow(next).await;
    let refused = mia.submit(&sign, "/book/", &[("refuse", "1")]).await;
    assert!(refused.main().contains("and that is fine"), "{}", refused.main());
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::Refused);
    let mut c = app.app.db.read().await.unwrap();
    let from = app.app.clock.now() - Duration::DAY;
    assert!(visits::between(&mut c, from, from + Duration::days(9)).await.unwrap().is_empty());
    let seen = app.dump().await;
    assert!(seen.iter().any(|cell| cell == "consent.refused") && !seen.iter().any(|cell| cell == "held"));
    drop(c);
    let visitor = app.visitor();
    let details = take_first(&visitor, studio.lift.as_str()).await;
    let sign = fill(&visitor, &details, &DETAILS, &[]).await;
    assert_eq!(visitor.submit(&sign, "/book/", &[("refuse", "1")]).await.status, 200);
    assert!(
        !app.dump().await.iter().any(|cell| cell == "Ottilie Farnborg"),
        "she is no client, so nothing is kept of her"
    );
    for status in [200, 200, 200, 200, 200, 200, 200, 200, 429] {
        // The first press takes the time again that the refusal before gave back.
        assert_eq!(visitor.submit(&sign, "/book/", &[("refuse", "1")]).await.status, 303);
        assert_eq!(visitor.submit(&sign, "/book/", &[("refuse", "1")]).await.status, status, "ten an hour");
    }
    assert_eq!(app.dump().await.iter().filter(|cell| *cell == "consent.refused").count(), 10);
}

#[tokio::test]
async fn each_agreement_is_taken_back_alone_and_the_practitioner_sees_it() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = books(&app, &studio, &ALL_TICKS).await;
    app.app.clock.advance(Duration::MINUTE);
    let page = mia.get("/me/agreements").await;
    assert_eq!(page.main().matches("Agreed on").count(), 5, "{}", page.main());
    let ask = mia.get("/me/agreements?back=publicity_photos").await;
    assert!(ask.main().contains("Photos shown to others"), "{}", ask.main());
    for _ in 0..2 {
        assert_eq!(mia.submit(&ask, "/me/agreements", &[]).await.status, 303);
    }
    let given = |how| matches!(how, Agreement::Given { .. });
    for (tick, still) in [(Tick::PublicityPhotos, false), (Tick::RecordPhotos, true), (Tick::Treatment, true)] {
        assert_eq!(given(agreement(&app, &studio.mia, tick).await), still, "{tick:?}");
    }
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::SignedCurrent);
    let liv = app.member(LIV.0, LIV.1).await;
    let record = liv.get(&format!("/desk/clients/{}", studio.mia)).await;
    assert!(
        record.main().contains("Photos shown to others Taken back on Monday 2 March 2026, 09:01"),
        "{}",
        record.main()
    );
    let ask = mia.get("/me/agreements?back=health_data").await;
    mia.submit(&ask, "/me/agreements", &[]).await;
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::Withdrawn);
    assert!(given(agreement(&app, &studio.mia, Tick::Marketing).await), "the others stand apart");
    assert!(mia.get("/me").await.main().contains("You took your consent back"));
    let mut c = app.app.db.read().await.unwrap();
    let log = audit::of_client(&mut c, &studio.mia).await.unwrap();
    assert_eq!(log.iter().filter(|entry| entry.action == "consent.withdrawn").count(), 2, "once each");
    drop(c);
    for tick in ["", "all", "treatment; --"] {
        assert_eq!(mia.submit(&ask, "/me/agreements", &[("tick", tick)]).await.status, 400, "{tick}");
    }
}

#[tokio::test]
async fn of_the_two_that_a_visit_needs_only_the_one_that_was_taken_back_says_so() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = books(&app, &studio, &ALL_TICKS).await;
    app.app.clock.advance(Duration::MINUTE);
    let ask = mia.get("/me/agreements?back=treatment").await;
    assert!(ask.main().contains("is an agreement of its own, and stays"), "{}", ask.main());
    let after = mia.submit(&ask, "/me/agreements", &[]).await;
    let page = mia.follow(after).await;
    assert_eq!(page.main().matches("Taken back on").count(), 1, "{}", page.main());
    assert_eq!(page.main().matches("Agreed on").count(), 4);
    assert!(page.main().contains("We won’t treat you until you sign again."), "{}", page.main());
    assert_eq!(standing(&app, &studio, &studio.mia).await, ConsentStanding::Withdrawn);
    assert!(matches!(agreement(&app, &studio.mia, Tick::HealthData).await, Agreement::Given { .. }));
}

#[tokio::test]
async fn who_took_back_that_anything_is_kept_signs_again_before_she_sends_a_letter() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = books(&app, &studio, &["treatment", "health_data"]).await;
    let ask = mia.get("/me/agreements?back=health_data").await;
    assert_eq!(mia.submit(&ask, "/me/agreements", &[]).await.status, 303);
    let fields = [
        ("clinician", "Dr. Idun Marbeck"),
        ("dated", "2026-02-27"),
        ("expires", "2026-08-31"),
        ("many-question", "blepharitis_state"),
        ("many-service", "lash_lift"),
    ];
    let fields = fields.map(|(name, value)| (name.to_owned(), value.to_owned()));
    let page = mia.get("/me/letters").await;
    let refused = mia.send(&page, "/me/letters", &fields, Some(&jpeg())).await;
    assert_eq!((refused.status, refused.attributes(".summary a", "href")), (422, vec!["#file".to_owned()]));
    assert!(refused.main().contains("Sign again first"), "{}", refused.main());
    assert_eq!(refused.attributes("#clinician", "value"), ["Dr. Idun Marbeck"]);
    assert!(letters::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().is_empty());
    app.app.clock.advance(Duration::MINUTE);
    studio.consent(&studio.mia, &studio.lift).await;
    assert_eq!(mia.send(&page, "/me/letters", &fields, Some(&jpeg())).await.status, 303);
}

#[tokio::test]
async fn at_sixteen_a_guardian_signs_along_and_below_sixteen_nobody_can() {
    let (app, studio) = TestApp::with_studio().await;
    let born = |year| {
        let mut details = DETAILS.to_vec();
        details.push(("born_year", year));
        details
    };
    let young = app.visitor();
    let details = take_first(&young, studio.lift.as_str()).await;
    let page = fill(&young, &details, &born("2010"), &[]).await;
    assert!(page.main().contains("once you are 16"), "15 years old: {}", page.main());
    let older = app.visitor();
    let details = take_first(&older, studio.lift.as_str()).await;
    let sign = fill(&older, &details, &born("2009"), &[]).await;
    assert!(sign.main().contains("Parent or guardian"), "{}", sign.main());
    assert_eq!(sign.attributes("#answers", "open").len(), 1, "who signs for another has them before her");
    assert!(sign.main().contains("please read them together"), "{}", sign.main());
    assert!(sign.all("#answers dl").join(" ").contains("Do you wear contact lenses? No"), "{}", sign.main());
    let refused = older.submit(&sign, "/book/", &SIGNED).await;
    assert_eq!(refused.status, 422);
    assert!(refused.main().contains("what they are to you, such as"), "{}", refused.main());
    let mut fields = SIGNED.to_vec();
    fields.extend([
        ("guardian_name", "Gerda Farnborg"),
        ("guardian_relation", "mother"),
        ("guardian_drawing", "5,5 9,9"),
    ]);
    assert_eq!(older.submit(&sign, "/book/", &fields).await.status, 303);
    let body = newest_paper(&app).await;
    assert!(["Gerda Farnborg", "mother", "5,5 9,9"].iter().all(|part| body.contains(part)), "{body}");
    assert!(!app.dump().await.iter().any(|cell| cell.contains("Gerda Farnborg")), "it is sealed");
}

#[tokio::test]
async fn what_she_answers_where_nothing_can_be_booked_speaks_against_what_she_has_booked() {
    let (app, studio) = TestApp::with_studio().await;
    let at = app.app.clock.now() + Duration::days(7);
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    studio.consent(&studio.mia, &studio.lift).await;
    verdicts::watch(&app.app).await.unwrap();
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let next = mia.submit(&answers, "/book/", &[("nothing", "check")]).await;
    let questions = mia.follow(next).await;
    let path = questions.form("/book/").0;
    let sent = app.mails().await.len();
    let refused = answer_all(&mia, questions, &[("perm_reaction", "yes")]).await;
    assert!(refused.main().contains("We would rather not do this one"), "{}", refused.main());
    assert!(refused.main().contains("is kept with your record"), "{}", refused.main());
    let mut c = app.app.db.read().await.unwrap();
    assert!(store::verdicts::stands_worse(&mut c, &visit).await.unwrap());
    assert_eq!(health::answers(&mut c, &studio.mia).await.unwrap().len(), 2);
    drop(c);
    let told = app.mails().await.split_off(sent);
    assert!(told.iter().any(|out| out.to == MIA && out.letter.subject.contains("look at your visit")), "{told:?}");
    // On the way back to her answers and on again nothing is kept twice.
    let again = answer_all(&mia, mia.get(&path).await, &[("perm_reaction", "yes")]).await;
    assert!(again.main().contains("We would rather not do this one"), "{}", again.main());
    assert_eq!(health::answers(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().len(), 2);
    // A slip is mended as it was made.
    let mended = answer_all(&mia, mia.get(&path).await, &[]).await;
    assert!(mended.main().contains("Check and sign"), "{}", mended.main());
}
