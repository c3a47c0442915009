//! The owner sees when the client may return, and hands her records to the insurer.

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use zip::ZipArchive;

use super::practitioner::{ASKED, BATCHES, CORRECTED, SHIELD, SITE, WHY_CORRECTED};
use super::{MAIL, NAME, SERVICE, Story};
use crate::support::{Browser, Server};

const WHY: &str = "The insurer asked for her records after a call, letter of 12 March.";

pub(super) async fn hands_out(server: &Server, story: &Story) {
    let owner = Browser::new().await;
    let sign_in = server.sign_in("owner");
    owner.open(&server.url("/team/sign-in")).await;
    owner.fill("Mail", &sign_in.mail).await;
    owner.fill("Password", &sign_in.password).await;
    owner.press("Sign in").await;
    retouch(&owner).await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("records.zip");
    fs::write(&file, export(server, &owner).await).unwrap();
    audit(server, &owner).await;
    owner.close().await;
    verifies(&file);
    in_record(&file, story);
    in_tables(&file, story);
}

async fn retouch(owner: &Browser) {
    owner.follow("Retouch").await;
    owner.fill("Name", NAME).await;
    owner.press("Show").await;
    owner.assert_shows("One line").await;
    let row = owner.first("tbody tr", "").await.unwrap().text().await.unwrap();
    for words in [NAME, SERVICE, "Opens on ", "Thu 12 March 2026", "the lashes would carry"] {
        assert!(row.contains(words), "{words:?} is missing from {row:?}");
    }
}

/// Makes the package and fetches it.
async fn export(server: &Server, owner: &Browser) -> Vec<u8> {
    owner.follow("Records").await;
    owner.fill("Find a client by name or mail (optional)", NAME).await;
    owner.press("Find").await;
    owner.choose("Whose records?", "One client").await;
    owner.press("Make the package").await;
    owner.assert_shows("Write down why").await;
    owner.fill("Why", WHY).await;
    owner.press("Make the package").await;
    owner.assert_shows("The package is made").await;
    owner.assert_shows(WHY).await;
    let link = owner.first("a[href]", "Fetch it").await.unwrap().attr("href").await.unwrap().unwrap();
    owner.fetch(&server.url(&link)).await.bytes().await.unwrap().to_vec()
}

/// The log tells that the package was made, by whom and which, and that it was fetched; why stands in the list of packages.
async fn audit(server: &Server, owner: &Browser) {
    owner.open(&server.url("/owner/audit")).await;
    let mut rows = owner.text().await;
    for words in ["Export made", "Export fetched", "Record exported", "Sorcha Valdrin", "; manifest "] {
        assert!(rows.contains(words), "{words:?} is missing from {rows}");
    }
    assert!(!rows.contains(WHY), "the owner may have named somebody there: {rows}");
    owner.click(&owner.first("td a", NAME).await.unwrap()).await;
    rows = owner.text().await;
    for words in ["Record exported", "Noémi Velcourt"] {
        assert!(rows.contains(words), "{words:?} is missing from {rows}");
    }
}

/// The package is intact, and one with a changed byte is not.
fn verifies(file: &Path) {
    let verify = |file: &Path| {
        let out = Command::new(env!("CARGO_BIN_EXE_palpebra")).arg("verify").arg(file).output().unwrap();
        (out.status.code(), String::from_utf8(out.stdout).unwrap())
    };
    let (code, said) = verify(file);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("intact") && said.contains("Sorcha Valdrin") && said.contains(WHY), "{said}");
    let mut bytes = fs::read(file).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    let changed = file.with_extension("changed");
    fs::write(&changed, bytes).unwrap();
    let (code, said) = verify(&changed);
    assert!(matches!(code, Some(1 | 66)), "a changed package passes: {code:?} {said}");
}

/// The one file of the package whose name ends so.
fn entry(file: &Path, end: &str) -> String {
    let mut package = ZipArchive::new(File::open(file).unwrap()).unwrap();
    let names: Vec<String> = package
        .file_names()
        .filter_map(|name| Some(name.ok()?.into_owned()))
        .filter(|name| name.ends_with(end))
        .collect();
    let [name] = &names[..] else { panic!("{end} is there {} times", names.len()) };
    let mut text = String::new();
    package.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

fn in_record(file: &Path, story: &Story) {
    let record: Value = serde_json::from_str(&entry(file, "/record.json")).unwrap();
    assert_eq!(record["person"]["name"], NAME);
    assert_eq!(record["person"]["email"], MAIL);
    let answers = record["answers"][0]["answers"].as_array().unwrap();
    let strength = answers.iter().find(|answer| answer["key"] == "asthma_fumes_strength").unwrap();
    assert_eq!(strength["answer"], "A cough or tightness that soon passes");
    let test = &record["skin_tests"][0];
    assert_eq!((&test["batch"], &test["site"]), (&Value::from("HB-70"), &Value::from(SITE)));
    assert_eq!(test["readings"][0]["result"].as_str().unwrap().to_lowercase(), "no visible change");
    assert_eq!(record["consents"][0]["hash"], story.text.as_str());
    assert_eq!(record["consents"][0]["typed_name"], NAME);
    let visits = record["visits"].as_array().unwrap();
    let visit = visits.iter().find(|visit| !visit["treatments"].as_array().unwrap().is_empty()).unwrap();
    assert_eq!(visit["overrides"][0]["reason"], ASKED);
    let versions = visit["treatments"].as_array().unwrap();
    assert_eq!(versions.len(), 2);
    let last = &versions[1];
    assert_eq!(last["why_corrected"], WHY_CORRECTED);
    assert_eq!(last["shield"], SHIELD);
    assert_eq!(last["started_at"]["local"], format!("2026-03-12T{}:00", story.treatment));
    let used: Vec<_> =
        last["products"].as_array().unwrap().iter().map(|used| (&used["product"], &used["batch"])).collect();
    for (product, batch) in BATCHES {
        assert!(used.contains(&(&product.into(), &batch.into())), "{product} {batch} is missing from {used:?}");
    }
    let minutes = |version: &Value, step: &str| {
        version["steps"].as_array().unwrap().iter().find(|one| one["name"] == step).unwrap()["minutes"].clone()
    };
    assert_eq!(minutes(&versions[0], "second lotion"), 8);
    assert_eq!(minutes(last, "second lotion"), CORRECTED);
    assert_eq!(minutes(last, "tint"), 7);
}

/// A table of the package, and the values of one of its columns.
fn column(file: &Path, table: &str, column: &str) -> Vec<String> {
    let text = entry(file, &format!("/tables/{table}.csv"));
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let at = reader.headers().unwrap().iter().position(|name| name == column).unwrap();
    reader.records().map(|row| row.unwrap()[at].to_owned()).collect()
}

fn in_tables(file: &Path, story: &Story) {
    let has = |table: &str, name: &str, value: &str| {
        let values = column(file, table, name);
        assert!(values.iter().any(|one| one == value), "{table}.{name} lacks {value:?}: {values:?}");
    };
    has("clients", "name", NAME);
    has("answers", "answer", "A cough or tightness that soon passes");
    has("skin_tests", "batch", "HB-70");
    has("consents", "hash", &story.text);
    has("overrides", "reason", ASKED);
    has("treatments", "why_corrected", WHY_CORRECTED);
    has("steps", "minutes", &CORRECTED.to_string());
    for (product, batch) in BATCHES {
        has("products_used", "product", product);
        has("products_used", "batch", batch);
    }
}
