//! The forms as HL7 FHIR R4B: an independent model reads them, and reads what the record says.

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _, Write as _};
use std::process::{Command, Stdio};

use palpebra::documents::package::PackageWriter;
use palpebra::documents::record::ClientRecord;
use palpebra::studio_key::StudioKey;
use serde_json::Value;

use super::sample;

fn bundle(client: &ClientRecord) -> String {
    let key = StudioKey::from_seed(&[7; 32]).unwrap();
    let mut writer = PackageWriter::new(Vec::new(), Cursor::new(Vec::new()), sample::head(), key).unwrap();
    writer.add_client(client).unwrap();
    let mut zip = zip::ZipArchive::new(Cursor::new(writer.finish().unwrap().1)).unwrap();
    let mut text = String::new();
    zip.by_name(&format!("data/clients/{}/fhir.json", client.id)).unwrap().read_to_string(&mut text).unwrap();
    text
}

/// What the independent model makes of it, or why it refuses.
fn read(bundle: &str) -> Result<Value, String> {
    let python = std::env::var_os("PALPEBRA_PYTHON").unwrap();
    let mut child = Command::new(python)
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/forms.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(bundle.as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    if !out.status.success() {
        return Err(String::from_utf8_lossy(&out.stderr).into_owned());
    }
    Ok(serde_json::from_slice(&out.stdout).unwrap())
}

#[test]
fn an_independent_model_reads_every_form_and_what_is_in_it() {
    let client = sample::client(1);
    let text = bundle(&client);
    let read = read(&text).unwrap();
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    for found in read["found"].as_array().unwrap() {
        *kinds.entry(found[0].as_str().unwrap()).or_default() += 1;
    }
    let expected =
        [("Consent", 1), ("Patient", 1), ("Procedure", 2), ("Questionnaire", 1), ("QuestionnaireResponse", 1)];
    assert_eq!(kinds.into_iter().collect::<Vec<_>>(), expected);
    let of = |kind: &str| -> Vec<&Value> {
        let entries = read["bundle"]["entry"].as_array().unwrap().iter().map(|entry| &entry["resource"]);
        entries.filter(|resource| resource["resourceType"] == kind).collect()
    };
    let response = of("QuestionnaireResponse")[0];
    for (item, given) in response["item"].as_array().unwrap().iter().zip(&client.answers[0].answers) {
        assert_eq!(item["text"], given.question.as_str());
        assert_eq!(item["answer"][0]["valueString"], given.answer.as_str());
        let more = item["answer"][0]["item"][0]["answer"][0]["valueString"].as_str();
        assert_eq!(more, given.detail.as_deref());
    }
    assert_eq!(response["questionnaire"], of("Questionnaire")[0]["url"]);
    let consent = of("Consent")[0];
    let signed = data_encoding::BASE64.decode(consent["sourceAttachment"]["data"].as_str().unwrap().as_bytes());
    assert_eq!(String::from_utf8(signed.unwrap()).unwrap(), client.consents[0].text);
    let agreed = consent["provision"]["provision"].as_array().unwrap().iter().map(|one| one["type"].as_str().unwrap());
    assert_eq!(agreed.collect::<Vec<_>>(), ["permit", "deny"]);
    let status: Vec<_> = of("Procedure").into_iter().map(|one| one["status"].as_str().unwrap()).collect();
    assert_eq!(status, ["entered-in-error", "completed"], "a corrected record and the one that stands");
    let newest = of("Procedure")[1];
    assert_eq!(newest["usedCode"][2]["text"], "tint: Marrow Tint 3, batch MT3-0412, use by 2026-12-31");
    assert_eq!(newest["complication"][0]["text"], "mild: slight redness of the right lid");
}

#[test]
fn a_record_with_next_to_nothing_is_one_too_and_the_reader_does_refuse() {
    let mut client = sample::client(1);
    client.person.birth_date = None;
    client.person.email = None;
    client.person.phone = None;
    client.person.address = Some("  ".to_owned());
    client.answers[0].answers.clear();
    client.consents[0].ticks.clear();
    client.consents[0].typed_name = String::new();
    for treatment in &mut client.visits[0].treatments {
        treatment.ended_at = None;
        treatment.products.clear();
        treatment.steps.clear();
        (treatment.notes, treatment.outcome, treatment.client_comment) = (Some(String::new()), None, None);
    }
    client.visits[0].room = None;
    client.reactions.clear();
    let bare = bundle(&client);
    read(&bare).unwrap();
    client.visits.clear();
    client.consents.clear();
    client.answers.clear();
    read(&bundle(&client)).unwrap();
    let wrong = bare.replace("\"active\"", "17");
    assert!(wrong != bare && read(&wrong).is_err());
}
