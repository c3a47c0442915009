//! Many visitors for a while, with everything going wrong in between: the server is killed, its disk is full, its mail
//! server is dead all along. Short here; `tests/run --long` makes it 500 visitors for ten minutes.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may fail where it stands")]

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use palpebra::store::{Db, outbox};
use tokio::sync::mpsc;

use crate::lifecycle::{Program, book_once, check, demo_folder};
use crate::support::Person;

fn setting(name: &str, usual: usize) -> usize {
    std::env::var(name).map_or(usual, |value| value.parse().unwrap())
}

/// A small file system in memory over a folder, for as long as this lives. Only root can have one.
struct SmallDisk<'a>(&'a Path);

impl<'a> SmallDisk<'a> {
    fn over(folder: &'a Path) -> Option<Self> {
        let small = ["-t", "tmpfs", "-o", "size=96m,mode=0700", "tmpfs"];
        let mounted = Command::new("mount").args(small).arg(folder).output().is_ok_and(|out| out.status.success());
        mounted.then_some(Self(folder))
    }

    /// Takes all the room that is left, to the last block.
    fn fill(&self) {
        let mut filler = std::fs::File::create(self.0.join("filler")).unwrap();
        while filler.write_all(&[0; 4096]).is_ok() {}
    }

    fn make_room(&self) {
        std::fs::remove_file(self.0.join("filler")).unwrap();
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("--lazy").arg(self.0).status();
    }
}

/// What all visitors share.
struct House {
    url: String,
    service: String,
    open: AtomicBool,
    booked: AtomicUsize,
    tell: mpsc::UnboundedSender<(u16, reqwest::header::HeaderMap)>,
}

/// Books again and again under new names until the house closes; gives the names whose booking was answered.
async fn visit(house: Arc<House>, visitor: usize) -> Vec<String> {
    let mut booked = Vec::new();
    for round in 0.. {
        if !house.open.load(Ordering::Relaxed) {
            break;
        }
        let name = format!("Writer {visitor:04} Round {round:05}");
        let person = Person::new(&house.url).telling(house.tell.clone());
        if book_once(&person, &house.service, &name, visitor * 31 + round * 17).await.is_some() {
            house.booked.fetch_add(1, Ordering::Relaxed);
            booked.push(name);
        } else {
            // Gone, full or nothing free: a person looks away for a moment before she tries again.
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }
    booked
}

/// Looks at the memory every second until a moment.
async fn watch(program: &Program, until: Instant) -> Vec<u64> {
    let mut seen = Vec::new();
    while Instant::now() < until {
        tokio::time::sleep(Duration::from_secs(1)).await;
        seen.push(program.memory());
    }
    seen
}

fn middle(mut values: Vec<u64>) -> u64 {
    values.sort_unstable();
    values[values.len() / 2]
}

/// Opens the diary for as long as a studio may, so that the visitors of the long form find free times to the end.
async fn long_diary(file: &Path) {
    let db = Db::open(file).await.unwrap();
    let mut tx = db.write().await.unwrap();
    sqlx::query("UPDATE studio SET horizon_days = 400").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    db.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn visitors_lose_nothing_while_the_server_is_killed_its_disk_is_full_and_no_mail_leaves() {
    let (visitors, seconds) = (setting("PALPEBRA_LOAD_VISITORS", 24), setting("PALPEBRA_LOAD_SECONDS", 16));
    let (source, service) = demo_folder().await;
    let folder = tempfile::tempdir().unwrap();
    let disk = SmallDisk::over(folder.path());
    let file = folder.path().join("palpebra.db");
    for name in ["palpebra.db", "palpebra.keys", "palpebra.master"] {
        std::fs::copy(source.path().join(name), folder.path().join(name)).unwrap();
    }
    long_diary(&file).await;
    // Nobody listens there: the port was free a moment ago.
    let dead = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let mail = ["--smtp", &format!("smtp://{dead}")];
    let mut program = Program::start_at(folder.path(), "127.0.0.1:0", &mail).await;
    let listen = program.url.trim_start_matches("http://").to_owned();

    let (tell, mut told) = mpsc::unbounded_channel();
    let url = program.url.clone();
    let (open, booked) = (AtomicBool::new(true), AtomicUsize::new(0));
    let house = Arc::new(House { url, service, open, booked, tell });
    let heard = tokio::spawn(async move {
        let (mut heard, mut unstated) = (BTreeMap::<u16, usize>::new(), 0);
        while let Some((status, headers)) = told.recv().await {
            *heard.entry(status).or_default() += 1;
            unstated += usize::from(status >= 500 && !(status == 503 && headers.contains_key("retry-after")));
        }
        (heard, unstated)
    });
    let all: Vec<_> = (0..visitors).map(|visitor| tokio::spawn(visit(house.clone(), visitor))).collect();
    let part = Duration::from_secs(u64::try_from(seconds).unwrap()) / 8;
    let answered = || house.booked.load(Ordering::Relaxed);

    // Killed twice, in the midst of it.
    for _ in 0..2 {
        tokio::time::sleep(part).await;
        program.kill().await;
        program = Program::start_at(folder.path(), &listen, &mail).await;
    }
    tokio::time::sleep(part).await;
    let stalled = if let Some(disk) = &disk {
        disk.fill();
        tokio::time::sleep(part).await;
        let before = answered();
        tokio::time::sleep(part / 2).await;
        let stalled = answered() - before;
        disk.make_room();
        Some(stalled)
    } else {
        None
    };
    let before = answered();
    // From here on nothing happens but visitors.
    let seen = watch(&program, Instant::now() + part * 3).await;
    house.open.store(false, Ordering::Relaxed);
    let mut acknowledged = Vec::new();
    for visitor in all {
        acknowledged.extend(visitor.await.unwrap());
    }
    let after = answered();
    drop(house);
    let (heard, unstated) = heard.await.unwrap();

    let peak = seen.iter().max().unwrap();
    let quarter = seen.len().div_ceil(4);
    let (early, late) = (middle(seen[..quarter].to_vec()), middle(seen[seen.len() - quarter..].to_vec()));
    let figures = format!(
        "{visitors} visitors, {seconds} s: {} booked, answers by status {heard:?}, booked on a full disk {stalled:?}, \
         memory {early} KiB early, {late} KiB late, {peak} KiB at most",
        acknowledged.len()
    );
    std::fs::write(concat!(env!("CARGO_TARGET_TMPDIR"), "/load.txt"), &figures).unwrap();
    assert_eq!(unstated, 0, "a 5xx that is no 503 with its word: {figures}");
    assert!(after > before, "it goes on when there is room again: {figures}");
    assert!(acknowledged.len() > visitors / 4, "{figures}");
    assert!(stalled.is_none() || heard.contains_key(&503), "a full disk is told of: {figures}");
    // Somewhat more than a fluctuation of the allocator: what leaks with each request shows in ten minutes.
    assert!(late * 10 < early * 11 + 80 * 1024 && *peak < 512 * 1024, "{figures}");
    program.kill().await;
    check(&file, &acknowledged).await;
    let db = Db::open(&file).await.unwrap();
    let mail = outbox::standing(&mut db.read().await.unwrap()).await.unwrap();
    assert!(
        mail.waiting + mail.given_up >= i64::try_from(acknowledged.len()).unwrap(),
        "every letter waits: {figures}"
    );
    db.close().await;
}
