//! Clients, past visits and skin tests are taken over from a file: looked at first, all of it or nothing, and never twice.

use palpebra::actions::case::Known;
use palpebra::actions::retouch;
use palpebra::actions::takeover::{Report, Taken};
use palpebra::domain::ids::TakeoverId;
use palpebra::domain::role::{Member, Role};
use palpebra::domain::skin_test::{TestStanding, VoidCause};
use palpebra::domain::{ids::AccountId, verdict::Verdict};
use palpebra::jobs::housekeeping;
use palpebra::store::retouch::lines;
use palpebra::store::{audit, clients, skin_tests, takeovers};
use time::macros::date;
use time::{Date, Duration};

use crate::support::studio::LIV;
use crate::support::{Html, Person, TestApp};

const PAGE: &str = "/owner/takeover";
const HEADS: &str = "Name;E-Mail;Phone;Date of birth;Last visit;Treatment;Notes;Patch test;Product;Result\r\n";

async fn send(owner: &Person, file: &[u8]) -> Html {
    let page = owner.get(PAGE).await;
    owner.send(&page, PAGE, &[], Some(file)).await
}

/// Sends a file and takes its columns as they were understood: the page on which each row's fate stands.
async fn check(owner: &Person, file: &[u8]) -> (String, Html) {
    let sent = send(owner, file).await;
    assert_eq!(sent.status, 303, "{}", sent.main());
    let here = sent.location().unwrap();
    let columns = owner.get(&here).await;
    let next = owner.submit(&columns, &here, &[]).await;
    assert_eq!(next.status, 303, "{}", next.main());
    let path = next.location().unwrap();
    let page = owner.get(&path).await;
    assert_eq!(page.status, 200, "{}", page.main());
    (path, page)
}

pub(super) async fn take(owner: &Person, file: &[u8]) -> Html {
    let (path, page) = check(owner, file).await;
    let done = owner.submit(&page, &path, &[]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    owner.follow(done).await
}

fn table(rows: &[&str]) -> Vec<u8> {
    format!("{HEADS}{}\r\n", rows.join("\r\n")).into_bytes()
}

fn member() -> Member {
    let account = AccountId::from_random([1; 16]);
    Member { account, role: Role::Owner, name: "Runa Ostfeld".to_owned(), practitioner: None }
}

/// Everything but the files that were sent, which a second sending adds to.
async fn state(app: &TestApp) -> (usize, usize, usize) {
    let mut c = app.app.db.read().await.unwrap();
    let all = clients::all(&mut c).await.unwrap();
    let mut visits = 0;
    for client in &all {
        visits += takeovers::visits_of(&mut c, &client.id).await.unwrap().len();
    }
    (all.len(), visits, takeovers::tests(&mut c).await.unwrap().len())
}

const ROWS: [&str; 5] = [
    "Ada Winterfeld;ada@clients.example.org;030 55501235;30.5.1994;2.1.2026;Lash lift;as always;;;",
    "Ada Winterfeld;ada@clients.example.org;;30.5.1994;7.11.2025;lash LIFT;;10.11.2025;Night Tint;clear",
    "Mia Sandgren;MIA@clients.example.org;;14.6.1991;2.2.2026;Lash lift;;9.1.2026;Night Tint;reaction",
    "Ida Sandgren;mia@clients.example.org;030 55501236;1.2.2003;;;;;;",
    "Nobody;nobody;;;;;;;;",
];

#[tokio::test]
async fn a_dry_run_says_what_becomes_of_each_row_and_keeps_nothing() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let before = state(&app).await;
    let (path, page) = check(&owner, &table(&ROWS)).await;
    let rows = page.all("tbody tr");
    assert_eq!(rows.len(), 5, "{rows:?}");
    assert!(rows[0].starts_with("2Ada WinterfeldA new client. The visit of Fri 2 January 2026 is added."), "{rows:?}");
    assert!(
        rows[1].contains("A client you know. The visit of Fri 7 November 2025 is added. The skin test"),
        "{rows:?}"
    );
    assert!(rows[2].contains("It failed, so its product is blocked for her."), "{rows:?}");
    assert!(rows[3].contains("Somebody else has the same mail address"), "{rows:?}");
    assert!(rows[4].contains("Left out: a mail address is written like name@example.org."), "{rows:?}");
    assert_eq!(page.all("dl.facts dd"), ["2", "3", "2", "0", "1"]);
    let bad = owner.get(&format!("{path}?only=bad")).await;
    assert_eq!(bad.all("tbody tr").len(), 1);
    assert_eq!(state(&app).await, before, "a look keeps nothing");
}

#[tokio::test]
async fn what_is_taken_over_moves_windows_and_the_same_file_again_changes_nothing() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let done = take(&owner, &table(&ROWS)).await;
    assert_eq!(done.all("h1"), ["Taken over"]);
    assert_eq!(done.all("dl.facts dd"), ["2", "3", "2", "0", "1"]);
    assert_eq!(done.all("tbody tr"), ["6Left out: a mail address is written like name@example.org."]);
    let after = state(&app).await;
    assert_eq!(after, (3, 3, 2));
    retouch::freshen(&app.app.db).await.unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let ada =
        clients::all(&mut c).await.unwrap().into_iter().find(|one| one.name.as_str() == "Ada Winterfeld").unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    for (client, last) in [(&ada.id, date!(2026 - 01 - 02)), (&studio.mia, date!(2026 - 02 - 02))] {
        let spot = lines::get(&mut c, client, &studio.lift).await.unwrap().expect("she is on the list");
        let known = Known::load(&mut c, &row, Some(client), &studio.lift).await.unwrap();
        let window = known.window(app.app.clock.now(), &[]).expect("she has a window");
        assert_eq!((spot.last, spot.opens, spot.due), (last, window.opens(), window.due()));
    }
    drop(c);
    assert_eq!(retouch::repair(&app.app.db).await.unwrap(), 0, "the list is what the whole history gives");
    let entries = audit::list(&mut app.app.db.read().await.unwrap(), Some(&ada.id), None, 10).await.unwrap();
    assert!(entries.iter().any(|one| one.action == "client.taken-over" && one.actor_name == "Runa Ostfeld"));

    let (path, again) = check(&owner, &table(&ROWS)).await;
    assert_eq!(again.all("dl.facts dd"), ["0", "0", "0", "4", "1"]);
    assert!(again.main().contains("There is nothing new in this file."));
    let token = owner.get(PAGE).await.form(PAGE).1.into_iter().find(|(name, _)| name == "csrf").unwrap();
    assert_eq!(owner.post(&path, &[token]).await.status, 303, "somebody may still press");
    assert_eq!(state(&app).await, after);
}

#[tokio::test]
async fn a_test_from_elsewhere_clears_nobody_and_a_reaction_blocks() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let id = studio.client("Ada Winterfeld", "ada@clients.example.org", date!(1994 - 05 - 30)).await;
    take(
        &owner,
        &table(&[
            "Ada Winterfeld;ada@clients.example.org;;30.5.1994;;;;20.2.2026;Night Tint;clear",
            "Mia Sandgren;mia@clients.example.org;;14.6.1991;;;;20.2.2026;Night Tint;blisters",
        ]),
    )
    .await;
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let now = app.app.clock.now();
    for (client, verdict) in [(&id, Verdict::WaitUntil), (&studio.mia, Verdict::DoNotTreat)] {
        let test = skin_tests::of_client(&mut c, client).await.unwrap().remove(0);
        assert_eq!(test.test.voided, Some(VoidCause::TakenOver));
        let known = Known::load(&mut c, &row, Some(client), &studio.lift_and_tint).await.unwrap();
        assert_eq!(known.readiness(now, now).verdict, verdict);
        assert!(!matches!(standing(&test.test, now), TestStanding::Valid { .. }));
    }
    drop(c);
    let page = owner.get(&format!("/desk/clients/{}", studio.mia)).await;
    assert!(page.main().contains("It counts only where it failed:"), "{}", page.main());
}

fn standing(test: &palpebra::domain::skin_test::SkinTest, now: time::OffsetDateTime) -> TestStanding {
    let planned = palpebra::domain::skin_test::Planned {
        product: test.product.clone(),
        needs_test: true,
        label_hours: None,
        related: Vec::new(),
        treated: Vec::new(),
        test_booked_at: None,
        blocked: false,
    };
    palpebra::domain::skin_test::standing(std::slice::from_ref(test), &planned, now, &Default::default())
}

#[tokio::test]
async fn columns_letters_and_separators_can_be_set_right() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let file = b"A|B|C|D\nZo\xEB L\xF8ve|zoe@clients.example.org|030 55501237|5/30/1994\n";
    let here = send(&owner, file).await.location().unwrap();
    let page = owner.get(&here).await;
    assert!(page.main().contains("Zoë Løve"), "{}", page.main());
    let refused = owner.submit(&page, &here, &[("column-0", "name"), ("column-1", "name")]).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.attributes(".summary a", "href"), ["#column-1"]);
    let cut = owner.submit(&page, &here, &[("separator", "comma")]).await;
    assert_eq!(cut.location().as_deref(), Some(here.as_str()), "its columns are shown anew");
    let page = owner.get(&here).await;
    assert!(page.main().contains("A|B|C|D"), "{}", page.main());
    owner.submit(&page, &here, &[("separator", "bar")]).await;
    let page = owner.get(&here).await;
    let fields = [
        ("column-0", "name"),
        ("column-1", "mail"),
        ("column-2", "phone"),
        ("column-3", "born"),
        ("order", "month_first"),
    ];
    let next = owner.submit(&page, &here, &fields).await;
    let path = next.location().expect("the look is next");
    let rows = owner.get(&path).await.all("tbody tr");
    assert_eq!(rows, ["2Zoë LøveA new client."]);
}

#[tokio::test]
async fn cards_are_taken_over_as_tables_are() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let card = "BEGIN:VCARD\r\nVERSION:3.0\r\nN:Winterfeld;Ada;;;\r\nFN:Ada Winterfeld\r\nEMAIL:ada@clients.example.org\r\n\
                TEL;TYPE=CELL:030 55501235\r\nBDAY:1994-05-30\r\nEND:VCARD\r\n";
    take(&owner, card.as_bytes()).await;
    assert_eq!(state(&app).await.0, 2);
}

#[tokio::test]
async fn a_file_that_is_none_is_refused_and_a_left_one_goes_after_a_day() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    for (file, words) in [
        (b"".as_slice(), "Choose a file"),
        (b"PK\x03\x04 and so on", "it is a workbook; save it as CSV"),
        (b"\x89PNG\0\0", "it is not a text file"),
        (b"Name,Mail\r\n", "no row in it below the heads"),
    ] {
        let page = send(&owner, file).await;
        assert_eq!(page.status, 422, "{words}");
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    let here = send(&owner, &table(&ROWS)).await.location().unwrap();
    assert_eq!(app.member(LIV.0, LIV.1).await.get(&here).await.status, 403);
    app.app.clock.advance(Duration::hours(25));
    housekeeping::sweep(&app.app).await.unwrap();
    let owner = app.owner().await;
    assert_eq!(owner.get(&here).await.status, 404);
    let files = sqlx::query_scalar::<_, i64>("SELECT count(*) FROM takeover");
    assert_eq!(files.fetch_one(&mut *app.app.db.read().await.unwrap()).await.unwrap(), 0);
}

/// By hand: `cargo test --test it ten_thousand_rows -- --ignored --nocapture`.
#[tokio::test]
#[ignore = "a measurement"]
async fn ten_thousand_rows() {
    let (app, _) = TestApp::with_studio().await;
    let mut file = HEADS.to_owned();
    for n in 0..10_000_i64 {
        let mail = if n % 20 == 7 { "broken".to_owned() } else { format!("client{n}@clients.example.org") };
        let day: Date = date!(2024 - 01 - 01) + Duration::days(n % 700);
        file += &format!("Invented Client {n};{mail};030 55501235;30.5.1994;{day};Lash lift;;;;\r\n");
    }
    let begun = std::time::Instant::now();
    let id: TakeoverId =
        palpebra::actions::takeover::keep(&app.app, &member(), file.into_bytes()).await.unwrap().unwrap();
    let Some(Taken::Done(report)) = palpebra::actions::takeover::take(&app.app, &member(), &id).await.unwrap() else {
        panic!("it is taken over");
    };
    eprintln!("10,000 rows in {:?}", begun.elapsed());
    let Report { clients, visits, bad, .. } = report;
    assert_eq!((clients, visits, bad.len()), (9_500, 9_500, 500));
    assert!(bad.iter().all(|(_, why)| why == "a mail address is written like name@example.org"));
    assert_eq!(bad.first().map(|(line, _)| *line), Some(9));
}
