//! The real program: started, killed, started again, and asked to stop.
#![expect(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "a test may fail where it stands")]

use std::path::Path;
use std::process::Stdio;

use palpebra::store::{Db, audit, clients, health, visits};
use tokio::io::{AsyncBufReadExt, BufReader};
use tokio::process::{Child, Command};
use tokio::sync::mpsc;

use crate::backups::command;
use crate::support::booking::{answer_all, first_slot};
use crate::support::{Html, Person, TestApp};

/// The program, serving a folder.
pub(crate) struct Program {
    child: Child,
    /// Where it listens.
    pub(crate) url: String,
}

impl Program {
    pub(crate) async fn start(folder: &Path) -> Self {
        Self::start_at(folder, "127.0.0.1:0", &[]).await
    }

    /// The same, listening here and told more.
    pub(crate) async fn start_at(folder: &Path, listen: &str, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_palpebra"))
            .args(["serve", "--demo", "--no-limits", "--listen", listen, "--now", "2026-03-02T08:00:00Z"])
            .args(more)
            .arg("--data")
            .arg(folder)
            .env("RUST_LOG", "error")
            .stdout(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        while let Some(line) = lines.next_line().await.unwrap() {
            if let Some(url) = line.strip_prefix("Listening on ") {
                return Self { url: url.to_owned(), child };
            }
        }
        panic!("it ended before it listened");
    }

    /// Ends it without a warning.
    pub(crate) async fn kill(mut self) {
        self.child.kill().await.unwrap();
    }

    /// How much memory it holds now, in KiB.
    pub(crate) fn memory(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id().unwrap())).unwrap();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        line.trim().trim_end_matches(" kB").parse().unwrap()
    }
}

/// A folder that holds a studio which calls itself a demo, so that limits may be off.
pub(crate) async fn demo_folder() -> (tempfile::TempDir, String) {
    let (app, studio) = TestApp::with_studio().await;
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("UPDATE studio SET demo = 1").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    app.copy_to(&folder.path().join("palpebra.db")).await;
    (folder, studio.lift.to_string())
}

/// Books visit after visit until the server is gone; tells each name whose booking was answered "booked".
async fn book_on(url: String, service: String, writer: usize, acknowledged: mpsc::UnboundedSender<String>) {
    for round in 0.. {
        let name = format!("Writer {writer} Round {round}");
        let pick = name.len() * 7;
        if book_once(&Person::new(&url), &service, &name, pick).await.is_none() {
            return;
        }
        acknowledged.send(name).unwrap();
    }
}

/// The page that an answer leads to.
async fn try_visit(person: &Person, answer: &Html) -> Option<Html> {
    let mut page = person.try_get(&answer.location()?).await?;
    while let Some(next) = page.location() {
        page = person.try_get(&next).await?;
    }
    (page.status == 200).then_some(page)
}

/// Books one of the times of the first page; nothing when the server is gone or answers with anything but the next step.
pub(crate) async fn book_once(person: &Person, service: &str, name: &str, pick: usize) -> Option<()> {
    let mail = format!("{}@clients.example.org", name.replace(' ', "."));
    let page = person.try_get(&format!("/services/{service}")).await?;
    let slot = page.attributes("button.slot", "value");
    let slot = slot.get(pick % slot.len().max(1))?;
    let held = person.try_submit(&page, "/services/", &[("time", slot)]).await?;
    if held.status == 409 {
        return Box::pin(book_once(person, service, name, pick + 1)).await;
    }
    let mut page = try_visit(person, &held).await?;
    let details = [
        ("name", name),
        ("mail", mail.as_str()),
        ("phone", "+49 30 5550 1277"),
        ("born_day", "3"),
        ("born_month", "7"),
        ("born_year", "1988"),
    ];
    let mut answer = person.try_submit(&page, "/book/", &details).await?;
    loop {
        page = try_visit(person, &answer).await?;
        let no = page.attributes("fieldset.answer input[value=no]", "name");
        if no.is_empty() {
            break;
        }
        let fields: Vec<(&str, &str)> = no.iter().map(|key| (key.as_str(), "no")).collect();
        answer = person.try_submit(&page, "/book/", &fields).await?;
    }
    let signed = [("treatment", "yes"), ("health_data", "yes"), ("typed_name", name)];
    let done = person.try_submit(&page, "/book/", &signed).await?;
    done.location()?.ends_with("/done").then_some(())
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_in_a_stream_of_bookings_it_keeps_every_one_that_it_answered_and_no_half_one() {
    let (mut folder, mut service) = demo_folder().await;
    let mut acknowledged = Vec::new();
    // More in CI and in the long form of the checks.
    let kills: usize = std::env::var("PALPEBRA_KILLS").map_or(4, |kills| kills.parse().unwrap());
    for round in 0..kills {
        if round > 0 && round.is_multiple_of(4) {
            // Another house, before this one's diary is full.
            (folder, service) = demo_folder().await;
            acknowledged.clear();
        }
        let mut program = Program::start(folder.path()).await;
        let (tell, mut told) = mpsc::unbounded_channel();
        let writers: Vec<_> = (0..6)
            .map(|writer| {
                tokio::spawn(book_on(program.url.clone(), service.clone(), round * 100 + writer, tell.clone()))
            })
            .collect();
        drop(tell);
        // Killed as soon as some bookings of this round are answered; the others are at any step just then.
        for _ in 0..3 + round % 4 {
            acknowledged.push(told.recv().await.unwrap());
        }
        program.child.kill().await.unwrap();
        for writer in writers {
            writer.await.unwrap();
        }
        while let Some(name) = told.recv().await {
            acknowledged.push(name);
        }
        check(&folder.path().join("palpebra.db"), &acknowledged).await;
    }
}

pub(crate) async fn check(file: &Path, acknowledged: &[String]) {
    let db = Db::open(file).await.unwrap();
    assert_eq!(db.check().await.unwrap(), Vec::<String>::new());
    let mut c = db.read().await.unwrap();
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    for name in acknowledged {
        assert_eq!(clients::search(&mut c, name, 9).await.unwrap().len(), 1, "{name} was told that she is booked");
    }
    for client in clients::search(&mut c, "Writer", 10_000).await.unwrap() {
        let booked = visits::of_client(&mut c, &client.id).await.unwrap();
        let (answers, consents) =
            (health::answers(&mut c, &client.id).await.unwrap(), health::consents(&mut c, &client.id).await.unwrap());
        assert_eq!((booked.len(), answers.len(), consents.len()), (1, 1, 1), "{} is whole", client.name.as_str());
        assert_eq!(booked[0].state.as_str(), "booked");
    }
    drop(c);
    db.close().await;
}

#[tokio::test]
async fn asked_to_stop_it_ends_well_and_folds_its_files_together() {
    let (folder, service) = demo_folder().await;
    let mut program = Program::start(folder.path()).await;
    let person = Person::new(&program.url);
    let page = person.get(&format!("/services/{service}")).await;
    let held = person.submit(&page, "/services/", &[("time", &first_slot(&page))]).await;
    answer_all(&person, person.follow(held).await, &[]).await;
    let pid = program.child.id().unwrap().to_string();
    assert!(Command::new("kill").args(["-TERM", &pid]).status().await.unwrap().success());
    let ended = program.child.wait().await.unwrap();
    assert!(ended.success(), "{ended}");
    assert!(!folder.path().join("palpebra.db-wal").exists(), "the write-ahead log is folded in");
}

async fn serve_once(folder: &Path) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_palpebra"))
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder)
        .env("RUST_LOG", "off")
        .output()
        .await
        .unwrap();
    (output.status.code(), String::from_utf8(output.stderr).unwrap())
}

#[tokio::test]
async fn a_file_that_can_t_be_served_is_refused_with_a_line_and_a_code() {
    let junk = tempfile::tempdir().unwrap();
    std::fs::write(junk.path().join("palpebra.db"), "this is no database, however long it may be".repeat(50)).unwrap();
    let (code, line) = serve_once(junk.path()).await;
    assert_eq!(code, Some(65), "{line}");
    assert!(line.contains("no database or is damaged") && line.lines().count() == 1, "{line}");

    let (newer, _) = demo_folder().await;
    let db = Db::open(&newer.path().join("palpebra.db")).await.unwrap();
    let mut tx = db.write().await.unwrap();
    let row = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) VALUES (9999, 'later', 1, x'00', 0)";
    sqlx::query(row).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    db.close().await;
    let (code, line) = serve_once(newer.path()).await;
    assert_eq!(code, Some(65), "{line}");
    assert!(line.contains("newer version"), "{line}");

    let (served, _) = demo_folder().await;
    let _program = Program::start(served.path()).await;
    let (code, line) = serve_once(served.path()).await;
    assert_eq!(code, Some(75), "{line}");
    assert!(line.contains("serves this folder already"), "{line}");
}

#[tokio::test]
async fn a_backup_taken_while_the_server_runs_comes_back_and_what_was_there_is_kept() {
    let (served, service) = demo_folder().await;
    let program = Program::start(served.path()).await;
    assert!(book_once(&Person::new(&program.url), &service, "Before Backup", 0).await.is_some());
    let backup = served.path().join("copy.db");
    let (code, text) = command(&["backup", "--out", backup.to_str().unwrap()], served.path()).await;
    assert_eq!(code, Some(0), "{text}");
    assert!(book_once(&Person::new(&program.url), &service, "After Backup", 0).await.is_some());
    let (code, text) = command(&["restore", "--from", backup.to_str().unwrap()], served.path()).await;
    assert_eq!(code, Some(75), "not while it is served: {text}");
    drop(program);

    let fresh = tempfile::tempdir().unwrap();
    for name in ["palpebra.db", "palpebra.keys", "palpebra.master"] {
        std::fs::copy(served.path().join(name), fresh.path().join(name)).unwrap();
    }
    let (code, text) = command(&["restore", "--from", backup.to_str().unwrap()], fresh.path()).await;
    assert_eq!(code, Some(0), "{text}");
    assert!(fresh.path().join("palpebra.db.before-1").exists(), "{text}");
    let db = Db::open(&fresh.path().join("palpebra.db")).await.unwrap();
    let mut c = db.read().await.unwrap();
    assert_eq!(clients::search(&mut c, "Before Backup", 9).await.unwrap().len(), 1);
    assert_eq!(clients::search(&mut c, "After Backup", 9).await.unwrap().len(), 0);
}
