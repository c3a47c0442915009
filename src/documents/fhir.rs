//! A client's forms and treatments as HL7 FHIR R4B (4.3.0, <https://hl7.org/fhir/R4B/>): one bundle of kind `collection`
//! with `Patient`, `Questionnaire`, `QuestionnaireResponse`, `Consent` and `Procedure`.
//!
//! What the standard has no place for stands in words in the resource; `record.json` has all of it. Names of services,
//! products and results are the studio's own words, so they are texts and not codes; texts are in the language that the
//! studio speaks.

use serde_json::{Value, json};
use time::format_description::well_known::Rfc3339;

use super::record::{
    Answer, AnswerSet, ClientRecord, Consent, ExportHead, Moment, ProductUse, Reaction, Treatment, Visit,
};
use crate::tf;

/// The bundle.
pub(super) fn bundle(head: &ExportHead, client: &ClientRecord) -> Value {
    let mut all = vec![patient(client)];
    for set in &client.answers {
        all.push(questionnaire(set));
        all.push(response(client, set));
    }
    all.extend(client.consents.iter().map(|one| consent(head, client, one)));
    for visit in &client.visits {
        let reactions: Vec<&Reaction> =
            client.reactions.iter().filter(|one| one.visit.as_ref() == Some(&visit.id)).collect();
        let newest = visit.treatments.iter().map(|one| one.version).max();
        for one in &visit.treatments {
            all.push(procedure(client, visit, one, newest == Some(one.version), &reactions));
        }
    }
    let entries = all.into_iter().map(|resource| {
        let word = |name| resource.get(name).and_then(Value::as_str).unwrap_or_default();
        let (kind, id) = (word("resourceType"), word("id"));
        let url = format!("urn:palpebra:{}:{}", kind.to_lowercase(), id);
        json!({ "fullUrl": url, "resource": resource })
    });
    json!({
        "resourceType": "Bundle",
        "id": format!("{}-{}", head.id, client.id),
        "type": "collection",
        "timestamp": instant(head.at),
        "entry": entries.collect::<Vec<_>>(),
    })
}

fn instant(at: Moment) -> String {
    at.utc.format(&Rfc3339).unwrap_or_default()
}

/// Words that may be empty: FHIR knows no empty text.
fn text(words: &str) -> Option<&str> {
    Some(words.trim()).filter(|words| !words.is_empty())
}

/// Without what is null, since FHIR knows no null either.
fn full(mut value: Value) -> Value {
    if let Value::Object(fields) = &mut value {
        fields.retain(|_, field| !field.is_null() && !field.as_array().is_some_and(Vec::is_empty));
    }
    value
}

fn subject(client: &ClientRecord) -> Value {
    json!({ "reference": format!("Patient/{}", client.id), "display": client.person.name })
}

fn patient(client: &ClientRecord) -> Value {
    let person = &client.person;
    let contact = |system: &str, value: &Option<String>| {
        value.as_deref().and_then(text).map(|value| json!({ "system": system, "value": value }))
    };
    let telecom: Vec<Value> =
        [contact("email", &person.email), contact("phone", &person.phone)].into_iter().flatten().collect();
    let address = person.address.as_deref().and_then(text).map(|address| json!([{ "text": address }]));
    full(json!({
        "resourceType": "Patient",
        "id": client.id.as_str(),
        "name": [{ "text": person.name }],
        "telecom": telecom,
        "birthDate": person.birth_date.map(|day| day.to_string()),
        "address": address,
    }))
}

/// What the client was asked, as it was put to her: another set may ask less.
fn questionnaire(set: &AnswerSet) -> Value {
    let item = |one: &Answer| {
        let more = one.detail.as_ref().map(|_| json!([{ "linkId": detail(one), "type": "text" }]));
        full(json!({ "linkId": one.key, "text": text(&one.question), "type": "string", "item": more }))
    };
    full(json!({
        "resourceType": "Questionnaire",
        "id": format!("asked-{}", set.id),
        "url": asked(set),
        "identifier": [{ "system": "urn:palpebra:sha256", "value": set.hash }],
        "version": set.version,
        "title": tf("Health questions, version {version}").with("version", &set.version).to_string(),
        "status": "active",
        "subjectType": ["Patient"],
        "item": set.answers.iter().map(item).collect::<Vec<_>>(),
    }))
}

fn asked(set: &AnswerSet) -> String {
    format!("urn:palpebra:questionnaire:asked-{}", set.id)
}

fn detail(one: &Answer) -> String {
    format!("{}.detail", one.key)
}

fn response(client: &ClientRecord, set: &AnswerSet) -> Value {
    let item = |one: &Answer| {
        let more = one.detail.as_deref().and_then(text);
        let more = more.map(|more| json!([{ "linkId": detail(one), "answer": [{ "valueString": more }] }]));
        let answer = text(&one.answer).map(|answer| json!([full(json!({ "valueString": answer, "item": more }))]));
        full(json!({ "linkId": one.key, "text": text(&one.question), "answer": answer }))
    };
    full(json!({
        "resourceType": "QuestionnaireResponse",
        "id": set.id.as_str(),
        "questionnaire": asked(set),
        "status": if set.replaces.is_some() { "amended" } else { "completed" },
        "subject": subject(client),
        "authored": instant(set.given_at),
        "author": { "display": set.given_by },
        "item": set.answers.iter().map(item).collect::<Vec<_>>(),
    }))
}

/// Scope and category are those of the standard's own code systems for a consent to treatment.
fn consent(head: &ExportHead, client: &ClientRecord, one: &Consent) -> Value {
    let statements = one.ticks.iter().filter_map(|tick| {
        let agreed = tick.ticked && tick.taken_back_at.is_none();
        let until = tick.taken_back_at.map(|at| json!({ "end": instant(at) }));
        let kind = if agreed { "permit" } else { "deny" };
        Some(full(json!({ "type": kind, "code": [{ "text": text(&tick.statement)? }], "period": until })))
    });
    let statements: Vec<Value> = statements.collect();
    let guardian = one.guardian.as_ref().map(|by| json!({ "display": format!("{} ({})", by.name, by.relation) }));
    let signed = text(&one.typed_name).map(|name| json!({ "display": name }));
    let signed: Vec<Value> = signed.into_iter().chain(guardian).collect();
    full(json!({
        "resourceType": "Consent",
        "id": one.id.as_str(),
        "identifier": [{ "system": "urn:palpebra:sha256", "value": one.hash }],
        "status": if one.withdrawn_at.is_some() { "inactive" } else { "active" },
        "scope": { "coding": [{ "system": "http://terminology.hl7.org/CodeSystem/consentscope", "code": "treatment" }] },
        "category": [{ "coding": [{ "system": "http://loinc.org", "code": "59284-0" }] }],
        "patient": subject(client),
        "dateTime": instant(one.signed_at),
        "performer": signed,
        "organization": [{ "display": head.studio.name }],
        "sourceAttachment": {
            "contentType": "text/plain; charset=utf-8",
            "data": data_encoding::BASE64.encode(one.text.as_bytes()),
            "title": text(&one.title),
        },
        "policyRule": { "text": tf("Version {version} of the studio's text").with("version", &one.version).to_string() },
        "provision": full(json!({ "type": "permit", "provision": statements })),
    }))
}

fn procedure(client: &ClientRecord, visit: &Visit, one: &Treatment, newest: bool, reactions: &[&Reaction]) -> Value {
    let words = |text: Option<&str>| text.map(|text| json!({ "text": text }));
    let performer = match &one.certificate {
        Some(number) => {
            tf("{name}, certificate {number}").with("name", &one.practitioner).with("number", number).to_string()
        }
        None => one.practitioner.clone(),
    };
    let steps = one.steps.iter().map(|step| format!("{}: {} min", step.name, step.minutes));
    let notes = [&one.notes, &one.client_comment, &one.why_corrected].into_iter().flatten().cloned();
    let notes = notes.chain(steps).filter_map(|note| text(&note).map(|note| json!({ "text": note })));
    let after = |reaction: &&Reaction| json!({ "text": format!("{}: {}", reaction.severity, reaction.signs) });
    full(json!({
        "resourceType": "Procedure",
        "id": format!("{}-{}", one.id, one.version),
        "status": if newest { "completed" } else { "entered-in-error" },
        "code": { "text": one.service },
        "subject": subject(client),
        "performedPeriod": full(json!({ "start": instant(one.started_at), "end": one.ended_at.map(instant) })),
        "recorder": { "display": one.written_by },
        "performer": [{ "actor": { "display": performer } }],
        "location": visit.room.as_deref().and_then(text).map(|room| json!({ "display": room })),
        "outcome": words(one.outcome.as_deref().and_then(text)),
        "complication": reactions.iter().map(after).collect::<Vec<_>>(),
        "note": notes.collect::<Vec<_>>(),
        "usedCode": one.products.iter().map(|used| json!({ "text": product(used) })).collect::<Vec<_>>(),
    }))
}

fn product(used: &ProductUse) -> String {
    let said = match (&used.batch, used.expires) {
        (Some(batch), Some(day)) => {
            tf("{step}: {product}, batch {batch}, use by {day}").with("batch", batch).with("day", day)
        }
        (Some(batch), None) => tf("{step}: {product}, batch {batch}").with("batch", batch),
        (None, Some(day)) => tf("{step}: {product}, use by {day}").with("day", day),
        (None, None) => tf("{step}: {product}"),
    };
    said.with("step", &used.step).with("product", &used.product).to_string()
}
