//! She is asked by mail what she sees of her skin test, and reports it.

use palpebra::actions::case::Known;
use palpebra::actions::files::MOST_SENT;
use palpebra::actions::health::{self, Applied};
use palpebra::domain::file::{Kind, Purpose};
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::ids::{FileId, SkinTestId};
use palpebra::domain::reaction::Level;
use palpebra::domain::role::{Member, Role};
use palpebra::domain::verdict::Verdict;
use palpebra::store::files::StoredFile;
use palpebra::store::{accounts, files, outbox, reactions};
use palpebra::web::limits::Limits;
use time::{Duration, OffsetDateTime};

use crate::documents::upload::{jpeg, pdf, with_exif};
use crate::support::studio::{GOOD_BATCH, LIV, MIA, Studio};
use crate::support::{Person, TestApp};

async fn liv(app: &TestApp) -> Member {
    accounts::by_mail(&mut app.app.db.read().await.unwrap(), LIV.0).await.unwrap().unwrap().member
}

/// Liv applies the tint to Mia's skin now.
async fn applied(app: &TestApp, studio: &Studio, at: OffsetDateTime) -> SkinTestId {
    let row = palpebra::store::studio::get(&mut app.app.db.read().await.unwrap()).await.unwrap().unwrap();
    let applied = Applied {
        id: SkinTestId::from_random(app.app.random.id()),
        service: studio.lift_and_tint.clone(),
        product: studio.tint.clone(),
        batch: GOOD_BATCH.to_owned(),
        site: "behind the left ear".to_owned(),
        at,
    };
    let member = Member { role: Role::Owner, ..liv(app).await };
    health::apply_walk_in(&app.app, &row, &member, &studio.mia, applied).await.unwrap()
}

async fn verdict(app: &TestApp, studio: &Studio) -> (Verdict, String) {
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let known = Known::load(&mut c, &row, Some(&studio.mia), &studio.lift_and_tint).await.unwrap();
    let now = app.app.clock.now();
    let said = known.readiness(now, now);
    let reason = said.reasons.into_iter().find(|reason| reason.rule.starts_with("skin_test"));
    reason.map_or((Verdict::Clear, String::new()), |reason| (reason.verdict, reason.rule))
}

/// How many letters have left so far.
async fn letters(app: &TestApp) -> usize {
    app.mails().await.len()
}

async fn report(app: &TestApp, link: &str, fields: &[(&str, &str)]) -> crate::support::Html {
    let person = app.visitor();
    let page = person.get(link).await;
    let name = page.attributes("fieldset.field", "id").remove(0);
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(field, value)| (if *field == "seen" { name.as_str() } else { *field }, *value)).collect();
    person.submit(&page, "/tell-us/", &fields).await
}

#[tokio::test]
async fn two_letters_ask_after_48_and_96_hours_and_name_nothing_of_it() {
    let (app, studio) = TestApp::with_studio().await;
    applied(&app, &studio, app.app.clock.now()).await;
    assert_eq!(letters(&app).await, 0);
    for (hours, sent) in [(47, 0), (1, 1), (47, 1), (1, 2), (100, 2)] {
        app.app.clock.advance(Duration::hours(hours));
        assert_eq!(letters(&app).await, sent, "after {hours} hours more");
    }
    let out = app.mail_to(MIA).await.0;
    let all = format!("{} {} {}", out.letter.subject, out.letter.text, out.letter.html).to_lowercase();
    for word in ["skin", "tint", "allerg", "ear", "lash", "health"] {
        let inside = all.replace("dear", "").replace("year", "");
        assert!(!inside.contains(word), "{word} in {all}");
    }
}

#[tokio::test]
async fn silence_is_no_pass_a_clear_report_after_the_floor_is_and_a_late_one_still_counts() {
    let (app, studio) = TestApp::with_studio().await;
    applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(49));
    assert_eq!(verdict(&app, &studio).await, (Verdict::Ask, "skin_test_not_read".to_owned()));
    let link = app.mail_to(MIA).await.link("/tell-us/");
    let before = app.fingerprint().await;
    let page = app.visitor().get(&link).await;
    assert_eq!(app.fingerprint().await, before, "a look reports nothing");
    for words in [
        "behind the left ear",
        "not a diagnostic patch test",
        "does not count as passed",
        "Faint pink only, no itch (unclear)",
    ] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    let told = report(&app, &link, &[("seen", "no_visible_change")]).await;
    assert!(told.main().contains("written down"), "{}", told.main());
    assert_eq!(verdict(&app, &studio).await.0, Verdict::Clear);
    app.app.clock.advance(Duration::days(5));
    let told = report(&app, &link, &[("seen", "itch_or_raised")]).await;
    assert!(told.main().contains("We won’t use this product on you"), "{}", told.main());
    assert_eq!(verdict(&app, &studio).await, (Verdict::DoNotTreat, "skin_test_failed".to_owned()));
    app.app.clock.advance(Duration::days(3));
    assert_eq!(app.visitor().get(&link).await.status, 200, "after day 7 she may still tell");
}

#[tokio::test]
async fn she_may_show_what_she_sees_and_whoever_reads_the_test_sees_it() {
    let (app, studio) = TestApp::with_studio().await;
    let test = applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(49));
    let link = app.mail_to(MIA).await.link("/tell-us/");
    let (mia, photo) = (app.visitor(), format!("{link}/photo"));
    let page = mia.get(&link).await;
    let before = app.fingerprint().await;
    for (file, said) in [
        (None, "Choose a photo"),
        (Some(pdf("/Pages 3 0 R", "")), "PDF"),
        (Some(jpeg()[..200].to_vec()), "damaged"),
        (Some(vec![0; 11_000_000]), "larger than 10 MB"),
    ] {
        let refused = mia.send(&page, &photo, &[], file.as_deref()).await;
        assert_eq!(refused.status, 422, "{said}: {}", refused.text());
        assert!(refused.all("#photo-error").join(" ").contains(said), "{said}: {}", refused.main());
    }
    assert_eq!(app.fingerprint().await, before, "nothing half stored");
    let kept = mia.send(&page, &photo, &[], Some(&with_exif(&jpeg(), 6))).await;
    assert!(kept.main().contains("Thank you for the photo"), "{}", kept.main());
    let files = files::about(&mut app.app.db.read().await.unwrap(), test.as_str()).await.unwrap();
    assert_eq!(
        files.iter().map(|file| (file.purpose, &file.client)).collect::<Vec<_>>(),
        [(Purpose::SkinTest, &studio.mia)]
    );
    let body = files::body(&mut app.app.db.read().await.unwrap(), &files[0].id).await.unwrap();
    assert!(!body.windows(4).any(|part| part == b"Exif"), "where and when it was taken is gone");
    assert_eq!(verdict(&app, &studio).await.1, "skin_test_not_read", "a photo is no result");
    let desk = app.owner().await;
    let reading = desk.get(&format!("/desk/skin-tests/{test}/reading")).await;
    let small = reading.attributes("main img", "src").remove(0);
    assert_eq!(desk.get(&small).await.status, 200);
    assert_eq!(app.visitor().get(&small).await.status, 303, "nobody else sees it");
    let own = app.client(MIA).await;
    let page = own.get(&format!("/me/skin-tests/{test}")).await;
    let again = own.send(&page, &format!("/me/skin-tests/{test}/photo"), &[], Some(&jpeg())).await;
    assert_eq!(again.status, 200, "{}", again.text());
}

#[tokio::test]
async fn a_report_before_the_floor_is_kept_and_passes_nothing() {
    let (app, studio) = TestApp::with_studio().await;
    let test = applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(30));
    let mia = app.client(MIA).await;
    let page = mia.get(&mia.get("/me").await.link("Tell us what you see")).await;
    let seen = format!("seen-{test}");
    let told = mia.submit(&page, "/me/skin-tests/", &[(&seen, "no_visible_change")]).await;
    assert!(told.main().contains("too early for this to count"), "{}", told.main());
    app.app.clock.advance(Duration::hours(20));
    assert_eq!(verdict(&app, &studio).await.1, "skin_test_not_read");
}

#[tokio::test]
async fn after_a_reaction_nobody_is_asked_again_and_the_studio_is_told_without_a_word_of_it() {
    let (app, studio) = TestApp::with_studio().await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut row = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
    row.mail = "desk@studio.example.org".to_owned();
    palpebra::store::studio::save(&mut tx, &row).await.unwrap();
    tx.commit().await.unwrap();
    applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(48));
    let link = app.mail_to(MIA).await.link("/tell-us/");
    let told = report(&app, &link, &[("seen", "eye_or_breathing"), ("note", "x")]).await;
    assert!(told.main().contains("call an ambulance now"), "{}", told.main());
    let reports = reactions::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    let [opened] = &reports[..] else { unreachable!("one report") };
    assert_eq!((opened.level, opened.entries[0].written_by.as_str()), (Level::Emergency, "client"));
    let notice = app.mail_to("desk@studio.example.org").await.0.letter.text;
    assert!(notice.contains(&format!("/desk/clients/{}", studio.mia)) && !notice.contains("eye"), "{notice}");
    app.app.clock.advance(Duration::days(9));
    let asked = app.mails().await.iter().filter(|out| out.to == MIA).count();
    assert_eq!(asked, 1);
    assert_eq!(outbox::standing(&mut app.app.db.read().await.unwrap()).await.unwrap().given_up, 0);
}

#[tokio::test]
async fn an_empty_or_odd_report_is_refused_at_its_field_and_nothing_is_stored() {
    let (app, studio) = TestApp::with_studio_and(Limits::off()).await;
    applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(48));
    let link = app.mail_to(MIA).await.link("/tell-us/");
    let before = app.fingerprint().await;
    for seen in ["", "not_yet_read", "did_not_report", "positive", "++"] {
        let refused = report(&app, &link, &[("seen", seen)]).await;
        assert_eq!(refused.status, 422, "{seen}");
        assert!(refused.main().contains("choose what is closest"), "{}", refused.main());
    }
    let person = app.visitor();
    let page = person.get(&link).await;
    let name = page.attributes("fieldset.field", "id").remove(0);
    let long = "x".repeat(301);
    let note = format!("{name}-note");
    let refused = person.submit(&page, "/tell-us/", &[(&name, "no_visible_change"), (&note, &long)]).await;
    assert_eq!(refused.status, 422, "{}", refused.main());
    assert_eq!(app.fingerprint().await, before);
    for odd in ["/tell-us/x", "/tell-us/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"] {
        assert_eq!(person.get(odd).await.status, 410, "{odd}");
    }
    app.app.clock.advance(Duration::days(15));
    assert_eq!(person.get(&link).await.status, 410, "it ends");
}

#[tokio::test]
async fn another_client_can_report_nothing_here() {
    let (app, studio) = TestApp::with_studio().await;
    let test = applied(&app, &studio, app.app.clock.now()).await;
    studio.client("Zora Halvig", "zora@clients.example.org", time::macros::date!(1999 - 01 - 02)).await;
    let zora: Person = app.client("zora@clients.example.org").await;
    assert_eq!(zora.get(&format!("/me/skin-tests/{test}")).await.status, 404);
}

#[tokio::test]
async fn a_new_formula_a_mistake_and_a_later_reaction_void_a_clear_test() {
    let (app, studio) = TestApp::with_studio().await;
    let clear = |at: OffsetDateTime| Some((palpebra::domain::skin_test::TestResult::NoVisibleChange, at));
    let test = studio.tested(&studio.mia, app.app.clock.now(), clear(app.app.clock.now() + Duration::hours(50))).await;
    app.app.clock.advance(Duration::days(3));
    assert_eq!(verdict(&app, &studio).await.0, Verdict::Clear);
    let owner = app.owner().await;
    let page = owner.get(&format!("/desk/skin-tests/{test}/reading")).await;
    let path = format!("/desk/skin-tests/{test}/void");
    let refused = owner.submit(&page, &path, &[("cause", "reaction")]).await;
    assert_eq!(refused.status, 422, "a reaction is recorded, not claimed: {}", refused.main());
    assert_eq!(owner.submit(&page, &path, &[("cause", "mistake")]).await.status, 303);
    assert_eq!(verdict(&app, &studio).await.1, "skin_test_voided");

    studio.tested(&studio.mia, app.app.clock.now(), clear(app.app.clock.now() + Duration::hours(50))).await;
    app.app.clock.advance(Duration::days(3));
    assert_eq!(verdict(&app, &studio).await.0, Verdict::Clear);
    let product = format!("/owner/products/{}", studio.tint);
    // Her first stay has ended meanwhile.
    let owner = app.owner().await;
    let page = owner.get(&product).await;
    let formula = format!("{product}/formula");
    assert_eq!(owner.submit(&page, &formula, &[]).await.status, 422);
    assert_eq!(owner.submit(&page, &formula, &[("formula", "yes")]).await.status, 303);
    assert_eq!(verdict(&app, &studio).await.1, "skin_test_voided");

    studio.tested(&studio.mia, app.app.clock.now(), clear(app.app.clock.now() + Duration::hours(50))).await;
    app.app.clock.advance(Duration::days(3));
    assert_eq!(verdict(&app, &studio).await.0, Verdict::Clear);
    let reacted = palpebra::store::treatments::Outcome::Reaction;
    studio.treated(&studio.mia, &studio.lift, app.app.clock.now(), reacted, &[&studio.lotion]).await;
    app.app.clock.advance(Duration::HOUR);
    assert_eq!(verdict(&app, &studio).await.1, "skin_test_voided", "a reaction to anything voids the other tests");
}

#[tokio::test]
async fn a_client_sends_so_many_files_a_day_and_so_much_in_all() {
    let (app, studio) = TestApp::with_studio().await;
    let test = applied(&app, &studio, app.app.clock.now()).await;
    let (own, path) = (format!("/me/skin-tests/{test}"), format!("/me/skin-tests/{test}/photo"));
    let mia = app.client(MIA).await;
    let (page, letters) = (mia.get(&own).await, mia.get("/me/letters").await);
    for _ in 0..10 {
        for none in [None, Some(&b"no photo"[..])] {
            let (photo, letter) =
                (mia.send(&page, &path, &[], none).await, mia.send(&letters, "/me/letters", &[], none).await);
            assert_eq!((photo.status, letter.status), (422, 422));
            assert!(!photo.main().contains("many files today") && !letter.main().contains("many files today"));
        }
    }
    let photo = mia.send(&page, &path, &[], Some(&jpeg())).await;
    assert!(photo.status == 422 && photo.main().contains("many files today"), "{}", photo.main());
    let letter =
        mia.send(&letters, "/me/letters", &[("clinician".to_owned(), "Dr Quay".to_owned())], Some(&jpeg())).await;
    assert!(letter.status == 422 && letter.main().contains("many files today"), "{}", letter.main());
    assert_eq!(letter.attributes("input[name=clinician]", "value"), ["Dr Quay"], "what she typed is kept");

    let mut tx = app.app.db.write().await.unwrap();
    let mut file = StoredFile {
        id: FileId::from_random([0; 16]),
        client: studio.mia.clone(),
        purpose: Purpose::Letter,
        about: "a letter".to_owned(),
        kind: Kind::Pdf,
        sha256: Fingerprint::of(b"x"),
        added_by: "Liv".to_owned(),
        added_at: app.app.clock.now(),
    };
    files::insert(&mut tx, &file, &[0; 1000], None).await.unwrap();
    assert_eq!(files::bytes_sent_by(&mut tx, &studio.mia).await.unwrap(), 0, "what the team adds is not hers");
    file.added_by = "client".to_owned();
    for n in 1..8 {
        let left = MOST_SENT - files::bytes_sent_by(&mut tx, &studio.mia).await.unwrap();
        file.id = FileId::from_random([n; 16]);
        let size = usize::try_from(left).unwrap().min(15_000_000);
        files::insert(&mut tx, &file, &vec![0; size], None).await.unwrap();
    }
    tx.commit().await.unwrap();
    app.app.clock.advance(Duration::hours(25));
    let mia = app.client(MIA).await;
    let (page, letters) = (mia.get(&own).await, mia.get("/me/letters").await);
    let before = app.fingerprint().await;
    let photo = mia.send(&page, &path, &[], Some(&jpeg())).await;
    let fields = [
        ("clinician", "Dr. Idun Marbeck"),
        ("dated", "2026-02-27"),
        ("expires", "2026-08-31"),
        ("many-question", "blepharitis_state"),
        ("many-service", "lash_lift"),
    ];
    let fields = fields.map(|(name, value)| (name.to_owned(), value.to_owned()));
    let letter = mia.send(&letters, "/me/letters", &fields, Some(&jpeg())).await;
    for refused in [photo, letter] {
        assert_eq!(refused.status, 422);
        assert!(refused.main().contains("Please write to the studio"), "{}", refused.main());
    }
    assert_eq!(app.fingerprint().await, before);
}

#[tokio::test]
async fn the_link_tells_nothing_of_what_was_reported_and_her_own_page_does() {
    let (app, studio) = TestApp::with_studio().await;
    let test = applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(49));
    let link = app.mail_to(MIA).await.link("/tell-us/");
    assert!(!app.visitor().get(&link).await.main().contains("You told us"), "nothing was told");
    for (field, seen) in [("faint_pink", "Faint pink only"), ("itch_or_raised", "Itch, raised")] {
        report(&app, &link, &[("seen", field)]).await;
        let told = format!(", {seen}");
        let page = app.visitor().get(&link).await.main();
        assert!(page.contains("You told us something about this, last Wednesday 4 March 2026, 10:00"), "{page}");
        assert!(!page.contains(&told), "{page}");
        let own = app.client(MIA).await.get(&format!("/me/skin-tests/{test}")).await.main();
        assert!(own.contains(&told) && !own.contains("something about this"), "{own}");
    }
    let refused = report(&app, &link, &[("seen", "")]).await;
    assert!(refused.status == 422 && !refused.main().contains(", Itch, raised"), "{}", refused.main());
}

#[tokio::test]
async fn so_many_reports_a_day_are_taken_and_a_graver_one_always() {
    let (app, studio) = TestApp::with_studio_and(Limits::off()).await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut row = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
    row.mail = "desk@studio.example.org".to_owned();
    palpebra::store::studio::save(&mut tx, &row).await.unwrap();
    tx.commit().await.unwrap();
    let test = applied(&app, &studio, app.app.clock.now()).await;
    app.app.clock.advance(Duration::hours(48));
    let link = app.mail_to(MIA).await.link("/tell-us/");
    let notices = async || app.mails().await.iter().filter(|out| out.to == "desk@studio.example.org").count();
    report(&app, &link, &[("seen", "faint_pink")]).await;
    assert_eq!(notices().await, 1);
    let before = app.fingerprint().await;
    let again = report(&app, &link, &[("seen", "faint_pink")]).await;
    assert!(again.main().contains("Thank you for telling us"), "{}", again.main());
    assert_eq!(app.fingerprint().await, before, "the same twice is stored once");
    for n in 1..10 {
        let seen = if n % 2 == 0 { "faint_pink" } else { "removed_early" };
        assert_eq!(report(&app, &link, &[("seen", seen)]).await.status, 200, "{n}");
    }
    assert_eq!(notices().await, 10);
    let before = app.fingerprint().await;
    let full = report(&app, &link, &[("seen", "no_visible_change")]).await;
    assert!(full.status == 422 && full.main().contains("Please call the studio"), "{}", full.main());
    let (own, seen) = (format!("/me/skin-tests/{test}"), format!("seen-{test}"));
    let mia = app.client(MIA).await;
    let after_sign_in = app.fingerprint().await;
    assert_ne!(before, after_sign_in);
    let page = mia.get(&own).await;
    let refused = mia.submit(&page, &own, &[(&seen, "faint_pink")]).await;
    assert_eq!((refused.status, app.fingerprint().await), (422, after_sign_in), "nor on her own page");
    let graver = report(&app, &link, &[("seen", "eye_or_breathing")]).await;
    assert!(graver.status == 200 && graver.main().contains("call an ambulance now"), "{}", graver.main());
    assert_eq!(verdict(&app, &studio).await, (Verdict::DoNotTreat, "skin_test_failed".to_owned()));
    assert_eq!(notices().await, 11);
    app.app.clock.advance(Duration::DAY);
    assert_eq!(report(&app, &link, &[("seen", "faint_pink")]).await.status, 200, "the next day");
}
