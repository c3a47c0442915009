//! The demo: an invented studio that obeys the rules.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::collections::BTreeSet;
use std::path::Path;

use palpebra::actions::case::{self, Asked};
use palpebra::cli::seed_demo::{self, DemoRefused};
use palpebra::domain::visit::VisitState;
use palpebra::password::Passwords;
use palpebra::store::visits::{Purpose, Visit};
use palpebra::store::{Connection, Db, accounts, audit, clients, practitioners, studio, visits};
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

/// A Wednesday afternoon in winter.
const NOW: OffsetDateTime = datetime!(2026-11-25 15:20 UTC);

async fn fill(folder: &Path, now: OffsetDateTime) -> Db {
    let file = folder.join("palpebra.db");
    seed_demo::prepare(&file, now, Passwords::quick()).await.unwrap();
    Db::open(&file).await.unwrap()
}

/// The visits of the studio's today, holds left out.
async fn of_today(c: &mut Connection, now: OffsetDateTime) -> Vec<Visit> {
    let zone = studio::get(c).await.unwrap().unwrap().zone;
    let today = zone.date_at(now);
    let (from, to) = (zone.day_start(today), zone.day_start(today.next_day().unwrap()));
    visits::between(c, from, to).await.unwrap()
}

#[tokio::test]
async fn the_demo_is_a_studio_at_work() {
    let folder = tempfile::tempdir().unwrap();
    let db = fill(folder.path(), NOW).await;
    let mut c = db.read().await.unwrap();
    let studio = studio::get(&mut c).await.unwrap().unwrap();
    assert!(studio.demo);
    assert_eq!(practitioners::all(&mut c).await.unwrap().len(), 3);
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    let today: Vec<_> = of_today(&mut c, NOW).await;
    let mut verdicts = BTreeSet::new();
    for visit in today.iter().filter(|visit| visit.purpose == Purpose::Treatment) {
        assert_eq!(visit.state, VisitState::Booked, "today has only begun");
        let asked = Asked { client: visit.client.as_ref(), service: &visit.service, at: visit.starts_at, now: NOW };
        verdicts.insert(case::readiness(&mut c, &studio, &asked).await.unwrap().verdict.as_str());
    }
    assert!(verdicts.contains("ask") && verdicts.contains("letter_needed"), "{verdicts:?}");
    drop(c);
    assert_eq!(db.check().await.unwrap(), Vec::<String>::new());
}

#[tokio::test]
async fn a_demo_is_filled_once_and_a_real_studio_never() {
    let folder = tempfile::tempdir().unwrap();
    let db = fill(folder.path(), NOW).await;
    let count = clients::all(&mut db.read().await.unwrap()).await.unwrap().len();
    db.close().await;
    let db = fill(folder.path(), NOW + Duration::days(3)).await;
    assert_eq!(clients::all(&mut db.read().await.unwrap()).await.unwrap().len(), count);

    let (test, _studio) = crate::support::TestApp::with_studio().await;
    let file = test.folder().join("palpebra.db");
    let refused = seed_demo::prepare(&file, NOW, Passwords::quick()).await;
    assert!(matches!(refused, Err(DemoRefused::NotEmpty)), "{refused:?}");
}

#[tokio::test]
async fn its_people_can_sign_in() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("palpebra.db");
    // An empty database, as a server leaves it that nobody has set up.
    Db::open(&file).await.unwrap().close().await;
    let people = seed_demo::prepare(&file, NOW, Passwords::quick()).await.unwrap();
    let db = Db::open(&file).await.unwrap();
    let mut c = db.read().await.unwrap();
    for (mail, password) in [&people.owner, &people.practitioner] {
        let account = accounts::by_mail(&mut c, mail).await.unwrap().unwrap();
        assert!(Passwords::quick().matches(Some(account.password_hash), password.clone()).await.unwrap(), "{mail}");
    }
    let client = palpebra::domain::person::Mail::parse(&people.client).unwrap();
    assert_eq!(clients::by_mail(&mut c, &client).await.unwrap().len(), 1);
}
