//! Records for the insurer: what is in a package is what is in the database, and who took it is written down.
#![expect(clippy::indexing_slicing, reason = "a test may fail where it stands")]

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _, Write as _};
use std::process::{Command, Output};

use palpebra::actions::case::Known;
use palpebra::actions::files::{self, Belongs};
use palpebra::actions::test_reports;
use palpebra::clock::Random;
use palpebra::documents::record::{ClientRecord, Consent};
use palpebra::documents::upload::{self, Takes};
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::consent::Tick;
use palpebra::domain::file;
use palpebra::domain::ids::AccountId;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::role::{Member, Role};
use palpebra::domain::skin_test::{TestResult, VoidCause};
use palpebra::domain::steps::Plan;
use palpebra::jobs::housekeeping;
use palpebra::store::treatments::{Outcome, Start};
use palpebra::store::visits::Purpose;
use palpebra::store::{audit, chair, exports, guardians, health, restriction, treatments, visits};
use palpebra::studio_key::StudioKey;
use sha2::{Digest as _, Sha256};
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

use crate::documents::upload::jpeg;
use crate::support::app::NOW;
use crate::support::studio::{GOOD_BATCH, LIV};
use crate::support::{Html, Person, Studio, TestApp};

pub(super) const WHY: &str = "Asked for by the insurer, file 77-B";
const LIFTED: OffsetDateTime = datetime!(2026-01-12 09:00 UTC);
const REASON: &str = "Her doctor was asked by phone this morning";
const CORRECTED: &str = "The shield was noted wrong";

/// Mia with something in every part of her record.
pub(super) async fn with_a_past() -> (TestApp, Studio) {
    let (app, studio) = TestApp::with_studio().await;
    let but = [("atopy", Answer::Yes), ("other_allergy", Answer::Yes)];
    studio.answer(&studio.mia, &but).await;
    let applied = LIFTED - Duration::days(3);
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::hours(50)))).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let record = studio.treated(&studio.mia, &studio.lift_and_tint, LIFTED, Outcome::AsWished, &[&studio.tint]).await;
    let mut tx = app.app.db.write().await.unwrap();
    let row = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
    let known = Known::load(&mut tx, &row, Some(&studio.mia), &studio.lift_and_tint).await.unwrap();
    let readiness = known.readiness(LIFTED, LIFTED);
    let treatment = treatments::get(&mut tx, &record).await.unwrap().unwrap();
    let start = Start {
        verdict: readiness.verdict.as_str().to_owned(),
        readiness: serde_json::to_string(&readiness).unwrap(),
        reason: REASON.to_owned(),
        started_by: "Liv Tannhauer".to_owned(),
        started_at: LIFTED,
    };
    treatments::add_start(&mut tx, &treatment.visit, &start).await.unwrap();
    let mut second = treatment.versions[0].clone();
    (second.version, second.shield, second.reason) = (2, "large".to_owned(), CORRECTED.to_owned());
    treatments::add_version(&mut tx, &record, &second).await.unwrap();
    let photo = upload::check(&jpeg(), Takes::Photo).unwrap();
    let (client, about) = (&studio.mia, treatment.visit.as_str());
    let to = Belongs { client, purpose: file::Purpose::After, about, by: "Liv Tannhauer" };
    files::keep(&app.app, &mut tx, &to, &photo, LIFTED).await.unwrap();
    tx.commit().await.unwrap();
    (app, studio)
}

pub(super) async fn order(owner: &Person, fields: &[(&str, &str)]) -> Html {
    let page = owner.get("/owner/exports").await;
    owner.submit(&page, "/owner/exports", fields).await
}

pub(super) async fn fetch(owner: &Person) -> Html {
    let list = owner.get("/owner/exports").await;
    owner.get(&list.link("Fetch it")).await
}

pub(super) async fn package_of_mia(owner: &Person, studio: &Studio) -> Vec<u8> {
    let made = order(owner, &[("scope", "client"), ("client", studio.mia.as_str()), ("why", WHY)]).await;
    assert_eq!(made.location().as_deref(), Some("/owner/exports?said=made"), "{}", made.main());
    let said = owner.follow(made).await;
    assert!(said.main().starts_with("The package is made."), "{}", said.main());
    fetch(owner).await.bytes
}

pub(super) fn unpack(zip: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
    let read = |name: String| {
        let mut content = Vec::new();
        archive.by_name(&name).unwrap().read_to_end(&mut content).unwrap();
        (name, content)
    };
    names.into_iter().map(read).collect()
}

pub(super) fn words_of_pdf(pdf: &[u8]) -> String {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(pdf).unwrap();
    let out = Command::new("pdftotext").arg("-layout").arg(file.path()).arg("-").output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test]
async fn both_bottles_of_one_product_are_in_the_package() {
    let (app, studio) = with_a_past().await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut record = treatments::of_client(&mut tx, &studio.mia).await.unwrap().remove(0);
    let mut third = record.versions.remove(0);
    (third.version, third.reason) = (3, "A second bottle was opened".to_owned());
    third.products.push((studio.tint.clone(), "A-1907".to_owned()));
    treatments::add_version(&mut tx, &record.id, &third).await.unwrap();
    tx.commit().await.unwrap();
    let files = unpack(&package_of_mia(&app.owner().await, &studio).await);
    let table = files.iter().find(|(name, _)| name.ends_with("/products_used.csv")).unwrap().1;
    let table = String::from_utf8(table.clone()).unwrap();
    let third = table.lines().filter(|line| line.contains(",3,")).collect::<Vec<_>>().join(" ");
    assert!(third.contains(GOOD_BATCH) && third.contains("A-1907"), "{table}");
    let pdf = files.iter().find(|(name, _)| name.ends_with(".pdf")).map(|(_, pdf)| words_of_pdf(pdf)).unwrap();
    assert!(pdf.contains("A-1907"), "{pdf}");
}

#[tokio::test]
async fn what_was_taken_back_is_told_of_the_signature_before_it_and_not_of_the_one_after() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    app.app.clock.advance(Duration::MINUTE);
    let mut tx = app.app.db.write().await.unwrap();
    health::withdraw(&mut tx, &studio.mia, Tick::HealthData, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    app.app.clock.advance(Duration::MINUTE);
    studio.consent(&studio.mia, &studio.lift).await;
    let owner = app.owner().await;
    let files = unpack(&package_of_mia(&owner, &studio).await);
    let folder = format!("data/clients/{}", studio.mia);
    let record: ClientRecord = serde_json::from_slice(&files[&format!("{folder}/record.json")]).unwrap();
    let [before, after] = &record.consents[..] else { panic!("two signatures") };
    let back =
        |consent: &Consent| -> Vec<bool> { consent.ticks.iter().map(|tick| tick.taken_back_at.is_some()).collect() };
    assert_eq!(back(before), [false, true, false, false, false], "the health data alone");
    assert_eq!(back(after), [false; 5]);
    let paper = words_of_pdf(&files[&format!("{folder}/record.pdf")]);
    assert_eq!(paper.matches("taken back").count(), 1, "{paper}");
    let table = String::from_utf8(files["data/tables/consents.csv"].clone()).unwrap();
    assert!(table.contains("2026-03-02T08:01:00Z: "), "{table}");
}

#[tokio::test]
async fn a_package_holds_what_the_database_holds() {
    let (app, studio) = with_a_past().await;
    let owner = app.owner().await;
    let files = unpack(&package_of_mia(&owner, &studio).await);
    let folder = format!("data/clients/{}", studio.mia);
    let record: ClientRecord = serde_json::from_slice(&files[&format!("{folder}/record.json")]).unwrap();
    let mut c = app.app.db.read().await.unwrap();

    assert_eq!(record.person.name, "Mia Sandgren");
    let [photo] = &record.files[..] else { unreachable!("one photo") };
    let beside = &files[&format!("{folder}/{}", photo.name)];
    assert!(beside.starts_with(&[0xFF, 0xD8, 0xFF]), "the photo lies beside the record");
    assert_eq!(photo.sha256, data_encoding::HEXLOWER.encode(&Sha256::digest(beside)));
    assert_eq!((photo.purpose.as_str(), photo.added_by.as_str()), ("after", "Liv Tannhauer"));
    let stored = health::answers(&mut c, &studio.mia).await.unwrap();
    assert_eq!(record.answers.len(), stored.len());
    let newest = record.answers.last().unwrap();
    assert!(newest.id == stored[0].id && newest.answers.len() == stored[0].set.answers.len());
    let atopy = newest.answers.iter().find(|answer| answer.key == "atopy").unwrap();
    assert_eq!(
        (atopy.question.as_str(), atopy.answer.as_str()),
        ("Do you tend to asthma, eczema or hay fever?", "Yes")
    );

    let text = health::in_force(&mut c).await.unwrap().consent;
    let consent = &record.consents[0];
    assert_eq!(consent.hash, text.fingerprint().to_string());
    assert!(text.paragraphs().iter().all(|paragraph| consent.text.contains(&paragraph.text)));
    assert_eq!(consent.ticks.iter().filter(|tick| tick.ticked).count(), 2);
    assert!(consent.answers.as_ref() == Some(&newest.id));

    let test = &record.skin_tests[0];
    assert_eq!((test.product.as_str(), test.batch.as_deref()), ("Night Tint", Some(GOOD_BATCH)));
    assert_eq!(test.readings[0].result, "no visible change");

    let visit = &record.visits[0];
    assert_eq!((visit.service.as_str(), visit.state.as_str()), ("Lift and tint", "treated"));
    assert_eq!(visit.starts.local.to_string(), "2026-01-12 10:00:00.0", "Berlin is an hour ahead");
    assert_eq!(visit.overrides[0].reason, REASON);
    let reasons = &visit.readiness.as_ref().unwrap().reasons;
    assert!(reasons.iter().any(|reason| reason.contains("atopy")), "{reasons:?}");
    let [first, second] = &visit.treatments[..] else { panic!("two versions") };
    assert_eq!((first.shield.as_deref(), second.shield.as_deref()), (Some("medium"), Some("large")));
    assert_eq!(second.why_corrected.as_deref(), Some(CORRECTED));
    let used = &second.products[0];
    assert_eq!((used.product.as_str(), used.batch.as_deref()), ("Night Tint", Some(GOOD_BATCH)));

    let table = |name: &str| String::from_utf8(files[&format!("data/tables/{name}.csv")].clone()).unwrap();
    let paper = words_of_pdf(&files[&format!("{folder}/record.pdf")]);
    for (name, fact) in [
        ("clients", "Mia Sandgren"),
        ("answers", "Do you tend to asthma, eczema or hay fever?"),
        ("consents", consent.hash.as_str()),
        ("skin_tests", "behind the left ear"),
        ("treatments", CORRECTED),
        ("products_used", GOOD_BATCH),
        ("overrides", REASON),
    ] {
        assert!(table(name).contains(fact), "{fact} in {name}.csv: {}", table(name));
        assert!(paper.contains(fact) || fact.len() == 64, "{fact} in {paper}");
    }
    assert!(paper.replace(' ', "").contains(&consent.hash), "the hash, which may be broken over lines");
    assert!(paper.contains(WHY) && paper.contains("Runa Ostfeld (owner)"), "{paper}");
}

/// What the insurer reads of a skin test is what the practitioner was told.
#[tokio::test]
async fn a_skin_test_is_handed_out_as_the_rules_see_it() {
    for (later, caveat) in [
        ("nothing", None),
        ("reaction", Some("no longer counts since 2026-03-02: reaction")),
        ("answer", Some("no longer counts since 2026-03-02: health change")),
        ("voided", Some("no longer counts since 2026-03-02: new product")),
        ("not read", Some("does not count: reaction")),
    ] {
        let (app, studio) = TestApp::with_studio().await;
        let applied = NOW - Duration::days(5);
        let read = (TestResult::NoVisibleChange, applied + Duration::hours(50));
        let test = studio.tested(&studio.mia, applied, Some(read).filter(|_| later != "not read")).await;
        // A treatment rests on it.
        let at = NOW - Duration::days(2);
        studio.treated(&studio.mia, &studio.lift_and_tint, at, Outcome::AsWished, &[&studio.tint]).await;
        app.app.clock.advance(Duration::MINUTE);
        match later {
            "voided" => {
                let account = AccountId::from_random([1; 16]);
                let owner = Member { account, role: Role::Owner, name: "Runa Ostfeld".to_owned(), practitioner: None };
                test_reports::void(&app.app, &owner, &studio.mia, &test, VoidCause::NewProduct, "").await.unwrap();
            }
            "reaction" | "not read" => {
                let level = (Level::Moderate, State::Settled);
                studio.reacted(&studio.mia, level, None, &[&studio.lotion]).await;
            }
            "answer" => {
                studio.answer(&studio.mia, &[("black_henna_any", Answer::Yes)]).await;
            }
            _ => {}
        }
        let files = unpack(&package_of_mia(&app.owner().await, &studio).await);
        let name = format!("data/clients/{}/record.json", studio.mia);
        let record: ClientRecord = serde_json::from_slice(&files[&name]).unwrap();
        let [test] = &record.skin_tests[..] else { panic!("one test") };
        assert_eq!(test.caveat.as_deref(), caveat, "{later}");
        let until = match later {
            "nothing" => Some(date!(2026 - 08 - 30)),
            "not read" => None,
            _ => Some(date!(2026 - 03 - 02)),
        };
        let from = (later != "not read").then_some(date!(2026 - 02 - 27));
        assert_eq!((test.counts_from, test.valid_until), (from, until), "{later}");
    }
}

#[tokio::test]
async fn a_package_holds_what_was_ticked_taken_and_noted_around_a_treatment() {
    let (app, studio) = with_a_past().await;
    let began = NOW - Duration::days(2);
    let begun = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, began).await;
    let mut tx = app.app.db.write().await.unwrap();
    let liv = || "Liv Tannhauer".to_owned();
    let row = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
    let known = Known::load(&mut tx, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    let start = Start {
        verdict: "clear".to_owned(),
        readiness: serde_json::to_string(&known.readiness(began, began)).unwrap(),
        reason: String::new(),
        started_by: liv(),
        started_at: began,
    };
    treatments::add_start(&mut tx, &begun, &start).await.unwrap();
    let check = chair::Check {
        on_the_day: vec!["Her lenses are out".to_owned()],
        hygiene: vec!["Fresh brushes".to_owned()],
        traits: Vec::new(),
        plan: Plan::shipped(ServiceKind::LashLift),
        by: liv(),
        at: began,
    };
    chair::add_check(&mut tx, &begun, &check).await.unwrap();
    chair::take_bottle(&mut tx, &begun, (&studio.lotion, GOOD_BATCH), "Liv Tannhauer", began).await.unwrap();
    let there = guardians::Present { name: "Sunniva Tallgren".to_owned(), noted_by: liv(), noted_at: began };
    guardians::note(&mut tx, &begun, &there).await.unwrap();
    let recorded = visits::of_client(&mut tx, &studio.mia).await.unwrap().into_iter();
    let recorded = recorded.map(|visit| visit.id).find(|id| *id != begun).unwrap();
    let record = treatments::of_visit(&mut tx, &recorded).await.unwrap().unwrap();
    let mut third = record.versions[0].clone();
    (third.version, third.rinsed, third.reason) = (3, Some(true), "Rinsing was left out".to_owned());
    treatments::add_version(&mut tx, &record.id, &third).await.unwrap();
    tx.commit().await.unwrap();
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/clients/{}/reaction", studio.mia);
    let page = liv.get(&path).await;
    let fields = [("treatment", recorded.as_str()), ("day", "2026-03-01"), ("time", "18:00"), ("many-sign", "itch")];
    let reported = liv.submit(&page, &path, &fields).await;
    assert_eq!(reported.status, 303, "{}", reported.main());
    let report = reported.location().unwrap();
    let page = liv.get(&report).await;
    let fields = [("add", "follow_up"), ("many-sign", "lid_swelling"), ("note", "Sent to her doctor")];
    let asked = liv.submit(&page, &format!("{report}/add"), &fields).await;
    assert_eq!(asked.status, 303, "{}", asked.main());

    let owner = app.owner().await;
    let files = unpack(&package_of_mia(&owner, &studio).await);
    let folder = format!("data/clients/{}", studio.mia);
    let record: ClientRecord = serde_json::from_slice(&files[&format!("{folder}/record.json")]).unwrap();
    let visit = record.visits.iter().find(|visit| visit.id == begun).unwrap();
    let ticked = |list: &str| visit.ticked.iter().find(|one| one.list == list).unwrap();
    assert_eq!((visit.ticked.len(), visit.ticked[0].at.utc), (2, began));
    assert_eq!(
        (ticked("on_the_day").point.as_str(), ticked("hygiene").by.as_str()),
        ("Her lenses are out", "Liv Tannhauer")
    );
    assert_eq!(visit.guardian_present.as_ref().unwrap().name, "Sunniva Tallgren");
    assert_eq!(visit.bottles[0].product, "Bow Lotion");
    let other = record.visits.iter().find(|visit| visit.id == recorded).unwrap();
    let rinsed = other.treatments.last().unwrap().checks.iter().find(|one| one.key == "eyes_rinsed").unwrap();
    assert_eq!(rinsed.answer, "Yes");
    assert!(other.bottles.is_empty(), "a record names what was used");
    let reaction = &record.reactions[0];
    assert!(reaction.action.contains(", Liv Tannhauer: Sent to her doctor"), "{}", reaction.action);
    assert_eq!(reaction.signs, "mild: itch\n2026-03-02, Liv Tannhauer, moderate: lid swelling");

    let table = |name: &str| String::from_utf8(files[&format!("data/tables/{name}.csv")].clone()).unwrap();
    let paper = words_of_pdf(&files[&format!("{folder}/record.pdf")]);
    for (name, fact) in [
        ("ticked", "Her lenses are out"),
        ("ticked", "Fresh brushes"),
        ("visits", "Sunniva Tallgren"),
        ("visits", "Bow Lotion"),
        ("checks", "Eyes rinsed"),
        ("reactions", "moderate: lid swelling"),
    ] {
        assert!(table(name).contains(fact), "{fact} in {name}.csv: {}", table(name));
        assert!(paper.contains(fact), "{fact} in {paper}");
    }
}

#[tokio::test]
async fn who_took_which_records_and_why_is_written_down() {
    let (app, studio) = with_a_past().await;
    let owner = app.owner().await;
    let zip = package_of_mia(&owner, &studio).await;
    let mut c = app.app.db.read().await.unwrap();
    let made = exports::list(&mut c, 10).await.unwrap().remove(0);
    assert_eq!((made.made_by.as_str(), made.why.as_str(), made.clients), ("Runa Ostfeld", WHY, 1));
    assert_eq!(made.sha256, data_encoding::HEXLOWER.encode(&Sha256::digest(&zip)));
    assert_eq!(made.bytes, u64::try_from(zip.len()).unwrap());

    let log = audit::list(&mut c, None, None, 50).await.unwrap();
    let row = |action: &str| log.iter().find(|row| row.action == action).expect(action);
    for action in ["export.made", "record.exported", "export.fetched"] {
        assert_eq!(
            (row(action).actor_name.as_str(), row(action).object_id.as_str()),
            ("Runa Ostfeld", made.id.as_str())
        );
    }
    let detail = &row("export.made").detail;
    assert!(detail.contains(studio.mia.as_str()) && !detail.contains(WHY), "{detail}");
    assert!(detail.ends_with(&format!("manifest {}", made.manifest_sha256)), "{detail}");
    assert_eq!(row("record.exported").client_id, studio.mia.as_str());

    let list = owner.get("/owner/exports").await.main();
    for fact in ["Runa Ostfeld", WHY, "Mia Sandgren", &made.sha256, &made.manifest_sha256] {
        assert!(list.contains(fact), "{fact} in {list}");
    }
}

#[tokio::test]
async fn a_package_is_fetched_by_the_owner_alone_and_for_a_day() {
    let (app, studio) = with_a_past().await;
    let owner = app.owner().await;
    package_of_mia(&owner, &studio).await;
    let href = owner.get("/owner/exports").await.link("Fetch it");
    let file = owner.get(&href).await;
    let header = |name: &str| file.headers[name].to_str().unwrap().to_owned();
    assert_eq!(header("content-type"), "application/zip");
    assert_eq!(header("cache-control"), "no-store");
    assert_eq!(header("content-length"), file.bytes.len().to_string(), "it is not packed a second time");
    let name = header("content-disposition");
    let name = name.strip_prefix("attachment; filename=\"").unwrap().strip_suffix("\"").unwrap();
    assert!(name.starts_with("records-2026-03-02-") && !name.contains(['/', '\\', ' ']), "{name}");

    let rest = owner.request(reqwest::Method::GET, &href).header("range", "bytes=1000-");
    let rest = rest.header("if-range", header("etag")).send().await.unwrap();
    let size = file.bytes.len();
    assert_eq!(
        (rest.status().as_u16(), rest.headers()["content-length"].to_str().unwrap()),
        (206, (size - 1000).to_string().as_str())
    );
    assert_eq!(rest.headers()["content-range"], format!("bytes 1000-{}/{size}", size - 1));
    assert!(rest.bytes().await.unwrap() == file.bytes[1000..]);
    let beyond = owner.request(reqwest::Method::GET, &href).header("range", format!("bytes={size}-"));
    assert_eq!(beyond.send().await.unwrap().status().as_u16(), 416);

    let liv = app.member(LIV.0, LIV.1).await;
    for path in ["/owner/exports", &href, "/owner/verify"] {
        assert_eq!(liv.get(path).await.status, 403, "{path}");
        assert_eq!(app.visitor().get(path).await.location().as_deref(), Some("/team/sign-in"), "{path}");
    }
    let folder = app.folder().join("exports");
    let kept = || std::fs::read_dir(&folder).unwrap().count();
    assert_eq!(kept(), 1, "no scratch files are left");
    std::fs::write(folder.join("left-by-a-crash.part"), "half").unwrap();
    housekeeping::sweep(&app.app).await.unwrap();
    assert_eq!(owner.get(&href).await.bytes, file.bytes);
    app.app.clock.advance(Duration::hours(24));
    let owner = app.owner().await;
    assert_eq!(owner.get(&href).await.status, 404, "also before it is swept away");
    housekeeping::sweep(&app.app).await.unwrap();
    assert!(
        !folder.join(name).exists()
            && std::fs::read_dir(&folder)
                .unwrap()
                .all(|file| { file.unwrap().path().extension().is_some_and(|ending| ending == "part") })
    );
    assert!(owner.get("/owner/exports").await.main().contains("No longer kept here"));
}

#[tokio::test]
async fn an_order_without_its_reason_is_refused_and_nothing_typed_is_lost() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let mia = studio.mia.as_str();
    let refused = order(&owner, &[("scope", "client"), ("client", mia), ("why", "  ")]).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.attributes(".summary a", "href"), ["#why"]);
    assert_eq!(refused.attributes("#client option[selected]", "value"), [mia]);
    let long = "x".repeat(501);
    let nobody = "aaaaaaaaaaaaaaaaaaaaaaaaaa";
    for (fields, field) in [
        (vec![("scope", "client"), ("client", mia), ("why", long.as_str())], "#why"),
        (vec![("scope", "client"), ("client", ""), ("why", WHY)], "#client"),
        (vec![("scope", "client"), ("client", nobody), ("why", WHY)], "#client"),
        (vec![("why", WHY)], "#scope"),
        (vec![("scope", "days"), ("from", "2026-02-30"), ("to", "2026-03-01"), ("why", WHY)], "#from"),
        (vec![("scope", "days"), ("from", "2026-03-02"), ("to", "2026-03-01"), ("why", WHY)], "#to"),
        (vec![("scope", "days"), ("from", "2020-01-01"), ("to", "2020-12-31"), ("why", WHY)], "#from"),
    ] {
        let refused = order(&owner, &fields).await;
        assert_eq!((refused.status, refused.attributes(".summary a", "href")), (422, vec![field.to_owned()]));
    }
    let mut c = app.app.db.read().await.unwrap();
    assert!(exports::list(&mut c, 10).await.unwrap().is_empty());
    assert!(audit::list(&mut c, None, None, 50).await.unwrap().iter().all(|row| !row.action.contains("export")));
}

#[tokio::test]
async fn a_package_of_several_says_how_many_records_are_locked_away() {
    let (app, studio) = with_a_past().await;
    studio.client("Zora Halvig", "zora@clients.example.org", time::macros::date!(1999 - 01 - 02)).await;
    let mut tx = app.app.db.write().await.unwrap();
    restriction::restrict(&mut tx, &studio.mia, NOW).await.unwrap();
    tx.commit().await.unwrap();
    let owner = app.owner().await;
    let page = owner.get("/owner/exports").await;
    assert!(page.main().contains("1 record is locked away for claims"), "{}", page.main());
    let list = owner.get(&page.link("Locked away for claims")).await;
    assert!(list.main().contains("Mia Sandgren"), "{}", list.main());
    assert_eq!(order(&owner, &[("scope", "everyone"), ("why", WHY)]).await.status, 303);
    let files = unpack(&fetch(&owner).await.bytes);
    let text = |name: &str| String::from_utf8(files[name].clone()).unwrap();
    assert!(text("read-me.txt").contains("Not in it: 1 client record(s)"), "{}", text("read-me.txt"));
    let head = text("data/export.json").replace(' ', "");
    assert!(head.contains("\"locked_away\":1"), "{head}");
    let paper = files.iter().find(|(name, _)| name.ends_with("record.pdf")).unwrap().1;
    assert!(words_of_pdf(paper).contains("all clients, but for 1 whose records are locked away"));
    app.app.clock.advance(Duration::MINUTE);
    let files = unpack(&package_of_mia_alone(&owner, &studio).await);
    assert!(!String::from_utf8(files["read-me.txt"].clone()).unwrap().contains("Not in it"));
}

async fn package_of_mia_alone(owner: &Person, studio: &Studio) -> Vec<u8> {
    let page = owner.get(&format!("/owner/clients/{}/data", studio.mia)).await;
    let (_, mut fields) = page.form("/team/sign-out");
    fields.extend(
        [("scope", "client"), ("client", studio.mia.as_str()), ("why", WHY)]
            .map(|(name, value)| (name.to_owned(), value.to_owned())),
    );
    assert_eq!(owner.post("/owner/exports", &fields).await.status, 303);
    fetch(owner).await.bytes
}

#[tokio::test]
async fn a_span_of_days_takes_whoever_had_a_visit_on_one_of_them() {
    let (app, studio) = TestApp::with_studio().await;
    let zora = studio.client("Zora Halvig", "zora@clients.example.org", time::macros::date!(1999 - 01 - 02)).await;
    studio.client("Una Nielsund", "una@clients.example.org", time::macros::date!(1988 - 05 - 06)).await;
    // 23:30 UTC on the first is half past midnight on the second in Berlin.
    let late = datetime!(2026-04-01 22:30 UTC);
    studio.visit(Purpose::Treatment, &zora, &studio.lift, &studio.liv, late).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(1)).await;
    let owner = app.owner().await;
    for (from, to, whom) in [
        ("2026-03-01", "2026-04-01", vec!["Mia Sandgren"]),
        ("2026-04-02", "2026-04-02", vec!["Zora Halvig"]),
        ("2026-03-03", "2026-04-02", vec!["Mia Sandgren", "Zora Halvig"]),
    ] {
        let made = order(&owner, &[("scope", "days"), ("from", from), ("to", to), ("why", WHY)]).await;
        assert_eq!(made.status, 303, "{}", made.main());
        app.app.clock.advance(Duration::MINUTE);
        let files = unpack(&fetch(&owner).await.bytes);
        let clients = String::from_utf8(files["data/tables/clients.csv"].clone()).unwrap();
        let found: Vec<&str> =
            ["Mia Sandgren", "Una Nielsund", "Zora Halvig"].into_iter().filter(|name| clients.contains(name)).collect();
        assert_eq!(found, whom, "{from} to {to}");
    }
}

#[tokio::test]
async fn exports_come_at_a_measured_pace() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let nobody = [("scope", "days"), ("from", "2020-01-01"), ("to", "2020-01-01"), ("why", WHY)];
    for _ in 0..10 {
        assert_eq!(order(&owner, &nobody).await.status, 422);
    }
    assert_eq!(order(&owner, &nobody).await.status, 429);
}

/// Sends a file to the page that checks packages.
pub(super) async fn check(person: &Person, token: &str, file: Vec<u8>) -> Html {
    let part = reqwest::multipart::Part::bytes(file).file_name("package.zip");
    let form = reqwest::multipart::Form::new().text("csrf", token.to_owned()).part("file", part);
    let sent = person.request(reqwest::Method::POST, "/owner/verify").multipart(form).send().await.unwrap();
    Html::read(sent).await
}

pub(super) async fn token(person: &Person) -> String {
    let (_, fields) = person.get("/owner/verify").await.form("/owner/verify");
    fields.into_iter().find(|(name, _)| name == "csrf").unwrap().1
}

/// The package with one byte of a file's content turned over.
fn flipped(zip: &[u8], name: &str) -> Vec<u8> {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    let file = archive.by_name(name).unwrap();
    let middle = file.data_start().unwrap() + file.compressed_size() / 2;
    let mut zip = zip.to_vec();
    zip[usize::try_from(middle).unwrap()] ^= 1;
    zip
}

#[tokio::test]
async fn the_page_says_whether_a_package_is_intact_or_which_file_is_not() {
    let (app, studio) = with_a_past().await;
    let owner = app.owner().await;
    let zip = package_of_mia(&owner, &studio).await;
    let token = token(&owner).await;
    let intact = check(&owner, &token, zip.clone()).await;
    let said = intact.main();
    assert!(intact.status == 200 && said.contains("The package is intact"), "{said}");
    assert!(said.contains("signed with the studio’s key") && said.contains(WHY), "{said}");
    let key = StudioKey::load(app.folder()).unwrap().unwrap().public().to_string();
    assert!(said.contains(&key) && owner.get("/owner/exports").await.main().contains(&key));

    let name = format!("data/clients/{}/record.pdf", studio.mia);
    let changed = check(&owner, &token, flipped(&zip, &name)).await.main();
    assert!(changed.contains("not as it was made") && changed.contains(&format!("{name} was changed")), "{changed}");
    assert!(!changed.contains("record.json"), "only that one: {changed}");
    let cut = check(&owner, &token, zip[..zip.len() / 2].to_vec()).await.main();
    assert!(cut.contains("cut off or damaged"), "{cut}");

    let (other, stranger) = with_a_past().await;
    other.app.clock.advance(Duration::HOUR);
    StudioKey::load_or_make(other.folder(), &Random::seeded(7)).unwrap();
    let theirs = package_of_mia(&other.owner().await, &stranger).await;
    let said = check(&owner, &token, theirs).await.main();
    assert!(said.contains("intact") && said.contains("it is not ours"), "{said}");
    // A new key does not disown what the log knows.
    std::fs::remove_file(app.folder().join("signing-key.pem")).unwrap();
    let said = check(&owner, &token, zip).await.main();
    assert!(said.contains("in the studio’s log") && said.contains("another key"), "{said}");
}

#[tokio::test]
async fn only_a_form_of_ours_brings_a_file() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let token = token(&owner).await;
    let none = check(&owner, &token, Vec::new()).await;
    assert_eq!((none.status, none.attributes(".summary a", "href")), (422, vec!["#file".to_owned()]));
    assert_eq!(check(&owner, "forged", vec![1]).await.status, 403);
    assert_eq!(owner.post("/owner/verify", &[("csrf".to_owned(), token.clone())]).await.status, 415);
    // More than any other form may bring.
    let large = check(&owner, &token, vec![0; 3 << 20]).await;
    assert!(large.status == 200 && large.main().contains("no ZIP file"), "{}", large.main());
    let why = "x".repeat(100_000);
    assert_eq!(order(&owner, &[("scope", "everyone"), ("why", &why)]).await.status, 413);
    let file_first = reqwest::multipart::Form::new().text("file", "x").text("csrf", token.clone());
    let sent = owner.request(reqwest::Method::POST, "/owner/verify").multipart(file_first).send().await.unwrap();
    assert_eq!(sent.status(), 400, "nothing is kept before the token is seen");
    let liv = app.member(LIV.0, LIV.1).await;
    assert_eq!(check(&liv, &token, vec![1]).await.status, 403);
}

fn palpebra(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_palpebra")).args(arguments).output().unwrap()
}

#[tokio::test]
async fn the_command_line_exports_and_verifies() {
    let (app, studio) = with_a_past().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("records.zip");
    let (out, data) = (file.to_str().unwrap(), app.folder().to_str().unwrap());
    let export = ["export", "--data", data, "--why", WHY, "--client", studio.mia.as_str(), "--out", out];
    let made = palpebra(&export);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    assert_eq!(palpebra(&export).status.code(), Some(74), "what is there is not written over");
    let mut c = app.app.db.read().await.unwrap();
    let logged = exports::list(&mut c, 10).await.unwrap().remove(0);
    assert_eq!((logged.made_by.as_str(), logged.why.as_str()), ("the command line", WHY));
    assert!(String::from_utf8(made.stdout).unwrap().contains(&logged.sha256));

    let intact = palpebra(&["verify", out]);
    let said = String::from_utf8(intact.stdout).unwrap();
    assert!(intact.status.success() && said.starts_with("intact") && said.contains(&logged.manifest_sha256), "{said}");
    let key = StudioKey::load(app.folder()).unwrap().unwrap().public().to_string();
    assert!(said.contains(&key), "{said}");
    let ours = palpebra(&["verify", out, "--key", &key]);
    assert!(ours.status.success() && String::from_utf8(ours.stdout).unwrap().contains("\nours: "));
    let theirs = palpebra(&["verify", out, "--key", &"3d".repeat(32)]);
    assert_eq!(theirs.status.code(), Some(1));
    assert!(String::from_utf8(theirs.stdout).unwrap().contains("\nnot ours: "));
    assert_eq!(palpebra(&["verify", out, "--key", "3d"]).status.code(), Some(2));
    let doctor = String::from_utf8(palpebra(&["doctor", "--data", data]).stdout).unwrap();
    assert!(doctor.contains(&format!("well: the studio's key is {key}, for its owner alone")), "{doctor}");
    let name = "data/tables/treatments.csv";
    std::fs::write(&file, flipped(&std::fs::read(&file).unwrap(), name)).unwrap();
    let changed = palpebra(&["verify", out]);
    assert_eq!(changed.status.code(), Some(1));
    assert_eq!(String::from_utf8(changed.stdout).unwrap(), format!("changed: {name:?}\n"));
    std::fs::write(&file, "no ZIP at all").unwrap();
    assert_eq!(palpebra(&["verify", out]).status.code(), Some(66));
    assert_eq!(palpebra(&["verify", "no-such-file.zip"]).status.code(), Some(66));

    let other = folder.path().join("other.zip");
    let other = other.to_str().unwrap();
    let nobody = ["--from", "2020-01-01", "--to", "2020-01-02", "--out", other];
    let with = |rest: &[&str]| palpebra(&[&["export", "--data", data, "--why", WHY][..], rest].concat());
    assert_eq!(with(&nobody).status.code(), Some(1));
    assert_eq!(with(&["--out", other]).status.code(), Some(2), "whose?");
    assert_eq!(with(&["--from", "2020-01-01", "--out", other]).status.code(), Some(2));
    assert!(!std::path::Path::new(other).exists(), "nothing is left of what failed");
    assert!(with(&["--everyone", "--out", other]).status.success());
}
