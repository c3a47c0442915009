//! A package that is encrypted with a passphrase: made on the page and by the command, opened by others, kept nowhere.

use std::io::{Cursor, Write as _};
use std::path::Path;
use std::process::{Command, Output, Stdio};

use palpebra::documents::verify::verify;
use palpebra::store::exports;
use time::Duration;

use super::exports::{WHY, check, fetch, order, token, unpack};
use crate::support::app::OWNER;
use crate::support::{Html, Person, Studio, TestApp};

const WORDS: &str = "seven slow blue kettles";

async fn order_sealed(owner: &Person, studio: &Studio, passphrase: &str, again: &str) -> Html {
    let of = [("scope", "client"), ("client", studio.mia.as_str()), ("why", WHY)];
    order(owner, &[&of[..], &[("passphrase", passphrase), ("passphrase_again", again)]].concat()).await
}

/// What another program makes of it, that knows the format from its text alone.
fn opened_elsewhere(sealed: &[u8], passphrase: &str) -> Output {
    let python = std::env::var_os("PALPEBRA_PYTHON").unwrap();
    let mut child = Command::new(python)
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/age.py"))
        .env("AGE_PASSPHRASE", passphrase)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let (mut stdin, sealed) = (child.stdin.take().unwrap(), sealed.to_vec());
    let feeding = std::thread::spawn(move || drop(stdin.write_all(&sealed)));
    let out = child.wait_with_output().unwrap();
    feeding.join().unwrap();
    out
}

/// Every file below a folder that holds these bytes.
fn holding(folder: &Path, bytes: &[u8]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(holding(&path, bytes));
        } else if std::fs::read(&path).unwrap().windows(bytes.len()).any(|part| part == bytes) {
            found.push(path.display().to_string());
        }
    }
    found
}

#[tokio::test]
async fn a_package_with_a_passphrase_is_opened_by_any_program_that_knows_the_format() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let made = order_sealed(&owner, &studio, WORDS, WORDS).await;
    assert_eq!(made.location().as_deref(), Some("/owner/exports?said=made"), "{}", made.main());
    let sealed = fetch(&owner).await;
    let header = |name: &str| sealed.headers[name].to_str().unwrap().to_owned();
    assert_eq!(header("content-type"), "application/octet-stream");
    assert!(header("content-disposition").ends_with(".zip.age\""), "{}", header("content-disposition"));
    assert!(owner.get("/owner/exports").await.main().contains("Fetch it, encrypted, "));

    assert!(sealed.bytes.starts_with(b"age-encryption.org/v1\n-> scrypt "));
    let out = opened_elsewhere(&sealed.bytes, WORDS);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let verified = verify(Cursor::new(&out.stdout)).map_err(|faults| format!("{faults:?}")).unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let logged = exports::list(&mut c, 1).await.unwrap().remove(0);
    assert!(logged.encrypted && logged.manifest_sha256 == verified.manifest_sha256);
    assert_eq!(logged.bytes, u64::try_from(sealed.bytes.len()).unwrap());
    let record = &unpack(&out.stdout)[&format!("data/clients/{}/record.json", studio.mia)];
    assert!(String::from_utf8_lossy(record).contains("Mia Sandgren"));
    assert!(!opened_elsewhere(&sealed.bytes, "seven slow blue kettle").status.success());

    // It is a package of ours, and nothing can be said of it before it is opened.
    let said = check(&owner, &token(&owner).await, sealed.bytes).await.main();
    assert!(said.contains("It is encrypted: open it first.") && !said.contains("not as it was made"), "{said}");
    assert_eq!(holding(app.folder(), WORDS.as_bytes()), Vec::<String>::new(), "it is written nowhere");
    assert!(!holding(app.folder(), WHY.as_bytes()).is_empty(), "what is written is found so");
}

#[tokio::test]
async fn a_weak_or_mistyped_passphrase_is_refused_and_never_shown() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    for (passphrase, again, field) in [
        ("fourteen chars", "fourteen chars", "#passphrase"),
        ("aaaaaaaaaaaaaaaaaaaa", "aaaaaaaaaaaaaaaaaaaa", "#passphrase"),
        (WORDS, "seven slow blue kettle", "#passphrase_again"),
        (WORDS, "", "#passphrase_again"),
        ("", WORDS, "#passphrase"),
    ] {
        let refused = order_sealed(&owner, &studio, passphrase, again).await;
        assert_eq!((refused.status, refused.attributes(".summary a", "href")), (422, vec![field.to_owned()]));
        assert!(passphrase.is_empty() || !refused.source().contains(passphrase), "{passphrase}");
        assert!(again.is_empty() || !refused.source().contains(again), "{again}");
        assert_eq!(refused.attributes("#client option[selected]", "value"), [studio.mia.as_str()], "the rest is kept");
    }
    assert!(exports::list(&mut app.app.db.read().await.unwrap(), 10).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_passphrase_that_a_proof_came_between_is_asked_for_again_and_no_open_package_is_made() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    app.app.clock.advance(Duration::minutes(11));
    let asked = order_sealed(&owner, &studio, WORDS, WORDS).await;
    assert_eq!(asked.all("h1"), ["Is it still you?"]);
    assert!(!asked.source().contains(WORDS));
    let wrong = owner.submit(&asked, "/owner/exports", &[("proof", "not the right one")]).await;
    let back = owner.submit(&wrong, "/owner/exports", &[("proof", OWNER.1)]).await;
    assert_eq!((back.status, back.attributes(".summary a", "href")), (422, vec!["#passphrase".to_owned()]));
    assert!(exports::list(&mut app.app.db.read().await.unwrap(), 10).await.unwrap().is_empty());
    let typed = [("passphrase", WORDS), ("passphrase_again", WORDS)];
    assert_eq!(owner.submit(&back, "/owner/exports", &typed).await.status, 303);
    assert!(exports::list(&mut app.app.db.read().await.unwrap(), 10).await.unwrap()[0].encrypted);
}

fn palpebra(arguments: &[&str], passphrase: Option<&str>) -> (Option<i32>, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_palpebra"));
    command.args(arguments).stdin(Stdio::null());
    if let Some(passphrase) = passphrase {
        command.env("PALPEBRA_PASSPHRASE", passphrase);
    }
    let out = command.output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (out.status.code(), text(out.stdout), text(out.stderr))
}

#[tokio::test]
async fn the_command_takes_the_passphrase_from_file_or_environment_and_looks_into_what_it_made() {
    let (app, studio) = TestApp::with_studio().await;
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (out, words, short) = (path("records.zip.age"), path("words"), path("short"));
    std::fs::write(&words, format!("{WORDS}\nnot this line\n")).unwrap();
    std::fs::write(&short, "too short\n").unwrap();
    let data = app.folder().to_str().unwrap().to_owned();
    let to = |out: &str, rest: &[&str], passphrase: Option<&str>| {
        let first = ["export", "--data", &data, "--why", WHY, "--client", studio.mia.as_str(), "--out", out];
        palpebra(&[&first[..], rest].concat(), passphrase)
    };
    for (rest, passphrase, why) in [
        (&["--encrypt"][..], None, "nobody to ask"),
        (&[], Some(WORDS), "--encrypt is missing"),
        (&["--encrypt"], Some("too short"), "at least 15"),
        (&["--encrypt", "--passphrase-file", &short], Some(WORDS), "at least 15"),
        (&["--passphrase-file", &words], None, "--encrypt"),
        (&["--encrypt", "--passphrase", WORDS], None, "--passphrase"),
    ] {
        let (code, _, error) = to(&out, rest, passphrase);
        assert!(code == Some(2) && error.contains(why), "{rest:?}: {code:?} {error}");
        assert!(!error.contains(WORDS) || rest.contains(&WORDS), "{error}");
        assert!(!Path::new(&out).exists());
    }
    let (code, said, error) = to(&out, &["--encrypt", "--passphrase-file", &words], None);
    assert!(code == Some(0) && said.contains("1 client, ") && said.contains(" bytes, encrypted"), "{said}{error}");

    let (code, _, error) = palpebra(&["verify", &out], None);
    assert!(code == Some(66) && error.contains("encrypted: open it first"), "{code:?} {error}");
    let (code, _, error) = palpebra(&["verify", &out], Some("seven slow blue kettle"));
    assert!(code == Some(66) && error.contains("the passphrase does not open it"), "{code:?} {error}");
    for intact in
        [palpebra(&["verify", &out], Some(WORDS)), palpebra(&["verify", &out, "--passphrase-file", &words], None)]
    {
        let (code, said, error) = intact;
        assert!(code == Some(0) && said.contains("\nintact: "), "{code:?} {said}{error}");
    }
    let whole = std::fs::read(&out).unwrap();
    let mut flipped = whole.clone();
    let middle = whole.len() / 2;
    flipped[middle] ^= 1;
    for (bytes, what) in [(&flipped[..], "flipped"), (&whole[..whole.len() - 20], "cut"), (&whole[..middle], "half")] {
        let changed = path(what);
        std::fs::write(&changed, bytes).unwrap();
        let (code, said, error) = palpebra(&["verify", &changed], Some(WORDS));
        assert!(code == Some(1) && error.contains("cut off or changed"), "{what}: {code:?} {said}{error}");
    }
    let opened = opened_elsewhere(&whole, WORDS);
    assert!(opened.status.success() && String::from_utf8_lossy(&opened.stderr).contains("scrypt 17"));
    let open = path("open.zip");
    let (code, ..) = to(&open, &[], None);
    assert_eq!(code, Some(0));
    assert_eq!(palpebra(&["verify", &open], None).0, Some(0), "one in the open asks for nothing");
}
