//! Many people at once, over HTTP against the real program: nobody gets what another has, and nobody loses what is hers.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may fail where it stands")]

use std::collections::BTreeMap;

use palpebra::domain::ids::VisitId;
use palpebra::store::visits::{self, Purpose, Visit};
use palpebra::store::{Db, audit};
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

use crate::lifecycle::Program;
use crate::support::studio::{LIV, Studio};
use crate::support::{Person, TestApp};

const VISITORS: usize = 200;
const TIMES: usize = 20;
const WISHES: i64 = 8;
/// How many browsers press the button of one link at once.
const HANDS: usize = 5;

/// A time that is kept for a wish: the visit that would move there, when that is, and the link.
struct Kept {
    visit: VisitId,
    at: OffsetDateTime,
    link: String,
}

/// Clients who wished to come earlier, and for whom a time is kept.
async fn keep_times(app: &TestApp, studio: &Studio) -> Vec<Kept> {
    let liv = app.member(LIV.0, LIV.1).await;
    let mut kept = Vec::new();
    for n in 0..WISHES {
        let at = datetime!(2026-03-10 09:00 UTC) + Duration::days(if n < 4 { n } else { n + 2 });
        let mail = format!("leaves{n}@clients.example.org");
        let leaves = studio.client(&format!("Leaves {}", letter(n)), &mail, date!(1980 - 01 - 02)).await;
        let mail = format!("wishes{n}@clients.example.org");
        let wishes = studio.client(&format!("Wishes {}", letter(n)), &mail, date!(1980 - 01 - 02)).await;
        let book = |client, at| studio.visit(Purpose::Treatment, client, &studio.lift, &studio.liv, at);
        let opening = book(&leaves, at).await;
        let visit = book(&wishes, at + Duration::days(30)).await;
        let she = app.client(&mail).await;
        let page = she.get(&format!("/me/visits/{visit}/earlier")).await;
        assert_eq!(she.submit(&page, "/me/visits/", &[]).await.status, 303);
        let page = liv.get(&format!("/desk/visits/{opening}")).await;
        assert_eq!(liv.submit(&page, &format!("/desk/visits/{opening}/cancel"), &[]).await.status, 303);
        kept.push(Kept { visit, at, link: app.mail_to(&mail).await.link("/earlier/") });
    }
    kept
}

fn letter(n: i64) -> char {
    char::from(b'A' + u8::try_from(n).unwrap())
}

/// Opens the page of free times and tries to have one of them; says how that was answered, and where she is sent.
async fn hold(url: String, path: String, choice: String) -> (u16, u16, Option<(String, String)>, Person) {
    let person = Person::new(&url);
    let page = person.get(&path).await;
    let held = person.submit(&page, "/services/", &[("time", &choice)]).await;
    (page.status, held.status, held.location().map(|next| (choice, next)), person)
}

async fn claim(url: String, link: String) -> u16 {
    let person = Person::new(&url);
    let page = person.get(&link).await;
    if !page.source().contains("name=\"answer\"") {
        // Another hand was quicker: the page says so.
        return page.status;
    }
    person.submit(&page, &link, &[("answer", "yes")]).await.status
}

/// Times that don't touch each other: with the turn-around a visit takes 75 minutes.
async fn times(person: &Person, path: &str, wanted: usize) -> Vec<String> {
    let mut chosen: Vec<String> = Vec::new();
    // The program's clock runs, so what is on the edge of the notice now may be behind it when it is asked for.
    let soon = datetime!(2026-03-02 11:00 UTC).unix_timestamp();
    let mut path = path.to_owned();
    while chosen.len() < wanted {
        let page = person.get(&path).await;
        let start = |choice: &str| choice.split('.').next().unwrap().parse::<i64>().unwrap();
        for slot in page.attributes("button.slot", "value") {
            if start(&slot) < soon {
                continue;
            }
            if chosen.len() < wanted && chosen.last().is_none_or(|last| start(&slot) >= start(last) + 4500) {
                chosen.push(slot);
            }
        }
        path = format!("{}{}", path.split('?').next().unwrap(), page.link("Later days"));
    }
    chosen
}

/// The real program over a copy of what a test has made.
async fn real(app: &TestApp) -> (Program, tempfile::TempDir) {
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("UPDATE studio SET demo = 1").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    app.copy_to(&folder.path().join("palpebra.db")).await;
    (Program::start(folder.path()).await, folder)
}

fn assert_nobody_is_in_two_places(all: &[Visit]) {
    let there: Vec<&Visit> = all.iter().filter(|visit| visit.state.occupies_chair()).collect();
    for (n, one) in there.iter().enumerate() {
        for other in &there[n + 1..] {
            let apart = one.busy_until <= other.starts_at || other.busy_until <= one.starts_at;
            let strangers = one.practitioner != other.practitioner && one.room != other.room;
            assert!(apart || strangers, "{one:?}\n{other:?}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_want_twenty_times_while_kept_ones_are_claimed() {
    let (app, studio) = TestApp::with_studio_and(palpebra::web::limits::Limits::off()).await;
    let kept = keep_times(&app, &studio).await;
    let path = format!("/services/{}", studio.lift);
    let chosen = times(&app.visitor(), &path, TIMES).await;
    let (program, folder) = real(&app).await;
    let file = folder.path().join("palpebra.db");

    // Half of what the visitors want more is kept for somebody else.
    let taken: Vec<String> = kept.iter().map(|kept| format!("{}.{}", kept.at.unix_timestamp(), studio.liv)).collect();
    let visitors = (0..VISITORS).map(|n| {
        let choice = if n % 10 == 9 { taken[n / 10 % taken.len()].clone() } else { chosen[n % TIMES].clone() };
        tokio::spawn(hold(program.url.clone(), path.clone(), choice))
    });
    let hands = kept.iter().flat_map(|kept| std::iter::repeat_n(kept.link.clone(), HANDS));
    let hands: Vec<_> = hands.map(|link| tokio::spawn(claim(program.url.clone(), link))).collect();
    let visitors: Vec<_> = visitors.collect();

    let mut winners: BTreeMap<String, Vec<(String, Person)>> = BTreeMap::new();
    for visitor in visitors {
        let (page, status, sent, person) = visitor.await.unwrap();
        assert!(page == 200 && (status == 303 || status == 409), "{page} {status}");
        if let Some((choice, next)) = sent {
            winners.entry(choice).or_default().push((next, person));
        }
    }
    for hand in hands {
        let status = hand.await.unwrap();
        assert!(status == 200 || status == 409, "{status}");
    }
    // The modulus leaves out what every tenth visitor would have asked for.
    let asked: std::collections::BTreeSet<_> =
        (0..VISITORS).filter(|n| n % 10 != 9).map(|n| chosen[n % TIMES].clone()).collect();
    assert_eq!(winners.keys().cloned().collect::<std::collections::BTreeSet<_>>(), asked, "each time has a winner");
    for (choice, all) in &winners {
        assert_eq!(all.len(), 1, "{choice} was given {} times", all.len());
        let (next, person) = &all[0];
        assert_eq!(person.visit(next).await.status, 200, "what she holds is hers");
    }
    drop(program);

    let db = Db::open(&file).await.unwrap();
    assert_eq!(db.check().await.unwrap(), Vec::<String>::new());
    let mut c = db.read().await.unwrap();
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    let all = visits::ahead(&mut c, datetime!(2026-03-02 08:00 UTC)).await.unwrap();
    assert_nobody_is_in_two_places(&all);
    for kept in &kept {
        let visit = all.iter().find(|visit| visit.id == kept.visit).unwrap();
        assert_eq!((visit.starts_at, visit.state.as_str()), (kept.at, "booked"), "she claimed it");
    }
    let held = all.iter().filter(|visit| visit.state.as_str() == "held").count();
    assert_eq!(held, winners.len(), "no hold is lost");
    drop(c);
    db.close().await;
}

/// Sixty-four at the same time, round after round: `PALPEBRA_RACES` says how many.
#[tokio::test(flavor = "multi_thread")]
async fn one_of_sixty_four_has_the_time_in_every_round() {
    let rounds = std::env::var("PALPEBRA_RACES").map_or(3, |rounds| rounds.parse().unwrap());
    let (app, studio) = TestApp::with_studio_and(palpebra::web::limits::Limits::off()).await;
    let path = format!("/services/{}", studio.lift);
    let chosen = times(&app.visitor(), &path, TIMES.min(rounds)).await;
    // The diary is shorter than the long form, so each batch has the program over a new copy.
    for batch in (0..rounds).collect::<Vec<_>>().chunks(TIMES) {
        let (program, _folder) = real(&app).await;
        let mut visitors = Vec::new();
        for _ in 0..64 {
            let person = Person::new(&program.url);
            let page = person.get(&path).await;
            visitors.push(std::sync::Arc::new((person, page)));
        }
        for choice in chosen.iter().take(batch.len()) {
            let hands = visitors.iter().cloned().zip(std::iter::repeat(choice.clone()));
            let hands = hands.map(|(visitor, choice)| {
                tokio::spawn(
                    async move { visitor.0.submit(&visitor.1, "/services/", &[("time", &choice)]).await.status },
                )
            });
            let mut answers = BTreeMap::new();
            for hand in hands.collect::<Vec<_>>() {
                *answers.entry(hand.await.unwrap()).or_insert(0) += 1;
            }
            assert_eq!(answers, BTreeMap::from([(303, 1), (409, 63)]), "{choice}");
        }
    }
}
