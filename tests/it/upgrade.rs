//! Files of every version so far, as SQL in `tests/fixtures/`, brought up to date: nothing is lost, a copy is kept, and
//! where it can't be done nothing is touched.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Stdio;

use palpebra::domain::ids::{ClientId, DraftId};
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::skin_test::TestResult;
use palpebra::store::keyring::KeyPlace;
use palpebra::store::treatments::Outcome;
use palpebra::store::{Db, StoreError, Trouble, audit, drafts, health};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, SqliteConnection};
use time::Duration;
use tokio::io::{AsyncBufReadExt, BufReader};
use tokio::process::Command;

use crate::support::app::{NOW, OWNER};
use crate::support::booking::{DETAILS, SIGNED, fill, take_first};
use crate::support::studio::MIA;
use crate::support::{Person, TestApp};

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/fixtures");

/// Tables whose old columns a later version says otherwise, with the reason why none of it is lost.
const SAID_OTHERWISE: [(&str, &str); 0] = [];

/// Columns that are sealed since, and are looked at opened.
const SEALED: [(&str, &[&str]); 12] = [
    ("answers", &["body", "sha256"]),
    ("file", &["body", "thumbnail"]),
    ("draft", &["answers", "consent"]),
    ("visit_verdict", &["booked", "latest"]),
    ("visit_start", &["verdict", "readiness", "reason"]),
    ("visit_check", &["on_the_day", "traits"]),
    ("treatment_version", &["notes", "reason"]),
    ("skin_test", &["site", "voided"]),
    ("consent", &["body"]),
    ("letter", &["body", "set_aside_why"]),
    ("skin_test_reading", &["note"]),
    ("reaction_entry", &["body"]),
];

/// The fixtures: the version's name and its SQL.
pub(crate) fn fixtures() -> Vec<(String, String)> {
    let mut all: Vec<_> = std::fs::read_dir(FIXTURES)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| (path.file_stem().unwrap().to_str().unwrap().to_owned(), std::fs::read_to_string(path).unwrap()))
        .collect();
    all.sort();
    all
}

async fn connect(file: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(file).create_if_missing(true).foreign_keys(false).connect().await.unwrap()
}

/// The file that a version left, and the folder that it lies in.
pub(crate) async fn left_by(sql: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("palpebra.db");
    let mut c = connect(&file).await;
    sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(&mut c).await.unwrap();
    sqlx::Connection::close(c).await.unwrap();
    (folder, file)
}

async fn strings(c: &mut SqliteConnection, sql: String) -> Vec<String> {
    sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(c).await.unwrap()
}

async fn tables(c: &mut SqliteConnection) -> Vec<String> {
    let sql = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY rowid";
    strings(c, sql.to_owned()).await
}

async fn columns(c: &mut SqliteConnection, table: &str) -> Vec<String> {
    strings(c, format!("SELECT name FROM pragma_table_info('{table}') ORDER BY cid")).await
}

/// The rows of a table as SQL literals, in an order that the rows alone decide.
async fn rows(c: &mut SqliteConnection, table: &str, columns: &[String]) -> Vec<String> {
    let quoted: Vec<String> = columns.iter().map(|name| format!("quote(\"{name}\")")).collect();
    strings(c, format!("SELECT {} AS row FROM \"{table}\" ORDER BY row", quoted.join(" || ', ' || "))).await
}

/// Every table's rows, told by the columns that are asked for, or by all.
async fn contents(file: &Path, asked: Option<&BTreeMap<String, Vec<String>>>) -> BTreeMap<String, Vec<String>> {
    let mut c = connect(file).await;
    let mut all = BTreeMap::new();
    for table in tables(&mut c).await {
        let columns = match asked {
            Some(asked) => asked.get(&table).cloned().unwrap_or_default(),
            None => columns(&mut c, &table).await,
        };
        if !columns.is_empty() {
            all.insert(table.clone(), rows(&mut c, &table, &columns).await);
        }
    }
    all
}

async fn shape(file: &Path) -> BTreeMap<String, Vec<String>> {
    let mut c = connect(file).await;
    let mut all = BTreeMap::new();
    for table in tables(&mut c).await.into_iter().filter(|table| table != "_sqlx_migrations") {
        let names = columns(&mut c, &table).await;
        all.insert(table, names);
    }
    all
}

/// Answers of records and drafts before they were sealed: whose, which, what.
async fn plain(file: &Path) -> Vec<(String, String, String)> {
    let all = "SELECT client_id, id, body FROM answers UNION ALL SELECT '', id, answers FROM draft ORDER BY id";
    sqlx::query_as(all).fetch_all(&mut connect(file).await).await.unwrap()
}

/// The same, opened.
async fn opened(db: &Db, plain: &[(String, String, String)]) -> Vec<(String, String, String)> {
    let (mut c, mut all) = (db.read().await.unwrap(), Vec::new());
    for (client, id, _) in plain {
        let text = if client.is_empty() {
            let id = DraftId::parse(id).unwrap();
            drafts::get(&mut c, &id, drafts::By::Link).await.unwrap().unwrap().answers
        } else {
            let given = health::answers(&mut c, &ClientId::parse(client).unwrap()).await.unwrap();
            let one = given.into_iter().find(|one| one.id.as_str() == id).unwrap();
            serde_json::to_string(&one.set.answers).unwrap()
        };
        all.push((client.clone(), id.clone(), text));
    }
    all
}

#[tokio::test]
async fn the_file_of_every_version_so_far_is_brought_up_to_date_and_every_old_cell_is_still_there() {
    let fixtures = fixtures();
    assert!(fixtures.iter().any(|(version, _)| version == "0.1.0"));
    for (version, sql) in fixtures {
        let (_folder, file) = left_by(&sql).await;
        let mut asked = shape(&file).await;
        asked.retain(|table, _| !SAID_OTHERWISE.iter().any(|(name, _)| name == table));
        for (table, columns) in SEALED {
            asked.get_mut(table).unwrap().retain(|name| !columns.contains(&name.as_str()));
        }
        let plain = plain(&file).await;
        let before = contents(&file, Some(&asked)).await;
        assert!(before.values().filter(|rows| !rows.is_empty()).count() > 25, "{version} has rows in many tables");
        let db = Db::upgrade(&file).await.unwrap();
        assert_eq!(db.check().await.unwrap(), Vec::<String>::new(), "{version}");
        assert!(audit::verify(&mut db.read().await.unwrap()).await.unwrap().is_ok(), "{version}");
        assert!(plain.iter().filter(|(_, _, text)| text != "{}").count() > 2, "{version} has answers");
        assert_eq!(opened(&db, &plain).await, plain, "{version}");
        db.close().await;
        let after = contents(&file, Some(&asked)).await;
        for (table, rows) in &before {
            assert_eq!(after.get(table), Some(rows), "{version}: {table}");
        }
        let other = tempfile::tempdir().unwrap();
        let new = other.path().join("new.db");
        Db::open(&new).await.unwrap().close().await;
        assert_eq!(shape(&file).await, shape(&new).await, "{version}: as a file that was made today");
    }
}

/// A file that lacks migration 53, and with `blocked` 70 too, whose tables are there all the same: it can't be applied.
async fn older(blocked: bool) -> (tempfile::TempDir, PathBuf) {
    let (folder, file) = left_by(&fixtures().pop().unwrap().1).await;
    Db::upgrade(&file).await.unwrap().close().await;
    let mut c = connect(&file).await;
    for table in ["outside_busy", "outside_calendar", "feed"] {
        sqlx::query(AssertSqlSafe(format!("DROP TABLE {table}"))).execute(&mut c).await.unwrap();
    }
    let missing = if blocked { "53, 70" } else { "53" };
    let forget = format!("DELETE FROM _sqlx_migrations WHERE version IN ({missing})");
    sqlx::query(AssertSqlSafe(forget)).execute(&mut c).await.unwrap();
    sqlx::Connection::close(c).await.unwrap();
    (folder, file)
}

/// Starts the server and gives what it said until it listened or ended, its code if it ended, and what it complained of.
async fn serve(folder: &Path, then: impl AsyncFnOnce(&str)) -> (Vec<String>, Option<i32>, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_palpebra"))
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder)
        .env("RUST_LOG", "off")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .kill_on_drop(true)
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut said = Vec::new();
    while let Some(line) = lines.next_line().await.unwrap() {
        if let Some(url) = line.strip_prefix("Listening on ") {
            then(url).await;
            child.kill().await.unwrap();
            return (said, None, String::new());
        }
        said.push(line);
    }
    let output = child.wait_with_output().await.unwrap();
    (said, output.status.code(), String::from_utf8(output.stderr).unwrap())
}

fn copies(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("before-upgrade"))
        .collect();
    names.sort();
    names
}

#[tokio::test]
async fn serving_an_older_file_keeps_a_copy_says_where_and_goes_on_with_what_was_there() {
    let (folder, file) = older(false).await;
    let before = contents(&file, None).await;
    assert!(matches!(Db::open(&file).await, Err(StoreError::Older)), "nothing else upgrades it");
    let (said, ..) = serve(folder.path(), async |url| {
        let owner = Person::new(url);
        let page = owner.get("/team/sign-in").await;
        let home = owner.submit(&page, "/team/sign-in", &[("mail", OWNER.0), ("password", OWNER.1)]).await;
        assert_eq!(home.status, 303, "{}", home.text());
        for path in ["/owner", "/owner/audit", "/owner/practitioners", "/owner/retouch", "/"] {
            assert_eq!(owner.visit(path).await.status, 200, "{path}");
        }
    })
    .await;
    let kept = folder.path().join("palpebra.db.before-upgrade-1");
    assert!(said.iter().any(|line| line.contains("upgraded") && line.ends_with(kept.to_str().unwrap())), "{said:?}");
    assert_eq!(contents(&kept, None).await, before, "the copy is the file as it was");
    assert_eq!(std::fs::metadata(&kept).unwrap().permissions().mode() & 0o077, 0, "and nobody else's");
    let (said, ..) = serve(folder.path(), async |_| {}).await;
    assert!(!said.iter().any(|line| line.contains("upgraded")), "once: {said:?}");
    assert_eq!(copies(folder.path()), ["palpebra.db.before-upgrade-1"]);
}

#[tokio::test]
async fn an_upgrade_that_fails_half_way_changes_nothing_says_so_and_fills_no_disk() {
    let (folder, file) = older(true).await;
    let before = contents(&file, None).await;
    for _ in 0..3 {
        let (said, code, line) = serve(folder.path(), async |_| {}).await;
        assert_eq!((said.len(), code), (0, Some(70)), "{line}");
        assert!(line.contains("is as it was") && line.contains("palpebra.db.before-upgrade-1"), "{line}");
        assert_eq!(line.lines().count(), 1, "{line}");
        assert_eq!(contents(&file, None).await, before, "53 went through before 70 failed, and is gone again");
        assert_eq!(copies(folder.path()), ["palpebra.db.before-upgrade-1"], "one copy for all the tries");
    }
    // What the version before wrote since then is in the next copy.
    let mut c = connect(&file).await;
    sqlx::query("UPDATE client SET name = 'Mia Sandgren Two' WHERE mail = ?").bind(MIA).execute(&mut c).await.unwrap();
    serve(folder.path(), async |_| {}).await;
    assert_eq!(copies(folder.path()), ["palpebra.db.before-upgrade-1", "palpebra.db.before-upgrade-2"]);
}

#[tokio::test]
async fn an_upgrade_whose_keys_can_t_be_made_changes_nothing() {
    let (folder, file) = older(false).await;
    let before = contents(&file, None).await;
    let place = KeyPlace { master: folder.path().join("not-there/palpebra.master"), ..KeyPlace::beside(&file) };
    Db::brought_up(&file, &place).await.map(|_| ()).expect_err("there is nowhere for the master key");
    assert_eq!(contents(&file, None).await, before);
    Db::upgrade(&file).await.unwrap().close().await;
}

#[tokio::test]
async fn an_upgrade_that_leaves_rows_without_what_they_refer_to_is_refused() {
    let (_folder, file) = older(false).await;
    let mut c = connect(&file).await;
    let orphan = "INSERT INTO known_browser (account_id, token_hash, seen_at) VALUES ('nobody', 'x', 0)";
    sqlx::query(orphan).execute(&mut c).await.unwrap();
    let before = contents(&file, None).await;
    let refused = Db::upgrade(&file).await.map(|_| ()).expect_err("a row refers to nobody");
    assert_eq!(refused.trouble(), Trouble::Damaged, "{refused}");
    assert_eq!(contents(&file, None).await, before);
}

#[tokio::test]
async fn an_older_file_is_copied_and_restored_without_being_served_and_other_commands_leave_it_alone() {
    let (folder, file) = older(false).await;
    let before = contents(&file, None).await;
    let program = |args: Vec<String>, data: PathBuf| async move {
        let out = Command::new(env!("CARGO_BIN_EXE_palpebra")).args(args).arg("--data").arg(data).output().await;
        let out = out.unwrap();
        (out.status.code(), String::from_utf8_lossy(&[out.stdout, out.stderr].concat()).into_owned())
    };
    let (code, text) = program(vec!["doctor".to_owned()], folder.path().to_owned()).await;
    assert!(code == Some(65) && text.contains("older version"), "{code:?} {text}");
    let copy = folder.path().join("copy.db").to_str().unwrap().to_owned();
    let (code, text) = program(["backup", "--out", &copy].map(str::to_owned).to_vec(), folder.path().to_owned()).await;
    assert_eq!(code, Some(0), "{text}");
    assert_eq!(contents(Path::new(&copy), None).await, before, "as it is, not upgraded");
    assert_eq!(contents(&file, None).await, before);
    let other = tempfile::tempdir().unwrap();
    let [keys, master] = ["palpebra.keys", "palpebra.master"].map(|name| folder.path().join(name));
    let (keys, master) = (keys.to_str().unwrap(), master.to_str().unwrap());
    let restore = ["restore", "--from", &copy, "--keys", keys, "--master", master].map(str::to_owned).to_vec();
    let (code, text) = program(restore, other.path().to_owned()).await;
    assert_eq!(code, Some(0), "{text}");
    let restored = Db::open(&other.path().join("palpebra.db")).await.unwrap();
    assert!(restored.check().await.unwrap().is_empty(), "restored, it is up to date");
    assert_eq!(contents(Path::new(&copy), None).await, before, "the backup itself stays as it is");
}

#[tokio::test]
async fn a_file_of_another_program_is_not_written_in() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("palpebra.db");
    let mut c = connect(&file).await;
    sqlx::query("CREATE TABLE recipe (name TEXT)").execute(&mut c).await.unwrap();
    for refused in [Db::open(&file).await, Db::upgrade(&file).await] {
        assert_eq!(refused.map(|_| ()).expect_err("not ours").trouble(), Trouble::Damaged);
    }
    assert_eq!(tables(&mut c).await, ["recipe"]);
}

/// Writes the fixture of this version. To be run once for each release, and never again for that version:
/// `cargo test --test it -- --ignored writes_the_fixture`.
#[tokio::test]
#[ignore = "writes a file into the sources"]
async fn writes_the_fixture_of_this_version() {
    let out = format!("{FIXTURES}/{}.sql", env!("CARGO_PKG_VERSION"));
    assert!(!Path::new(&out).exists(), "a released version's fixture stays as it is");
    let (app, studio) = TestApp::with_studio().await;
    let earlier = NOW - Duration::days(50);
    studio.answer(&studio.mia, &[("atopy", Answer::Yes), ("other_allergy", Answer::Yes)]).await;
    let read = Some((TestResult::NoVisibleChange, earlier + Duration::hours(50)));
    studio.tested(&studio.mia, earlier, read).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    studio.wants_letters(&studio.mia).await;
    let at = earlier + Duration::days(3);
    studio.treated(&studio.mia, &studio.lift_and_tint, at, Outcome::AsWished, &[&studio.tint]).await;
    for unfinished in [false, true] {
        let person = app.visitor();
        let details = take_first(&person, studio.lift.as_str()).await;
        let sign = fill(&person, &details, &DETAILS, &[]).await;
        if !unfinished {
            person.submit(&sign, "/book/", &SIGNED).await;
        }
    }
    app.client(MIA).await;
    app.owner().await.get("/owner/audit").await;
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("UPDATE studio SET demo = 1").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    std::fs::write(out, as_sql(&app.folder().join("palpebra.db")).await).unwrap();
}

/// A database as SQL: tables, then rows, then what would act on rows.
async fn as_sql(file: &Path) -> String {
    let mut c = connect(file).await;
    let schema = async |c: &mut SqliteConnection, kinds: &str| {
        let sql = format!(
            "SELECT sql || ';' FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' AND type {kinds} ORDER BY rowid"
        );
        strings(c, sql).await.join("\n")
    };
    let stamp = "UPDATE _sqlx_migrations SET installed_on = '2026-03-02 08:00:00', execution_time = 0";
    sqlx::query(stamp).execute(&mut c).await.unwrap();
    let mut sql = schema(&mut c, "= 'table'").await + "\n";
    for table in tables(&mut c).await {
        let columns = columns(&mut c, &table).await;
        for row in rows(&mut c, &table, &columns).await {
            writeln!(sql, "INSERT INTO \"{table}\" (\"{}\") VALUES ({row});", columns.join("\", \"")).unwrap();
        }
    }
    sql + &schema(&mut c, "IN ('index', 'trigger', 'view')").await + "\n"
}
