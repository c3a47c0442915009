//! What goes into a package beside the clients' own records: the studio's papers, and visits that were taken over.

use palpebra::documents::record::{ClientRecord, Paper};
use palpebra::store::papers;
use palpebra::store::treatments::Outcome;
use sha2::{Digest as _, Sha256};
use time::Duration;

use super::exports::{WHY, fetch, order, package_of_mia, unpack, words_of_pdf};
use super::papers::add;
use super::takeover::take;
use crate::documents::upload::jpeg;
use crate::support::app::NOW;
use crate::support::studio::MIA;
use crate::support::{Person, TestApp};

fn table(files: &std::collections::BTreeMap<String, Vec<u8>>, name: &str) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_reader(files[&format!("data/tables/{name}.csv")].as_slice());
    reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
}

async fn remove(owner: &Person, number: &str) {
    let page = owner.get("/owner/papers").await;
    let path = page.link(&format!("Fetch {number}")).replace("/file", "/remove");
    assert_eq!(owner.submit(&page, &path, &[]).await.status, 303);
}

#[tokio::test]
async fn the_studio_s_papers_are_in_it_with_their_files_and_those_that_counted_before() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let (lift, liv) = (studio.lift.as_str(), studio.liv.as_str());
    assert_eq!(add(&owner, "policy", &[lift], "2026-12-31", Some(&jpeg())).await.status, 303);
    remove(&owner, "C-1207").await;
    assert_eq!(add(&owner, liv, &[lift], "", Some(&jpeg())).await.status, 303);
    let files = unpack(&package_of_mia(&owner, &studio).await);
    let listed: Vec<Paper> = serde_json::from_slice(&files["data/papers.json"]).unwrap();
    let [policy, certificate] = &listed[..] else { panic!("two papers") };
    assert_eq!((policy.kind(), policy.removed_at.is_some()), ("insurance policy", true));
    assert_eq!(policy.expires_on.unwrap().to_string(), "2026-12-31");
    assert_eq!((certificate.kind(), certificate.practitioner.as_deref()), ("certificate", Some("Liv Tannhauer")));
    assert_eq!((certificate.practitioner_id.as_ref(), certificate.expires_on), (Some(&studio.liv), None));
    let rows = table(&files, "papers");
    for (paper, row) in listed.iter().zip(&rows) {
        assert_eq!((paper.number.as_str(), &paper.services[..]), ("C-1207", &["Lash lift".to_owned()][..]));
        let file = &files[&format!("data/papers/{}", paper.file)];
        let stored = papers::body(&mut app.app.db.read().await.unwrap(), &paper.id).await.unwrap().unwrap().1;
        assert!(*file == stored, "the file, byte for byte");
        assert_eq!(paper.sha256, data_encoding::HEXLOWER.encode(&Sha256::digest(file)));
        assert_eq!(row[0], paper.id.to_string());
        assert!(row.contains(&paper.sha256) && row.contains(&paper.file), "{row:?}");
    }
    let dictionary = String::from_utf8(files["data/data-dictionary.csv"].clone()).unwrap();
    assert!(dictionary.contains("papers,a certificate or policy of the studio"), "{dictionary}");
}

#[tokio::test]
async fn a_treatment_names_the_certificate_that_was_on_file_when_it_was_done() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let (lift, noor) = (studio.lift.as_str(), studio.noor.as_str());
    let treated = async |days: i64| {
        let at = NOW + Duration::days(days);
        studio.treated(&studio.mia, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
    };
    treated(-20).await;
    // Noor's is none of Liv's, and one for another service is none for this.
    add(&owner, noor, &[lift], "", Some(&jpeg())).await;
    add(&owner, studio.liv.as_str(), &[studio.lift_and_tint.as_str()], "", Some(&jpeg())).await;
    treated(1).await;
    add(&owner, studio.liv.as_str(), &[lift], "2026-03-12", Some(&jpeg())).await;
    for days in [2, 9, 12] {
        treated(days).await;
    }
    let files = unpack(&package_of_mia(&owner, &studio).await);
    let record: ClientRecord =
        serde_json::from_slice(&files[&format!("data/clients/{}/record.json", studio.mia)]).unwrap();
    let found: Vec<_> = record.visits.iter().map(|visit| visit.treatments[0].certificate.as_deref()).collect();
    // The days are 10 February and 3, 4, 11 and 14 March; the certificate came on 2 March and ends on the 12th.
    assert_eq!(found, [None, Some("C-1207"), Some("C-1207"), Some("C-1207"), None]);
}

#[tokio::test]
async fn a_visit_from_before_is_told_as_taken_over_and_brings_its_client_into_the_span() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let file = "Name;E-Mail;Phone;Date of birth;Last visit;Treatment;Notes\r\n\
                Mia Sandgren;mia@clients.example.org;;14.6.1991;7.11.2025;Lash lift;as always\r\n\
                Mia Sandgren;mia@clients.example.org;;14.6.1991;2.1.2026;Lash lift;\r\n";
    take(&owner, file.as_bytes()).await;
    let days = [("scope", "days"), ("from", "2025-11-07"), ("to", "2025-11-07"), ("why", WHY)];
    let made = order(&owner, &days).await;
    assert_eq!(made.status, 303, "{}", made.main());
    let files = unpack(&fetch(&owner).await.bytes);
    let folder = format!("data/clients/{}", studio.mia);
    let record: ClientRecord = serde_json::from_slice(&files[&format!("{folder}/record.json")]).unwrap();
    assert!(record.visits.is_empty(), "a day and a service are no visit of here");
    let [first, second] = &record.past_visits[..] else { panic!("two visits from before") };
    assert_eq!((first.day.to_string().as_str(), first.service.as_str()), ("2025-11-07", "Lash lift"));
    assert_eq!((first.note.as_deref(), second.note.as_deref()), (Some("as always"), None));
    assert_eq!(first.taken_over_at.utc, NOW);
    let rows = table(&files, "past_visits");
    assert_eq!(rows[0][..5], [studio.mia.as_str(), first.id.as_str(), "2025-11-07", "Lash lift", "as always"]);
    assert_eq!(rows.len(), 2);
    let paper = words_of_pdf(&files[&format!("{folder}/record.pdf")]);
    for fact in ["Visits from before", "7 November 2025", "as always", "taken over from elsewhere", "proves no more"] {
        assert!(paper.contains(fact), "{fact} in {paper}");
    }
    let other = [("scope", "days"), ("from", "2025-11-08"), ("to", "2026-01-01"), ("why", WHY)];
    assert_eq!(order(&owner, &other).await.status, 422, "nobody had a visit then");
}

#[tokio::test]
async fn a_client_s_own_copy_holds_what_is_about_her_and_no_paper_of_the_studio() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    add(&owner, "policy", &[studio.lift.as_str()], "2026-12-31", Some(&jpeg())).await;
    let mia = app.client(MIA).await;
    let page = mia.get("/me/data").await;
    assert_eq!(mia.submit(&page, "/me/data/copy", &[]).await.status, 303);
    let files = unpack(&mia.get(&mia.get("/me/data").await.link("Fetch your copy")).await.bytes);
    assert!(files.contains_key("data/tables/past_visits.csv"));
    let papers: Vec<_> = files.keys().filter(|name| name.contains("papers")).collect();
    assert!(papers.is_empty(), "{papers:?}");
}
