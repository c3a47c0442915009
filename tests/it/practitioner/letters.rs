//! Letters: refused at the field, read by somebody before they count, and good only for what they say.

use palpebra::actions::case::{Asked, readiness};
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::verdict::Verdict;
use palpebra::store::visits::Purpose;
use time::Duration;
use time::macros::date;

use crate::documents::upload::{jpeg, pdf, with_exif};
use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA, NOOR};
use crate::support::{Studio, TestApp};

/// Mia's lids flare up often, which wants a letter; and she has a visit with Liv.
async fn studio() -> (TestApp, Studio) {
    let (app, studio) = TestApp::with_studio().await;
    app.app.clock.advance(Duration::MINUTE);
    let often = [("blepharitis", Answer::Yes), ("blepharitis_state", Answer::Choice("frequent".to_owned()))];
    studio.answer(&studio.mia, &often).await;
    studio.consent(&studio.mia, &studio.lift).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::hours(26)).await;
    (app, studio)
}

async fn verdict(app: &TestApp, studio: &Studio) -> Verdict {
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let (now, at) = (app.app.clock.now(), NOW + Duration::hours(26));
    let asked = Asked { client: Some(&studio.mia), service: &studio.lift, at, now };
    readiness(&mut c, &row, &asked).await.unwrap().verdict
}

const LETTER: [(&str, &str); 5] = [
    ("clinician", "Dr. Idun Marbeck"),
    ("dated", "2026-02-27"),
    ("expires", "2026-08-31"),
    ("many-question", "blepharitis_state"),
    ("many-service", "lash_lift"),
];

fn but(field: &str, value: &str) -> Vec<(String, String)> {
    let mut fields: Vec<_> = LETTER.map(|(name, value)| (name.to_owned(), value.to_owned())).to_vec();
    fields.retain(|(name, _)| name != field);
    if !value.is_empty() {
        fields.push((field.to_owned(), value.to_owned()));
    }
    fields
}

#[tokio::test]
async fn a_letter_is_refused_at_its_field_and_nothing_is_kept() {
    let (app, _) = studio().await;
    let mia = app.client(MIA).await;
    let page = mia.get("/me/letters").await;
    let before = app.fingerprint().await;
    let good = pdf("/Pages 3 0 R", "");
    for (field, value, at, said) in [
        ("dated", "2026-03-03", "dated", "still to come"),
        ("dated", "yesterday", "dated", "2026-03-27"),
        ("expires", "2026-02-01", "expires", "before the letter was written"),
        ("clinician", "", "clinician", "who signed"),
        ("many-question", "", "questions", "speaks of"),
        ("many-question", "birth_date", "questions", "speaks of"),
        ("many-service", "", "services", "allows"),
    ] {
        let refused = mia.send(&page, "/me/letters", &but(field, value), Some(&good)).await;
        assert_eq!(refused.status, 422, "{field}: {}", refused.text());
        let words = refused.all(&format!("[id='{at}'] .error, #{at}-error")).join(" ");
        assert!(words.contains(said), "{field} {value}: {words}");
        assert_eq!(refused.attributes("#clinician", "value").len(), 1);
    }
    let heic = b"\0\0\0\x18ftypheic0000".to_vec();
    for (file, said) in [
        (None, "Choose the letter"),
        (Some(b"<html><script>x</script>".to_vec()), "neither a photo"),
        (Some(heic), "HEIC"),
        (Some(vec![0; 11_000_000]), "larger than 10 MB"),
        (Some(jpeg()[..200].to_vec()), "damaged"),
        (Some(pdf("/OpenAction << /S /JavaScript >>", "")), "script"),
        (Some(Vec::new()), "empty"),
    ] {
        let refused = mia.send(&page, "/me/letters", &but("x", ""), file.as_deref()).await;
        assert_eq!(refused.status, 422, "{said}: {}", refused.text());
        assert!(refused.all("#file-error").join(" ").contains(said), "{said}: {}", refused.main());
    }
    assert_eq!(app.fingerprint().await, before, "nothing half stored");
    let enormous = mia.send(&page, "/me/letters", &but("x", ""), Some(&vec![0; 45 * 1024 * 1024])).await;
    assert_eq!(enormous.status, 413);
}

#[tokio::test]
async fn a_letter_counts_once_it_was_read_and_no_longer_once_it_is_set_aside() {
    let (app, studio) = studio().await;
    assert_eq!(verdict(&app, &studio).await, Verdict::LetterNeeded);
    let mia = app.client(MIA).await;
    let page = mia.get("/me/letters").await;
    let photo = with_exif(&jpeg(), 6);
    assert_eq!(mia.send(&page, "/me/letters", &but("x", ""), Some(&photo)).await.status, 303);
    assert_eq!(verdict(&app, &studio).await, Verdict::LetterNeeded, "nobody has read it");
    let liv = app.member(LIV.0, LIV.1).await;
    let desk = format!("/desk/clients/{}/letters", studio.mia);
    let record = liv.get(&format!("/desk/clients/{}", studio.mia)).await;
    assert!(record.main().contains("1 to be read"), "{}", record.main());
    let letters = liv.get(&desk).await;
    assert_eq!(liv.submit(&letters, "/desk/letters/", &[("said", "read")]).await.status, 303);
    assert_eq!(verdict(&app, &studio).await, Verdict::Note, "it satisfies what it says");
    let letters = liv.get(&desk).await;
    assert_eq!(liv.submit(&letters, "/desk/letters/", &[("said", "aside")]).await.status, 422, "a reason is wanted");
    let why = letters.attributes("input[name^=why_]", "name").remove(0);
    assert_eq!(
        liv.submit(&letters, "/desk/letters/", &[("said", "aside"), (&why, "Another name on it")]).await.status,
        303
    );
    assert_eq!(verdict(&app, &studio).await, Verdict::LetterNeeded);
    assert_eq!(super::changes(&app).await[..3], ["letter.set-aside", "letter.read", "letter.added"]);
}

#[tokio::test]
async fn a_letter_satisfies_only_what_its_scope_says() {
    let (app, studio) = studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let desk = format!("/desk/clients/{}/letters", studio.mia);
    let page = liv.get(&desk).await;
    for (field, value) in [("many-question", "herpes_state"), ("many-service", "brow_tint"), ("expires", "2026-03-02")]
    {
        let sent = liv.send(&page, &desk, &but(field, value), Some(&pdf("", ""))).await;
        assert_eq!(sent.status, 303, "{field}: {}", sent.text());
        assert_eq!(verdict(&app, &studio).await, Verdict::LetterNeeded, "{field}");
    }
    assert_eq!(liv.send(&page, &desk, &but("x", ""), Some(&pdf("", ""))).await.status, 303);
    assert_eq!(verdict(&app, &studio).await, Verdict::Note, "what the team adds was read");
}

#[tokio::test]
async fn a_file_is_seen_by_whoever_treats_her_the_owner_and_herself() {
    let (app, studio) = studio().await;
    studio.client("Ylva Orrin", "ylva@clients.example.org", date!(1990 - 01 - 05)).await;
    let (mia, ylva) = (app.client(MIA).await, app.client("ylva@clients.example.org").await);
    let page = mia.get("/me/letters").await;
    mia.send(&page, "/me/letters", &but("x", ""), Some(&with_exif(&jpeg(), 1))).await;
    let own = mia.get("/me/letters").await.link("The letter itself");
    let desk = own.replace("/me/", "/desk/");
    let (liv, noor, owner) = (app.member(LIV.0, LIV.1).await, app.member(NOOR.0, NOOR.1).await, app.owner().await);
    for (who, path, status) in [
        (&mia, &own, 200),
        (&liv, &desk, 200),
        (&owner, &desk, 200),
        (&ylva, &own, 404),
        (&noor, &desk, 404),
        (&mia, &desk, 303),
        (&liv, &own, 303),
    ] {
        for small in ["", "/small"] {
            let file = who.get(&format!("{path}{small}")).await;
            assert_eq!(file.status, status, "{path}{small}");
            if status != 200 {
                continue;
            }
            let header = |name: &str| file.headers.get(name).unwrap().to_str().unwrap().to_owned();
            assert_eq!(header("content-type"), "image/jpeg");
            assert_eq!(header("content-disposition"), "inline; filename=\"letter.jpeg\"");
            assert_eq!(header("x-content-type-options"), "nosniff");
            assert!(
                header("cache-control").contains("no-store") && header("content-security-policy").contains("sandbox")
            );
            assert!(!file.bytes.windows(4).any(|part| part == b"Exif"), "without its metadata");
        }
    }
    let looks = super::log(&app).await.into_iter().filter(|entry| entry.action == "file.seen");
    assert_eq!(looks.count(), 4, "each look of the team is written down");
}
