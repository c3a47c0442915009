//! The demo: an invented studio that obeys the rules.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output};

use palpebra::actions::case::{self, Asked, Known};
use palpebra::cli::seed_demo::{self, DemoRefused};
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::person::Mail;
use palpebra::domain::verdict::Verdict;
use palpebra::domain::visit::VisitState;
use palpebra::domain::window::WindowState;
use palpebra::password::Passwords;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::{Purpose, Visit};
use palpebra::store::{
    Connection, Db, accounts, audit, catalogue, clients, practitioners, skin_tests, studio, treatments, visits,
};
use tempfile::TempDir;
use time::macros::datetime;
use time::{Date, Duration, OffsetDateTime};
use tokio::sync::OnceCell;

/// A Wednesday afternoon in winter.
const NOW: OffsetDateTime = datetime!(2026-11-25 15:20 UTC);

async fn fill(folder: &Path, now: OffsetDateTime) {
    seed_demo::prepare(&folder.join("palpebra.db"), now, Passwords::quick()).await.unwrap();
}

/// A folder with the demo of [`NOW`], filled once for all tests.
async fn demo() -> TempDir {
    static FILLED: OnceCell<TempDir> = OnceCell::const_new();
    let filled = FILLED.get_or_init(async || {
        let folder = tempfile::tempdir().unwrap();
        fill(folder.path(), NOW).await;
        folder
    });
    let (filled, folder) = (filled.await, tempfile::tempdir().unwrap());
    for name in ["palpebra.db", "palpebra.keys", "palpebra.master"] {
        std::fs::copy(filled.path().join(name), folder.path().join(name)).unwrap();
    }
    folder
}

async fn open(folder: &TempDir) -> Db {
    Db::open(&folder.path().join("palpebra.db")).await.unwrap()
}

async fn today(c: &mut Connection, now: OffsetDateTime) -> Date {
    studio::get(c).await.unwrap().unwrap().zone.date_at(now)
}

/// All visits but holds, from two years before to one after.
async fn every_visit(c: &mut Connection, now: OffsetDateTime) -> Vec<Visit> {
    visits::between(c, now - Duration::days(730), now + Duration::days(365)).await.unwrap()
}

/// The verdicts on today's treatments with one practitioner, as they would be told at the hour of each.
async fn verdicts(c: &mut Connection, now: OffsetDateTime, with: Option<&str>) -> BTreeSet<Verdict> {
    let studio = studio::get(c).await.unwrap().unwrap();
    let day = studio.zone.date_at(now);
    let name = |visit: &Visit| visit.practitioner.clone();
    let team = practitioners::all(c).await.unwrap();
    let hers = |visit: &Visit| {
        with.is_none_or(|with| team.iter().any(|she| she.id == name(visit) && she.name.starts_with(with)))
    };
    let mut found = BTreeSet::new();
    for visit in every_visit(c, now).await {
        if visit.civil.date() == day && visit.purpose == Purpose::Treatment && hers(&visit) {
            assert_eq!(visit.state, VisitState::Booked, "today has only begun");
            let asked = Asked { client: visit.client.as_ref(), service: &visit.service, at: visit.starts_at, now };
            found.insert(case::readiness(c, &studio, &asked).await.unwrap().verdict);
        }
    }
    found
}

/// Where each client who was treated stands with what she had last.
async fn windows(c: &mut Connection, now: OffsetDateTime) -> Vec<WindowState> {
    let studio = studio::get(c).await.unwrap().unwrap();
    let services = catalogue::services(c).await.unwrap();
    let mut states = Vec::new();
    for client in clients::all(c).await.unwrap() {
        let past = treatments::past(c, Some(&client.id)).await.unwrap();
        let Some(last) = past.iter().max_by_key(|one| one.at) else { continue };
        let service = services.iter().find(|service| service.kind == last.kind).unwrap();
        let known = Known::load(c, &studio, Some(&client.id), &service.id).await.unwrap();
        states.push(known.window(now, &[]).unwrap().state(studio.zone.date_at(now)));
    }
    states
}

#[tokio::test]
async fn the_house_is_complete() {
    let folder = demo().await;
    let db = open(&folder).await;
    let mut c = db.read().await.unwrap();
    let studio = studio::get(&mut c).await.unwrap().unwrap();
    let day = studio.zone.date_at(NOW);
    assert!(studio.demo);
    let team = practitioners::all(&mut c).await.unwrap();
    assert_eq!(team.len(), 3);
    for she in &team {
        let hours = practitioners::hours(&mut c, &she.id).await.unwrap();
        let weekdays: BTreeSet<_> = hours.iter().map(|(weekday, ..)| *weekday).collect();
        assert!(weekdays.contains(&day.weekday().number_from_monday()) && weekdays.len() < hours.len());
    }
    assert_eq!(practitioners::rooms(&mut c).await.unwrap().len(), 2);
    let kinds: BTreeSet<ServiceKind> =
        catalogue::services(&mut c).await.unwrap().into_iter().map(|service| service.kind).collect();
    assert_eq!(kinds, ServiceKind::ALL.into());
    assert!((6..=8).contains(&catalogue::products(&mut c).await.unwrap().len()));
    let batches = catalogue::batches(&mut c).await.unwrap();
    assert!(batches.iter().any(|batch| batch.days.expires_on.unwrap() < day));
    let people = clients::all(&mut c).await.unwrap();
    assert_eq!(people.len(), 60);
    assert_eq!(people.iter().filter(|she| she.born.age_on(day) == 16).count(), 1);
}

#[tokio::test]
async fn its_past_is_that_of_a_studio_at_work() {
    let folder = demo().await;
    let db = open(&folder).await;
    let mut c = db.read().await.unwrap();
    let all = every_visit(&mut c, NOW).await;
    let count = |state: VisitState| all.iter().filter(|visit| visit.state == state).count();
    assert!(count(VisitState::Done) > 180, "{}", count(VisitState::Done));
    for state in [VisitState::NoShow, VisitState::CancelledByClient, VisitState::CancelledByStudio] {
        assert!(count(state) >= 3, "{state:?}");
    }
    let day = today(&mut c, NOW).await;
    let midnight = studio::get(&mut c).await.unwrap().unwrap().zone.day_start(day);
    assert!(all.first().unwrap().starts_at < midnight - Duration::days(500));
    assert!(all.iter().all(|visit| (visit.state == VisitState::Booked) == (visit.starts_at >= midnight)));
    assert!(all.iter().filter(|visit| visit.starts_at >= midnight).count() >= 30);

    let (mut reactions, mut corrected, mut counted, mut failed) = (0, 0, 0, 0);
    for client in clients::all(&mut c).await.unwrap() {
        for treatment in treatments::of_client(&mut c, &client.id).await.unwrap() {
            let last = treatment.current().unwrap();
            reactions += usize::from(last.outcome == Outcome::Reaction);
            corrected += usize::from(treatment.versions.len() > 1);
            counted += usize::from(last.count.is_some());
            assert!(!last.products.is_empty() && last.ended_at > last.started_at);
        }
        let tests = skin_tests::of_client(&mut c, &client.id).await.unwrap();
        failed += tests.iter().filter(|one| one.test.readings.iter().any(|reading| reading.result.fails())).count();
    }
    assert_eq!((reactions, corrected, failed), (1, 2, 2));
    assert!(counted > 50, "{counted}");

    let mut against = 0;
    for visit in all.iter().filter(|visit| visit.purpose == Purpose::Treatment && visit.state == VisitState::Done) {
        let start = treatments::start(&mut c, &visit.id).await.unwrap().unwrap();
        against += usize::from(start.verdict == Verdict::WaitUntil.as_str() && !start.reason.is_empty());
    }
    assert_eq!(against, 1);
}

#[tokio::test]
async fn nobody_is_in_two_places_and_the_books_are_whole() {
    let folder = demo().await;
    let db = open(&folder).await;
    let mut c = db.read().await.unwrap();
    let all = every_visit(&mut c, NOW).await;
    let taken: Vec<&Visit> = all.iter().filter(|visit| visit.state.occupies_chair()).collect();
    for (index, one) in taken.iter().enumerate() {
        for other in taken.iter().skip(index + 1).take_while(|other| other.starts_at < one.busy_until) {
            assert!(one.practitioner != other.practitioner && one.room != other.room, "{one:?} {other:?}");
        }
    }
    assert!(audit::verify(&mut c).await.unwrap().unwrap() > 900);
    drop(c);
    assert_eq!(db.check().await.unwrap(), Vec::<String>::new());
}

#[tokio::test]
async fn its_today_shows_every_verdict_and_its_clients_every_window() {
    let folder = demo().await;
    let db = open(&folder).await;
    let mut c = db.read().await.unwrap();
    let hers = verdicts(&mut c, NOW, Some("Noémi")).await;
    assert_eq!(hers, Verdict::ALL.into(), "of the practitioner whose sign-in is printed");
    let windows = windows(&mut c, NOW).await;
    let states = [WindowState::NotYet, WindowState::Open, WindowState::Due, WindowState::Lapsed];
    for state in states {
        let count = windows.iter().filter(|one| **one == state).count();
        assert!(count >= 3, "{state:?}: {count} of {}", windows.len());
    }
}

/// Everything that happened, in words.
async fn facts(c: &mut Connection, now: OffsetDateTime) -> Vec<String> {
    let mut facts: Vec<String> = every_visit(c, now).await.iter().map(|visit| format!("{visit:?}")).collect();
    for client in clients::all(c).await.unwrap() {
        facts.push(format!("{} {}", client.id, client.name.as_str()));
        let treatments = treatments::of_client(c, &client.id).await.unwrap();
        facts.extend(treatments.iter().map(|treatment| format!("{treatment:?}")));
    }
    let log = audit::list(c, None, None, 5000).await.unwrap();
    facts.extend(log.iter().map(|entry| format!("{entry:?}")));
    facts
}

#[tokio::test]
async fn the_hour_at_which_it_is_made_changes_nothing() {
    let (afternoon, morning) = (demo().await, tempfile::tempdir().unwrap());
    let early = NOW.replace_time(time::macros::time!(06:05));
    // Into an empty database, as a server leaves it that nobody has set up.
    open(&morning).await.close().await;
    fill(morning.path(), early).await;
    let names = std::fs::read_dir(morning.path()).unwrap().map(|entry| entry.unwrap().file_name());
    assert!(names.into_iter().all(|name| !name.to_string_lossy().contains("filling")), "nothing is left over");
    let (afternoon, morning) = (open(&afternoon).await, open(&morning).await);
    let one = facts(&mut afternoon.read().await.unwrap(), NOW).await;
    let other = facts(&mut morning.read().await.unwrap(), NOW).await;
    assert!(one.len() > 1000);
    assert_eq!(one, other);
}

#[tokio::test]
async fn it_can_be_made_on_the_day_the_clocks_go_forward() {
    let folder = tempfile::tempdir().unwrap();
    // In Dublin the clocks jump from 1:00 to 2:00 on this Sunday.
    let now = datetime!(2027-03-28 00:30 UTC);
    fill(folder.path(), now).await;
    let db = open(&folder).await;
    let mut c = db.read().await.unwrap();
    assert_eq!(verdicts(&mut c, now, None).await, Verdict::ALL.into());
    assert_eq!(clients::all(&mut c).await.unwrap().len(), 60);
}

fn command(args: &[&str], folder: &TempDir) -> Output {
    Command::new(env!("CARGO_BIN_EXE_palpebra")).args(args).arg("--data").arg(folder.path()).output().unwrap()
}

/// How many clients there are, and how many entries the log has.
async fn happened(folder: &TempDir) -> (usize, i64) {
    let db = open(folder).await;
    let mut c = db.read().await.unwrap();
    (clients::all(&mut c).await.unwrap().len(), audit::verify(&mut c).await.unwrap().unwrap())
}

#[tokio::test]
async fn a_demo_that_is_there_is_left_as_it_is() {
    let folder = demo().await;
    let before = happened(&folder).await;
    fill(folder.path(), NOW + Duration::days(3)).await;
    let output = command(&["seed-demo"], &folder);
    assert_eq!(output.status.code(), Some(0));
    let lines = String::from_utf8(output.stdout).unwrap();
    let [owner, practitioner, client] = lines.lines().collect::<Vec<_>>()[..] else { panic!("{lines}") };
    assert_eq!(owner.split(' ').next().unwrap(), "owner");
    assert_eq!(practitioner.split(' ').count(), 3, "{practitioner}");
    assert!(client.starts_with("client ") && client.contains("asks for a link"), "{client}");
    assert_eq!(happened(&folder).await, before);
}

#[tokio::test]
async fn a_real_studio_is_refused() {
    let (test, _studio) = crate::support::TestApp::with_studio().await;
    let refused = seed_demo::prepare(&test.folder().join("palpebra.db"), NOW, Passwords::quick()).await;
    assert!(matches!(refused, Err(DemoRefused::NotEmpty)), "{refused:?}");
    let copy = tempfile::tempdir().unwrap();
    test.copy_to(&copy.path().join("palpebra.db")).await;
    for args in [&["seed-demo"][..], &["serve", "--demo", "--listen", "127.0.0.1:0"]] {
        let output = command(args, &copy);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains("not the demo") && said.lines().count() == 1, "{said}");
    }
}

#[tokio::test]
async fn its_people_can_sign_in() {
    let folder = demo().await;
    let people = seed_demo::prepare(&folder.path().join("palpebra.db"), NOW, Passwords::quick()).await.unwrap();
    let db = open(&folder).await;
    let mut c = db.read().await.unwrap();
    for (mail, password) in [&people.owner, &people.practitioner] {
        let account = accounts::by_mail(&mut c, mail).await.unwrap().unwrap();
        assert!(Passwords::quick().matches(Some(account.password_hash), password.clone()).await.unwrap(), "{mail}");
        assert!(!password.contains(' '), "the line that prints it has three words");
        assert!(account.member.practitioner.is_some(), "{mail} treats");
    }
    let client = clients::by_mail(&mut c, &Mail::parse(&people.client).unwrap()).await.unwrap();
    let own = visits::of_client(&mut c, &client.first().unwrap().id).await.unwrap();
    assert!(own.iter().any(|visit| visit.state == VisitState::Booked && visit.starts_at > NOW + Duration::days(2)));
    assert!(own.iter().any(|visit| visit.state == VisitState::Done));
}
