//! Health records are sealed under each person's key: nothing of them is in the files' bytes, what was changed or moved is
//! refused and named, and whoever was erased is so in every copy.
#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a test may fail where it stands")]

mod before;
mod erased;
mod everywhere;
mod keys;
mod unread;

use std::path::Path;

use palpebra::app::App;
use palpebra::domain::file::{Kind, Purpose};
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::ids::{ClientId, FileId};
use palpebra::domain::questionnaire::Answer;
use palpebra::store::files::{self, StoredFile};
use palpebra::store::{StoreError, Trouble, health};

use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::booking::{DETAILS, SIGNED, fill, take_first};
use crate::support::studio::Studio;

/// Nobody writes this by chance.
const MARK: &str = "saffron umbrella on the tidal staircase";

/// She answers with the mark, and has a paper with it.
async fn marked(app: &App, studio: &Studio, client: &ClientId) -> FileId {
    studio.answer(client, &[("other_allergy", Answer::Yes), ("allergy_words", Answer::Text(MARK.to_owned()))]).await;
    let id = FileId::from_random(app.random.id());
    let body = format!("%PDF-1.7 {MARK}").into_bytes();
    let file = StoredFile {
        id: id.clone(),
        client: client.clone(),
        purpose: Purpose::Letter,
        about: "letter".to_owned(),
        kind: Kind::Pdf,
        sha256: Fingerprint::of(&body),
        added_by: "client".to_owned(),
        added_at: NOW,
    };
    let mut tx = app.db.write().await.unwrap();
    files::insert(&mut tx, &file, &body, None).await.unwrap();
    tx.commit().await.unwrap();
    id
}

/// The files below a folder in which the mark stands.
fn with_mark(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(with_mark(&path));
        } else if std::fs::read(&path).unwrap().windows(MARK.len()).any(|bytes| bytes == MARK.as_bytes()) {
            found.push(path.display().to_string());
        }
    }
    found
}

/// Whether her answers and her paper say what she said.
async fn says_the_mark(app: &App, client: &ClientId, paper: &FileId) -> bool {
    let mut c = app.db.read().await.unwrap();
    let answers = health::answers(&mut c, client).await.unwrap();
    let said = Answer::Text(MARK.to_owned());
    answers.iter().any(|given| given.set.answers.get("allergy_words") == Some(&said))
        && files::body(&mut c, paper).await.unwrap().ends_with(MARK.as_bytes())
}

#[tokio::test]
async fn nothing_of_an_answer_or_a_paper_is_in_the_bytes_of_any_file() {
    let (app, studio) = TestApp::with_studio().await;
    std::fs::write(app.folder().join("seen"), MARK).unwrap();
    assert_eq!(with_mark(app.folder()).len(), 1, "the search finds what is there");
    std::fs::remove_file(app.folder().join("seen")).unwrap();
    let paper = marked(&app.app, &studio, &studio.mia).await;
    assert!(says_the_mark(&app.app, &studio.mia, &paper).await);
    // Somebody is at the last page of her booking, and somebody else has sent it off.
    for sends in [false, true] {
        let person = app.visitor();
        let details = take_first(&person, studio.lift.as_str()).await;
        let sign = fill(&person, &details, &DETAILS, &[]).await;
        let mut signed =
            SIGNED.map(|(field, value)| (field, if field == "typed_name" && !sends { MARK } else { value })).to_vec();
        signed.retain(|(field, _)| sends || *field != "treatment");
        let sent = person.submit(&sign, "/book/", &signed).await;
        assert_eq!(sent.status, if sends { 303 } else { 422 }, "{}", sent.text());
    }
    let made = palpebra::actions::backup::make(&app.app, &palpebra::domain::role::Actor::Program).await.unwrap();
    assert_eq!(made.trouble, "");
    assert!(app.folder().join("palpebra.db-wal").metadata().unwrap().len() > 0, "the log is looked at too");
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    app.app.db.fold().await.unwrap();
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    let drafts = "SELECT count(*) FROM draft WHERE key_day = '2026-03-02' AND answers LIKE '\"sealed:%'";
    let drafts: i64 = sqlx::query_scalar(drafts).fetch_one(&mut *app.app.db.read().await.unwrap()).await.unwrap();
    assert_eq!(drafts, 1, "the one that was sent off is empty");
}

async fn run(app: &TestApp, sql: &str) {
    // Past the triggers, as somebody with the file in her hands.
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(app.folder().join("palpebra.db"));
    let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
    for trigger in ["answers_stay", "answers_stay_sealed", "file_stays", "file_stays_sealed"] {
        let drop = format!("DROP TRIGGER IF EXISTS {trigger}");
        sqlx::query(sqlx::AssertSqlSafe(drop)).execute(&pool).await.unwrap();
    }
    assert_eq!(sqlx::query(sqlx::AssertSqlSafe(sql.to_owned())).execute(&pool).await.unwrap().rows_affected(), 1);
    pool.close().await;
}

fn refused<T>(result: Result<T, StoreError>, words: &str) {
    let error = result.err().expect("it is refused");
    assert!(error.to_string().contains(words), "{error}");
    assert_eq!(error.trouble(), Trouble::Unreadable);
}

#[tokio::test]
async fn a_flipped_bit_and_a_moved_row_are_refused_and_named() {
    let (app, studio) = TestApp::with_studio().await;
    let paper = marked(&app.app, &studio, &studio.mia).await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", time::macros::date!(1988 - 02 - 03)).await;
    let (second, third) = (studio.answer(&studio.mia, &[]).await, studio.answer(&studio.mia, &[]).await);
    for (sql, id) in [
        (
            format!("UPDATE answers SET body = (SELECT body FROM answers WHERE id = '{third}') WHERE id = '{second}'"),
            second.as_str(),
        ),
        (format!("UPDATE answers SET body = '{{}}' WHERE id = '{second}'"), second.as_str()),
    ] {
        run(&app, &sql).await;
        let mut c = app.app.db.read().await.unwrap();
        refused(health::answers(&mut c, &studio.mia).await, &format!("answers.body of {id}"));
        assert_eq!(health::answers(&mut c, &zoe).await.unwrap().len(), 1, "nobody else is in trouble");
    }
    let foreign =
        format!("UPDATE answers SET body = (SELECT body FROM answers WHERE client_id = '{zoe}') WHERE id = '{second}'");
    run(&app, &foreign).await;
    let mut c = app.app.db.read().await.unwrap();
    refused(health::answers(&mut c, &studio.mia).await, "changed, moved to another row, or sealed with another key");
    let bytes: Vec<u8> =
        sqlx::query_scalar("SELECT body FROM file WHERE id = ?").bind(paper.as_str()).fetch_one(&mut *c).await.unwrap();
    drop(c);
    let mut flipped = bytes;
    *flipped.last_mut().unwrap() ^= 1;
    let hex = data_encoding::HEXLOWER.encode(&flipped);
    run(&app, &format!("UPDATE file SET body = x'{hex}' WHERE id = '{paper}'")).await;
    let mut c = app.app.db.read().await.unwrap();
    refused(files::body(&mut c, &paper).await, &format!("file.body of {paper}"));
}

#[tokio::test]
async fn the_key_of_a_day_s_drafts_goes_once_none_needs_it() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    fill(&person, &details, &DETAILS, &[]).await;
    let keys = async || {
        let options = sqlx::sqlite::SqliteConnectOptions::new().filename(app.folder().join("palpebra.keys"));
        let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
        let all = "SELECT who FROM person_key WHERE who LIKE 'drafts %'";
        let all: Vec<String> = sqlx::query_scalar(all).fetch_all(&pool).await.unwrap();
        pool.close().await;
        all
    };
    assert_eq!(keys().await, ["drafts 2026-03-02"]);
    let sweep = palpebra::jobs::housekeeping::sweep;
    app.app.clock.advance(time::Duration::hours(47));
    sweep(&app.app).await.unwrap();
    assert_eq!(keys().await, ["drafts 2026-03-02"], "she may go on with it");
    app.app.clock.advance(time::Duration::hours(26));
    sweep(&app.app).await.unwrap();
    assert_eq!(keys().await, Vec::<String>::new());
}
