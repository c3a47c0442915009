//! The owner's lists over a large studio, and how fast its records leave.
//!
//! `cargo bench --bench owner` fills a file with 100,000 clients and 1,000,000 visits, which takes some minutes, and
//! prints how long the retouch list and the forecast take to come as pages; then how many clients a second an export
//! writes, and how much memory that takes for few and for many. `cargo bench --bench owner -- 300 40` is the same in
//! small: so many clients for the lists, so many for the export.
#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stdout,
    reason = "it prints what it measured, and may stop anywhere"
)]

#[path = "../tests/it/support/mod.rs"]
#[expect(dead_code, reason = "the tests use more of it")]
mod support;

#[path = "owner/fill.rs"]
mod fill;

use std::time::Instant;

use palpebra::actions::export::{self, Order, Place, Why};
use palpebra::actions::retouch;
use palpebra::documents::record::Scope;
use palpebra::documents::verify::verify;
use palpebra::domain::role::Actor;
use palpebra::domain::skin_test::TestResult;
use palpebra::store::treatments::Outcome;
use palpebra::web::limits::Limits;
use support::{Person, Studio, TestApp};
use time::Duration;
use time::macros::{date, datetime};

const VISITS_EACH: u32 = 10;

fn main() {
    let mut numbers = std::env::args().filter_map(|word| word.parse().ok());
    let (clients, exported) = (numbers.next().unwrap_or(100_000), numbers.next().unwrap_or(2_000));
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(lists(clients));
    runtime.block_on(exports(exported));
}

async fn lists(clients: u32) {
    let (app, studio) = TestApp::with_studio_and(Limits::off()).await;
    let begin = Instant::now();
    fill::fill(&app.folder().join("palpebra.db"), &studio, clients, VISITS_EACH).await;
    println!("{clients} clients with {} visits, filled in {:.0?}", clients * VISITS_EACH, begin.elapsed());
    retouch::freshen(&app.app.db).await.unwrap();
    let wrong = retouch::repair(&app.app.db).await.unwrap();
    assert_eq!(wrong, 0, "the list differs from the treatments");
    let owner = app.owner().await;
    for (what, path) in [
        ("retouch list, most urgent first", "/owner/retouch"),
        ("retouch list, due and nothing booked", "/owner/retouch?state=due&free=yes"),
        ("retouch list, by name, tenth page", "/owner/retouch?sort=name&page=10"),
        ("retouch list, part of a name", "/owner/retouch?q=number+77"),
        ("forecast", "/owner/retouch/forecast"),
    ] {
        page(&owner, what, path).await;
    }
}

/// Asks for a page again and again.
async fn page(owner: &Person, what: &str, path: &str) {
    let mut took = Vec::new();
    for _ in 0..31 {
        let begin = Instant::now();
        let page = owner.get(path).await;
        took.push(begin.elapsed());
        assert_eq!(page.status, 200);
        assert!(!page.all("table tbody tr").is_empty(), "nothing on {path}");
    }
    took.sort_unstable();
    println!("{what}: median {:.1?}, most {:.1?}", took[took.len() / 2], took[took.len() - 1]);
}

/// A quarter of the clients first, then all: flat memory is the same for both.
async fn exports(clients: u32) {
    let (app, studio) = TestApp::with_studio().await;
    let mut made = 0;
    for upto in [clients / 4, clients] {
        while made < upto {
            record(&studio, made).await;
            made += 1;
        }
        let file = app.folder().join(format!("{upto}.zip"));
        let why = Why::parse("A measurement").unwrap();
        reset_peak();
        let (before, begin) = (memory("VmRSS:"), Instant::now());
        let order = Order { scope: Scope::Everyone, why, place: Place::At(file.clone()), passphrase: None };
        let package = export::make(&app.app, &Actor::Command, order);
        let package = package.await.unwrap();
        let seconds = begin.elapsed().as_secs_f64();
        let peak = memory("VmHWM:");
        assert_eq!(package.clients, u64::from(upto) + 1, "all of them, and Mia");
        let verified = verify(std::fs::File::open(file).unwrap()).unwrap_or_else(|faults| panic!("{faults:?}"));
        assert!(verified.files > package.clients * 2);
        println!(
            "export of {} clients, {} kB: {:.0} clients a second; memory {before} kB before, {peak} kB at its most",
            package.clients,
            package.bytes / 1000,
            f64::from(upto + 1) / seconds
        );
    }
}

/// A client with answers, a consent, a skin test and three treatments.
async fn record(studio: &Studio, number: u32) {
    let name = format!("Client Number {number}");
    let client = studio.client(&name, &format!("c{number}@clients.example.org"), date!(1990 - 01 - 02)).await;
    studio.consent(&client, &studio.lift_and_tint).await;
    let first = datetime!(2020-01-01 00:00 UTC) + Duration::hours(i64::from(number) * 6);
    let read = (TestResult::NoVisibleChange, first - Duration::hours(1));
    studio.tested(&client, first - Duration::hours(50), Some(read)).await;
    for visit in 0..3 {
        let at = first + Duration::hours(visit * 2);
        studio.treated(&client, &studio.lift_and_tint, at, Outcome::AsWished, &[&studio.lotion, &studio.tint]).await;
    }
}

/// A line of what Linux says of this process, in kB; 0 elsewhere.
fn memory(line: &str) -> u64 {
    let all = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = all.lines().find_map(|text| text.strip_prefix(line));
    line.and_then(|rest| rest.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// Lets the greatest use of memory be counted from now on (proc(5), `clear_refs`).
fn reset_peak() {
    let _ = std::fs::write("/proc/self/clear_refs", "5");
}
