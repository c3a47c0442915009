//! Hostile text in every field that keeps what people write: seen as text in pages, mails, calendars, tables and papers.

use std::collections::BTreeMap;
use std::io::{Cursor, Read, Write};

use axum::http::Method;
use palpebra::domain::ids::SkinTestId;
use palpebra::domain::questionnaire::Answer;
use palpebra::mail::messages::Letter;
use palpebra::mail::transport::{Outgoing, Transport};
use palpebra::store::skin_tests;
use palpebra::store::treatments::{self, Outcome};
use palpebra::store::visits::Purpose;
use palpebra::web::routes::table;
use time::Duration;

use crate::support::app::NOW;
use crate::support::hostile::{HOSTILE, RECKONED, plant};
use crate::support::studio::MIA;
use crate::support::{Html, Studio, TestApp, address};

/// A studio at work, with hostile text wherever it can stand.
async fn infested() -> (TestApp, Studio, BTreeMap<&'static str, String>) {
    let (app, studio) = TestApp::with_studio().await;
    let which = ("other_allergy_which", Answer::Text(HOSTILE.to_owned()));
    studio.answer(&studio.mia, &[("other_allergy", Answer::Yes), which]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let past = NOW - Duration::days(60);
    let treatment = studio.treated(&studio.mia, &studio.lift, past, Outcome::AsWished, &[&studio.lotion]).await;
    // What is recorded can't be changed, only followed by a new version.
    let mut tx = app.app.db.write().await.unwrap();
    let stored = treatments::get(&mut tx, &treatment).await.unwrap().unwrap();
    let mut version = stored.current().unwrap().clone();
    version.version += 1;
    for text in [&mut version.notes, &mut version.reason, &mut version.shield, &mut version.written_by] {
        *text = HOSTILE.chars().take(60).collect();
    }
    treatments::add_version(&mut tx, &treatment, &version).await.unwrap();
    tx.commit().await.unwrap();
    studio.tested(&studio.mia, NOW - Duration::days(3), None).await;
    let at = NOW + Duration::days(3);
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    let mut tx = app.app.db.write().await.unwrap();
    // What is sealed is planted as it is written.
    let mut hers = skin_tests::of_client(&mut tx, &studio.mia).await.unwrap().remove(0);
    let test = SkinTestId::from_random([9; 16]);
    (hers.test.id, hers.site) = (test.clone(), HOSTILE.to_owned());
    skin_tests::insert(&mut tx, &hers, NOW).await.unwrap();
    let off = "INSERT INTO time_off (id, from_day, to_day, reason) VALUES ('aaaaaaaaaaaaaaaaaaaaaaaaaa', '2026-12-24', '2026-12-26', 'x')";
    sqlx::query(off).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let mut tx = app.app.db.write().await.unwrap();
    let mut planted = plant(&mut *tx).await;
    tx.commit().await.unwrap();
    planted.push("skin_test.site".to_owned());
    assert!(planted.len() >= 12, "{planted:?}");
    let ids = BTreeMap::from([
        ("/desk/visits/", visit.to_string()),
        ("/me/visits/", visit.to_string()),
        ("/desk/clients/", studio.mia.to_string()),
        ("/desk/treatments/", treatment.to_string()),
        ("/desk/skin-tests/", test.to_string()),
        ("/services/", studio.lift.to_string()),
        ("/owner/services/", studio.lift.to_string()),
        ("/owner/products/", studio.lotion.to_string()),
        ("/owner/practitioners/", studio.liv.to_string()),
        ("/owner/rooms/", studio.room.to_string()),
    ]);
    (app, studio, ids)
}

/// Whether a page took any of it for its own.
fn infected(page: &Html) -> bool {
    let elements = "img, iframe, [onerror], [onload], [onclick], script:not([src]), script[src^='http']";
    !page.all(elements).is_empty() || page.source().contains(RECKONED)
}

#[tokio::test]
async fn no_page_takes_it_for_its_own() {
    let (app, studio, ids) = infested().await;
    let people = [app.owner().await, app.client(MIA).await, app.visitor()];
    let consent = people[1].get("/me").await.attributes("a[href^='/me/papers/']", "href").remove(0);
    let consent = consent.rsplit('/').next().unwrap().to_owned();
    let (mut looked, mut shown) = (0, Vec::new());
    for route in table().into_iter().filter(|route| route.method == Method::GET) {
        let id = ids.iter().find(|(beginning, _)| route.path.starts_with(**beginning)).map_or(&consent, |(_, id)| id);
        let path = address(route.path, &[("id", id), ("consent", &consent)]);
        for person in &people {
            let page = person.get(&path).await;
            assert!(page.status < 500, "{path}: {} {}", page.status, page.text());
            let kind = page.headers.get("content-type").map(|kind| kind.to_str().unwrap()).unwrap_or_default();
            if page.status == 200 && kind.starts_with("text/html") {
                assert!(!infected(&page), "{path}: {}", page.source());
                looked += 1;
                if page.source().contains("onerror=a()") {
                    shown.push(path.clone());
                }
            }
        }
    }
    assert!(looked > 60 && shown.len() > 40, "{looked} pages, it stands on {shown:?}");
    let record = people[0].get(&format!("/desk/clients/{}", studio.mia)).await;
    assert!(record.text().contains(HOSTILE), "it is shown as it was written: {}", record.text());
}

#[tokio::test]
async fn a_refused_form_shows_it_as_text_too() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    for path in ["/owner/studio", "/owner/products/new", "/owner/services/new", "/owner/rooms", "/owner/days-off"] {
        let page = owner.get(path).await;
        let (_, mut fields) = page.form(path);
        for (name, value) in &mut fields {
            if name != "csrf" {
                *value = HOSTILE.to_owned();
            }
        }
        let again = owner.post(path, &fields).await;
        assert!(matches!(again.status, 303 | 422), "{path}: {}", again.status);
        assert!(!infected(&again), "{path}: {}", again.source());
    }
    for query in ["/desk/clients?q=", "/owner/exports?q=", "/desk?day=", "/owner/audit?before="] {
        let page = owner.get(&format!("{query}%22%3E%3Cimg%20src%3Dx%20onerror%3Da()%3E")).await;
        assert!(page.status < 500 && !infected(&page), "{query}: {} {}", page.status, page.source());
    }
    let page = app.visitor().get(&format!("/services/{}?test=%3Cscript%3Ea()%3C/script%3E", studio.lift)).await;
    assert!(page.status < 500 && !infected(&page), "{}", page.source());
}

#[tokio::test]
async fn mails_calendars_tables_and_papers_keep_it_as_text() {
    let (app, studio, ids) = infested().await;
    let mia = app.client(MIA).await;
    let calendar = mia.get(&format!("/me/visits/{}/calendar.ics", ids["/me/visits/"])).await.source();
    let unfolded = calendar.replace("\r\n ", "");
    assert_eq!((unfolded.matches("BEGIN:VEVENT").count(), calendar.lines().all(|line| line.len() <= 75)), (1, true));
    let name = |line: &str| line.split([':', ';']).next().unwrap().to_owned();
    assert!(unfolded.lines().all(|line| name(line).bytes().all(|b| b.is_ascii_uppercase() || b == b'-')), "{unfolded}");

    let page = mia.get(&format!("/me/visits/{}/cancel", ids["/me/visits/"])).await;
    assert_eq!(mia.submit(&page, "/me/visits/", &[]).await.status, 303, "{}", page.main());
    for out in app.mails().await {
        let letter = out.letter;
        assert!(!letter.html.contains("<img") && !letter.html.contains("<script") && !letter.subject.contains('\n'));
        assert!(letter.text.contains("onerror=a()"), "plain text has nothing to escape: {}", letter.text);
    }

    let owner = app.owner().await;
    let page = owner.get("/owner/exports").await;
    let fields = [("scope", "client"), ("client", studio.mia.as_str()), ("why", HOSTILE)];
    assert_eq!(owner.submit(&page, "/owner/exports", &fields).await.status, 303);
    let zip = owner.get(&owner.get("/owner/exports").await.link("Fetch it")).await.bytes;
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    let (mut cells, mut papers) = (0, 0);
    for at in 0..archive.len() {
        let mut file = archive.by_index(at).unwrap();
        let name = file.name().unwrap().into_owned();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        assert!(!name.contains("..") && name.is_ascii(), "{name}");
        if name.ends_with(".csv") {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes.as_slice());
            for row in reader.records() {
                for cell in row.unwrap().iter() {
                    assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{name}: {cell}");
                    cells += usize::from(cell.contains("onerror=a()"));
                }
            }
        }
        if name.ends_with(".pdf") {
            for mark in ["/JavaScript", "/JS", "/Launch", "/OpenAction", "/URI"] {
                assert!(!bytes.windows(mark.len()).any(|part| part == mark.as_bytes()), "{name}: {mark}");
            }
            let mut paper = tempfile::NamedTempFile::new().unwrap();
            paper.write_all(&bytes).unwrap();
            let words = std::process::Command::new("pdftotext").arg(paper.path()).arg("-").output().unwrap();
            assert!(String::from_utf8_lossy(&words.stdout).contains("onerror=a()"), "{name}");
            papers += 1;
        }
    }
    assert!(cells > 3 && papers == 1, "{cells} cells, {papers} papers");
    let list = owner.get("/owner/retouch/list.csv").await.source();
    assert!(
        list.contains("'=1+")
            && list.lines().all(|line| !line.starts_with(['=', '"'].map(|c| c)) || line.starts_with("\"'")),
        "{list}"
    );
}

#[tokio::test]
async fn a_mail_has_only_the_headers_that_it_should_have() {
    let folder = tempfile::tempdir().unwrap();
    let transport = Transport::Folder(folder.path().to_owned());
    let evil = "Studio\r\nBcc: someone@example.org\r\n\r\n<script>";
    let letter = Letter {
        subject: evil.to_owned(),
        text: "Hello\n.\nQUIT".to_owned(),
        html: "<p>Hello</p>".to_owned(),
        calendar: None,
        unsubscribe: None,
    };
    let out = Outgoing {
        id: "one".to_owned(),
        from: "studio@example.org".to_owned(),
        from_name: evil.to_owned(),
        to: "mia@clients.example.org".to_owned(),
        at: NOW,
        letter,
    };
    transport.send(out.clone()).await.unwrap();
    let mail = std::fs::read_to_string(folder.path().join("one.eml")).unwrap();
    let (head, _) = mail.split_once("\r\n\r\n").unwrap();
    let unfolded = head.replace("\r\n ", " ").replace("\r\n\t", " ");
    let mut names: Vec<_> = unfolded.lines().map(|line| line.split(':').next().unwrap().to_lowercase()).collect();
    names.sort();
    let wanted = ["auto-submitted", "content-type", "date", "from", "message-id", "mime-version", "subject", "to"];
    assert_eq!(names, wanted, "{head}");
    for odd in ["mia@clients.example.org\r\nBcc: someone@example.org", "a@example.org, b@example.org", "", "no address"]
    {
        let sent = transport.send(Outgoing { id: "two".to_owned(), to: odd.to_owned(), ..out.clone() }).await;
        assert!(sent.is_err() && !folder.path().join("two.eml").exists(), "{odd}");
    }
}
