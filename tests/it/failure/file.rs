//! The file: cut off in the middle, turned read-only, damaged.

use std::path::Path;

use palpebra::domain::ids::RoomId;
use palpebra::domain::role::Actor;
use palpebra::store::practitioners::{Room, rooms, save_room};
use palpebra::store::{Db, Stored, audit};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use sqlx::{ConnectOptions, Connection};
use time::OffsetDateTime;

use crate::support::TestApp;
use crate::support::booking::{DETAILS, SIGNED, fill, take_first};

/// A change as the program makes it: two rows that belong together, in one transaction.
async fn change(db: &Db, number: u8) {
    let mut tx = db.write().await.unwrap();
    let room = Room { id: RoomId::from_random([number; 16]), name: format!("Room {number}"), active: true };
    save_room(&mut tx, &room).await.unwrap();
    let name = room.name.as_str();
    let event =
        audit::Event { action: "room.added", object: room.id.as_str(), detail: name, ..audit::Event::default() };
    audit::append(&mut tx, &Actor::Program, event, OffsetDateTime::UNIX_EPOCH).await.unwrap();
    tx.commit().await.unwrap();
}

/// How many changes a file holds; each must be whole, and they must be the first ones.
async fn changes(file: &Path) -> usize {
    let db = Db::open(file).await.unwrap();
    assert_eq!(db.check().await.unwrap(), Vec::<String>::new());
    let mut c = db.read().await.unwrap();
    let mut names: Vec<String> = rooms(&mut c).await.unwrap().into_iter().map(|room| room.name).collect();
    let rows = audit::verify(&mut c).await.unwrap().expect("the chain holds");
    drop(c);
    db.close().await;
    names.sort_by_key(|name| name.trim_start_matches("Room ").parse::<usize>().unwrap());
    let first: Vec<String> = (0..names.len()).map(|number| format!("Room {number}")).collect();
    assert_eq!(names, first, "a part of the past is missing");
    assert_eq!(usize::try_from(rows).unwrap(), names.len(), "half a change");
    names.len()
}

/// The power goes while the write-ahead log is being written: of what was not yet answered any part may be on the disk.
/// SQLite syncs the log before a commit is answered (`synchronous = FULL`), so a log that ends early stands for a power
/// cut before that answer; what this can't show is a disk that says "written" and isn't.
#[tokio::test]
async fn whatever_part_of_the_log_reached_the_disk_the_file_holds_the_first_changes_and_each_is_whole() {
    const CHANGES: u8 = 12;
    let folder = tempfile::tempdir().unwrap();
    let live = folder.path().join("live.db");
    let db = Db::open(&live).await.unwrap();
    db.close().await;
    let before = std::fs::read(&live).unwrap();
    let db = Db::open(&live).await.unwrap();
    let wal = folder.path().join("live.db-wal");
    // Where the log ended when each change was answered.
    let mut answered = Vec::new();
    for number in 0..CHANGES {
        change(&db, number).await;
        answered.push(usize::try_from(std::fs::metadata(&wal).unwrap().len()).unwrap());
    }
    let log = std::fs::read(&wal).unwrap();
    assert_eq!(std::fs::read(&live).unwrap(), before, "nothing went into the file itself yet");
    let (header, frame) = (32, 24 + 4096);
    assert_eq!((log.len() - header) % frame, 0, "SQLite file format, section 4: the log is a header and frames");
    let mut cuts: Vec<usize> = (0..=(log.len() - header) / frame).map(|n| header + n * frame).collect();
    let mut dice = StdRng::seed_from_u64(20);
    cuts.extend((0..40).map(|_| dice.random_range(0..log.len())));
    let mut seen = std::collections::BTreeSet::new();
    for cut in cuts {
        let copy = folder.path().join(format!("cut-{cut}.db"));
        std::fs::write(&copy, &before).unwrap();
        std::fs::write(folder.path().join(format!("cut-{cut}.db-wal")), &log[..cut]).unwrap();
        let found = changes(&copy).await;
        let owed = answered.iter().filter(|end| **end <= cut).count();
        assert_eq!(found, owed, "cut at {cut}");
        seen.insert(found);
    }
    assert_eq!(seen.len(), usize::from(CHANGES) + 1, "from none to all of them");
    // A page that was torn or went elsewhere: from there on the log counts for nothing.
    for _ in 0..40 {
        let (at, bit) = (dice.random_range(header..log.len()), dice.random_range(0..8));
        let mut torn = log.clone();
        torn[at] ^= 1 << bit;
        let copy = folder.path().join(format!("torn-{at}-{bit}.db"));
        std::fs::write(&copy, &before).unwrap();
        std::fs::write(folder.path().join(format!("torn-{at}-{bit}.db-wal")), &torn).unwrap();
        let found = changes(&copy).await;
        let whole = answered.iter().filter(|end| **end <= at).count();
        // The salt and the checksum of a frame's header count too; its page number alone may be read as another page's.
        assert!(found >= whole.saturating_sub(1) && found <= usize::from(CHANGES), "torn at {at}: {found}");
    }
}

#[tokio::test]
async fn a_file_turned_read_only_is_a_503_and_looking_goes_on() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("PRAGMA query_only = ON").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let before = app.dump().await;
    let refused = person.submit(&sign, "/book/", &SIGNED).await;
    assert_eq!(refused.status, 503, "{}", refused.text());
    assert!(refused.main().contains("Nothing was changed"), "{}", refused.main());
    assert_eq!(person.get("/").await.status, 200);
    assert_eq!(person.get("/healthz").await.status, 200);
    assert_eq!(app.dump().await, before, "nothing is half done");
}

/// How a damaged file ends.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
enum End {
    /// It isn't opened, or the look over it at the start finds it.
    RefusedAtStart,
    /// The full check of `doctor` finds it: references, the audit's chain, or a value that can't be.
    FoundByTheCheck,
    /// Nothing of what the program reads was touched.
    Whole,
}

async fn starts(file: &Path) -> Stored<Db> {
    let db = Db::open(file).await?;
    db.look_over().await?;
    Ok(db)
}

async fn end(file: &Path) -> End {
    let Ok(db) = starts(file).await else { return End::RefusedAtStart };
    let well = async {
        let faults = db.check().await?;
        let chain = audit::verify(&mut *db.read().await?).await?;
        Ok::<bool, palpebra::store::StoreError>(faults.is_empty() && chain.is_ok())
    };
    let well = well.await;
    db.close().await;
    if matches!(well, Ok(true)) { End::Whole } else { End::FoundByTheCheck }
}

/// Writes a file in the place of another and of its log.
fn put(file: &Path, bytes: &[u8]) {
    for tail in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{tail}", file.display()));
    }
    std::fs::write(file, bytes).unwrap();
}

#[tokio::test]
async fn a_damaged_file_is_refused_or_told_of_and_never_breaks_the_program() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    app.owner().await;
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.db");
    app.copy_to(&whole).await;
    let bytes = std::fs::read(&whole).unwrap();
    let mut dice = StdRng::seed_from_u64(26);
    let mut ends = std::collections::BTreeMap::new();
    let rounds = std::env::var("PALPEBRA_DAMAGES").map_or(60, |rounds| rounds.parse().unwrap());
    for round in 0..rounds {
        let mut damaged = bytes.clone();
        match round % 4 {
            0 => {
                for _ in 0..dice.random_range(1..=64) {
                    let at = dice.random_range(0..damaged.len());
                    damaged[at] ^= dice.random_range(1..=255_u8);
                }
            }
            1 => {
                let page = dice.random_range(0..damaged.len() / 4096) * 4096;
                damaged[page..page + 4096].fill(0);
            }
            2 => damaged.truncate(dice.random_range(1..damaged.len())),
            _ => {
                let pages = damaged.len() / 4096;
                let (one, other) = (dice.random_range(1..pages) * 4096, dice.random_range(1..pages) * 4096);
                let kept = damaged[one..one + 4096].to_vec();
                damaged.copy_within(other..other + 4096, one);
                damaged[other..other + 4096].copy_from_slice(&kept);
            }
        }
        let file = folder.path().join("damaged.db");
        put(&file, &damaged);
        *ends.entry(end(&file).await).or_insert(0) += 1;
    }
    let refused = ends.get(&End::RefusedAtStart).copied().unwrap_or(0);
    assert!(refused * 2 > rounds, "most of it is seen at the start: {ends:?}");
    assert_eq!(end(&whole).await, End::Whole, "the check itself says yes to a whole file");
}

/// All that the audit says, row by row.
async fn said(file: &Path) -> Vec<String> {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(file).read_only(true);
    let mut c = options.connect().await.unwrap();
    let rows = "SELECT concat_ws('|', seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash)
        FROM audit ORDER BY seq";
    let rows = sqlx::query_scalar(rows).fetch_all(&mut c).await.unwrap();
    c.close().await.unwrap();
    rows
}

/// Below SQLite, where no trigger watches: a byte in or beside a row of the audit.
#[tokio::test]
async fn a_byte_of_the_audit_that_is_changed_in_the_file_is_seen() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    app.owner().await;
    let folder = tempfile::tempdir().unwrap();
    let (whole, file) = (folder.path().join("whole.db"), folder.path().join("damaged.db"));
    app.copy_to(&whole).await;
    let (bytes, before) = (std::fs::read(&whole).unwrap(), said(&whole).await);
    let hashes = before.iter().filter_map(|row| row.rsplit('|').next());
    let found = |hash: &str| bytes.windows(hash.len()).position(|part| part == hash.as_bytes());
    let rows: Vec<usize> = hashes.filter_map(found).collect();
    assert_eq!(rows.len(), before.len(), "each row is found in the file");
    let mut dice = StdRng::seed_from_u64(14);
    let rounds = std::env::var("PALPEBRA_TAMPERINGS").map_or(60, |rounds| rounds.parse().unwrap());
    let mut seen = 0;
    for _ in 0..rounds {
        let mut damaged = bytes.clone();
        // A row ends with two hashes of 64 bytes, and has more than twenty before them.
        let at = rows[dice.random_range(0..rows.len())] + 64 - dice.random_range(1..=148);
        damaged[at] ^= 1 << dice.random_range(0..8);
        put(&file, &damaged);
        if end(&file).await == End::Whole {
            assert_eq!(said(&file).await, before, "byte {at} was changed unseen");
        } else {
            seen += 1;
        }
    }
    assert!(seen * 10 > rounds * 9, "{seen} of {rounds} touched what is read");
}

#[tokio::test]
async fn a_page_that_rots_while_the_server_runs_is_a_5xx_and_not_its_end() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(app.folder().join("palpebra.db"));
    let other = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let root = "SELECT rootpage FROM sqlite_schema WHERE name = 'room'";
    let root: i64 = sqlx::query_scalar(root).fetch_one(&other).await.unwrap();
    sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&other).await.unwrap();
    other.close().await;
    let file = app.folder().join("palpebra.db");
    let mut bytes = std::fs::read(&file).unwrap();
    let at = usize::try_from(root - 1).unwrap() * 4096;
    bytes[at..at + 4096].fill(0xA5);
    std::fs::write(&file, bytes).unwrap();
    let copy = app.folder().join("copy.db");
    std::fs::copy(&file, &copy).unwrap();
    assert!(starts(&copy).await.is_err(), "a start refuses it");
    let page = owner.get("/owner/rooms").await;
    assert!(page.status == 200 || page.status >= 500, "from memory, or not at all: {}", page.status);
    assert_eq!(owner.get("/healthz").await.status, 200, "the server goes on");
}

#[tokio::test(flavor = "multi_thread")]
async fn all_snapshots_see_the_same_while_somebody_writes() {
    let folder = tempfile::tempdir().unwrap();
    let db = Db::open(&folder.path().join("palpebra.db")).await.unwrap();
    let writer = {
        let db = db.clone();
        tokio::spawn(async move {
            for number in 0..u8::MAX {
                change(&db, number).await;
            }
        })
    };
    let mut seen = std::collections::BTreeSet::new();
    while !writer.is_finished() {
        let mut counts = Vec::new();
        for mut one in db.snapshots(5).await.unwrap() {
            counts.push(rooms(&mut one).await.unwrap().len());
        }
        assert!(counts.iter().all(|count| *count == counts[0]), "{counts:?}");
        seen.insert(counts[0]);
    }
    writer.await.unwrap();
    assert!(seen.len() > 3, "they were taken while it was written: {seen:?}");
    db.close().await;
}

async fn setting(db: &Db, sql: &'static str) -> i64 {
    let mut tx = db.write().await.unwrap();
    sqlx::query_scalar(sql).fetch_one(&mut *tx).await.unwrap()
}

#[tokio::test]
async fn the_file_is_written_anew_by_a_later_start_when_another_program_holds_it() {
    let folder = tempfile::tempdir().unwrap();
    let (file, owed) = (folder.path().join("palpebra.db"), folder.path().join("scrub.owed"));
    let db = Db::open(&file).await.unwrap();
    change(&db, 0).await;
    assert_eq!(setting(&db, "PRAGMA busy_timeout = 0").await, 0);
    let mut other = sqlx::sqlite::SqliteConnectOptions::new().filename(&file).connect().await.unwrap();
    sqlx::query("BEGIN IMMEDIATE").execute(&mut other).await.unwrap();
    db.owe_scrub();
    db.scrub_if_owed().await;
    assert!(owed.exists());
    other.close().await.unwrap();
    assert_eq!(setting(&db, "PRAGMA temp_store").await, 2, "temporary tables are in memory, not on the disk");
    db.close().await;

    let db = Db::open(&file).await.unwrap();
    assert!(owed.exists());
    db.scrub_if_owed().await;
    assert!(!owed.exists());
    assert_eq!(setting(&db, "PRAGMA temp_store").await, 2);
    db.close().await;
    assert_eq!(changes(&file).await, 1);
}
