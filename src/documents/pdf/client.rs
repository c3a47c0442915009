//! What stands in a client's record, in which order and words.

use time::macros::format_description;
use time::{Date, PrimitiveDateTime};

use super::flow::Flow;
use super::style::{BODY, DENSE, SMALL, STRONG};
use crate::documents::record::{
    Answer, AnswerSet, ClientRecord, Consent, ExportHead, Guardian, Moment, ProductUse, Reaction, Readiness, Scope,
    SkinTest, Treatment, Visit,
};

const CAUTION: &str = "Read with care. This is what the studio recorded at the time; it is not medical advice. A skin test \
     without a reaction does not rule out a later one, and a verdict of “clear” is a rule's outcome, not a promise. \
     Where this paper and a product label, the insurer's terms, local law or a clinician differ, they go first.";

pub(super) fn write(flow: &mut Flow, head: &ExportHead, client: &ClientRecord) {
    opening(flow, head, client);
    overview(flow, client);
    section(flow, "Health answers", &client.answers, answers);
    section(flow, "Skin tests", &client.skin_tests, skin_test);
    section(flow, "Consents", &client.consents, consent);
    section(flow, "Visits and treatments", &client.visits, visit);
    section(flow, "Reactions", &client.reactions, reaction);
    letters(flow, client);
    audit(flow, client);
}

fn section<T>(flow: &mut Flow, title: &str, entries: &[T], entry: fn(&mut Flow, &T)) {
    flow.heading(2, title);
    if entries.is_empty() {
        flow.para("None on file.", BODY);
    }
    for one in entries {
        entry(flow, one);
    }
}

fn opening(flow: &mut Flow, head: &ExportHead, client: &ClientRecord) {
    let person = &client.person;
    flow.para(&format!("{}  ·  {}", head.studio.name, one_line(&head.studio.address)), SMALL);
    flow.gap(14.0);
    flow.heading(1, if person.name.trim().is_empty() { "(no name)" } else { &person.name });
    flow.para("Client record", BODY);
    flow.gap(6.0);
    flow.facts(
        "Who the client is",
        &[
            ("Date of birth", person.birth_date.map(day).unwrap_or_default()),
            ("Mail", text(&person.email)),
            ("Phone", text(&person.phone)),
            ("Address", person.address.as_deref().map(one_line).unwrap_or_default()),
            ("Guardian", text(&person.guardian)),
            ("Known since", day(person.since.local.date())),
            ("Record", client.id.to_string()),
        ],
    );
    flow.gap(4.0);
    flow.facts(
        "Where this paper comes from",
        &[
            ("Written", moment(head.at)),
            ("For", format!("{}: {}", head.by, head.why)),
            ("Covers", scope(&head.scope)),
            ("Times", format!("as the clock in {} showed them; UTC in brackets", head.studio.zone)),
            ("Export", format!("{}, by {}", head.id, head.program)),
        ],
    );
    flow.gap(6.0);
    flow.panel(CAUTION);
}

fn scope(scope: &Scope) -> String {
    match scope {
        Scope::Client { .. } => "this client".to_owned(),
        Scope::Days { from, to } => format!("clients with a visit from {} to {}", day(*from), day(*to)),
        Scope::Everyone => "all clients".to_owned(),
    }
}

fn overview(flow: &mut Flow, client: &ClientRecord) {
    if client.visits.is_empty() {
        return;
    }
    flow.heading(2, "Overview");
    let row = |v: &Visit| {
        let verdict = v.readiness.as_ref().map(|r| r.verdict.clone()).unwrap_or_default();
        vec![civil(v.starts.local), v.service.clone(), v.practitioner.clone(), v.state.clone(), verdict]
    };
    let rows: Vec<_> = client.visits.iter().map(row).collect();
    flow.table(
        "All visits",
        &["When", "Service", "Practitioner", "State", "Verdict at start"],
        &[1.5, 1.6, 1.3, 0.9, 1.1],
        &rows,
    );
}

fn answers(flow: &mut Flow, set: &AnswerSet) {
    flow.heading(3, &format!("Given {}", moment(set.given_at)));
    let mut said = format!("By {}. Questions version {}, SHA-256 {}.", set.given_by, set.version, set.hash);
    if let Some(replaced) = &set.replaces {
        said.push_str(&format!(" Corrects {replaced}."));
    }
    flow.para(&said, SMALL);
    questions(flow, "Questions and answers", &set.answers);
}

fn questions(flow: &mut Flow, title: &str, answers: &[Answer]) {
    let row = |a: &Answer| {
        let answer = match &a.detail {
            Some(detail) => format!("{}\n{detail}", a.answer),
            None => a.answer.clone(),
        };
        vec![a.question.clone(), answer]
    };
    let rows: Vec<_> = answers.iter().map(row).collect();
    flow.table(title, &["Question", "Answer"], &[1.7, 1.0], &rows);
}

fn skin_test(flow: &mut Flow, test: &SkinTest) {
    flow.heading(3, &format!("{}, applied {}", test.product, moment(test.applied_at)));
    flow.facts(
        "The skin test",
        &[
            ("Applied by", test.applied_by.clone()),
            ("Batch", text(&test.batch)),
            ("Site", test.site.clone()),
            ("Counts until", test.valid_until.map(day).unwrap_or_default()),
            ("But", text(&test.caveat)),
        ],
    );
    if test.readings.is_empty() {
        flow.para("Not read.", STRONG);
        return;
    }
    let row = |r: &crate::documents::record::Reading| vec![moment(r.at), r.by.clone(), r.result.clone(), text(&r.note)];
    let rows: Vec<_> = test.readings.iter().map(row).collect();
    flow.table("Readings", &["Read", "By", "Result", "Seen"], &[1.7, 1.0, 0.9, 1.4], &rows);
}

fn consent(flow: &mut Flow, consent: &Consent) {
    flow.heading(3, &consent.title);
    flow.para(&format!("Text version {}, SHA-256 {}.", consent.version, consent.hash), SMALL);
    flow.para(&consent.text, BODY);
    flow.gap(3.0);
    if !consent.ticks.is_empty() {
        let row = |t: &crate::documents::record::Tick| {
            let answer = if t.ticked { "ticked" } else { "not ticked" };
            let back = t.taken_back_at.map(|at| format!(", taken back {}", moment(at)));
            vec![t.statement.clone(), format!("{answer}{}", back.unwrap_or_default())]
        };
        let rows: Vec<_> = consent.ticks.iter().map(row).collect();
        flow.table("Statements", &["Statement", "Answer"], &[4.0, 1.0], &rows);
    }
    flow.need(120.0);
    flow.facts(
        "Signature",
        &[
            ("Signed", moment(consent.signed_at)),
            ("By", consent.signed_by.clone()),
            ("Typed name", consent.typed_name.clone()),
            ("Drawn signature", if consent.drawing.is_some() { String::new() } else { "none".to_owned() }),
            ("Withdrawn", consent.withdrawn_at.map(moment).unwrap_or_default()),
            ("On answers", consent.answers.as_ref().map(ToString::to_string).unwrap_or_default()),
            ("Guardian", consent.guardian.as_ref().map(guardian).unwrap_or_default()),
        ],
    );
    let guardian = consent.guardian.as_ref().and_then(|g| Some((g.drawing.as_ref()?, &g.name)));
    for (drawing, name) in consent.drawing.as_ref().map(|own| (own, &consent.typed_name)).into_iter().chain(guardian) {
        flow.signature(drawing, &format!("Drawn signature over the typed name {name}"));
    }
}

fn guardian(guardian: &Guardian) -> String {
    let present = if guardian.present { "present, or promised to be" } else { "not present" };
    format!("{} ({}), {present}", guardian.name, guardian.relation)
}

fn visit(flow: &mut Flow, visit: &Visit) {
    flow.heading(3, &format!("{}: {}", civil(visit.starts.local), visit.service));
    flow.facts(
        "The visit",
        &[
            ("Booked for", format!("{} to {}", moment(visit.starts), time_of(visit.ends.local))),
            ("Practitioner", visit.practitioner.clone()),
            ("Room", text(&visit.room)),
            ("Booked", format!("{}, by {}", moment(visit.booked_at), visit.booked_by)),
            ("State", visit.state.clone()),
            ("Visit", visit.id.to_string()),
        ],
    );
    if let Some(readiness) = &visit.readiness {
        verdict(flow, readiness);
    }
    for set_aside in &visit.overrides {
        let (at, by) = (moment(set_aside.at), &set_aside.by);
        flow.panel(&format!("Started against “{}” by {by}, {at}.\nReason: {}", set_aside.verdict, set_aside.reason));
    }
    for one in &visit.treatments {
        treatment(flow, one, one.version > 1 || visit.treatments.len() > 1);
    }
}

fn verdict(flow: &mut Flow, readiness: &Readiness) {
    flow.facts(
        "Readiness",
        &[
            ("Verdict", format!("{}, drawn {}", readiness.verdict, moment(readiness.at))),
            ("Reasons", readiness.reasons.join("\n")),
            ("Rules", format!("version {}\nSHA-256 {}", readiness.rules_version, readiness.rules_hash)),
        ],
    );
}

fn treatment(flow: &mut Flow, t: &Treatment, several: bool) {
    flow.need(60.0);
    let title = if several { format!("Treatment, version {}", t.version) } else { "Treatment".to_owned() };
    flow.para(&title, STRONG);
    let ended = t.ended_at.map(|at| format!(" to {}", time_of(at.local))).unwrap_or_default();
    let late = if t.is_late() { "; late entry, after the record was closed at the end of the day" } else { "" };
    flow.facts(
        "The treatment",
        &[
            ("Written", format!("{}, by {}{late}", moment(t.written_at), t.written_by)),
            ("Why corrected", text(&t.why_corrected)),
            ("Treated by", t.practitioner.clone()),
            ("Certificate", text(&t.certificate)),
            ("Done", t.service.clone()),
            ("From", format!("{}{ended}", moment(t.started_at))),
            ("Shield", text(&t.shield)),
            ("Shade", text(&t.shade)),
        ],
    );
    if !t.products.is_empty() {
        products(flow, &t.products);
    }
    if !t.steps.is_empty() {
        let rows: Vec<_> = t.steps.iter().map(|s| vec![s.name.clone(), format!("{} min", s.minutes)]).collect();
        flow.table("Minutes by step", &["Step", "Time"], &[3.0, 1.0], &rows);
    }
    if !t.checks.is_empty() {
        questions(flow, "Asked on the day", &t.checks);
    }
    flow.facts(
        "How it went",
        &[
            ("Outcome", text(&t.outcome)),
            ("Client's words", text(&t.client_comment)),
            ("Notes", text(&t.notes)),
            ("Aftercare given", t.aftercare.as_ref().map(|a| a.given.clone()).unwrap_or_default()),
            ("Aftercare text", t.aftercare.as_ref().map(|a| a.text.clone()).unwrap_or_default()),
            (
                "Aftercare version",
                t.aftercare
                    .as_ref()
                    .filter(|a| !a.version.is_empty())
                    .map(|a| format!("{}\nSHA-256 {}", a.version, a.hash))
                    .unwrap_or_default(),
            ),
        ],
    );
}

fn products(flow: &mut Flow, products: &[ProductUse]) {
    let row = |p: &ProductUse| {
        vec![p.step.clone(), p.product.clone(), text(&p.batch), p.expires.map(day).unwrap_or_default()]
    };
    let rows: Vec<_> = products.iter().map(row).collect();
    flow.table("Products", &["Used for", "Product", "Batch", "Use by"], &[1.2, 1.8, 1.1, 1.1], &rows);
}

fn reaction(flow: &mut Flow, reaction: &Reaction) {
    flow.heading(3, &format!("Reported {}", moment(reaction.reported_at)));
    flow.facts(
        "The reaction",
        &[
            ("Reported by", reaction.reported_by.clone()),
            ("After visit", reaction.visit.as_ref().map(ToString::to_string).unwrap_or_default()),
            ("Began", text(&reaction.began)),
            ("Severity", reaction.severity.clone()),
            ("Signs", reaction.signs.clone()),
            ("Done and advised", reaction.action.clone()),
            ("Outcome", text(&reaction.outcome)),
            ("Closed", reaction.closed_at.map_or_else(|| "still open".to_owned(), moment)),
        ],
    );
    if !reaction.products.is_empty() {
        products(flow, &reaction.products);
    }
}

fn letters(flow: &mut Flow, client: &ClientRecord) {
    let row = |l: &crate::documents::record::Letter| {
        let until = l.valid_until.map(day).unwrap_or_default();
        vec![
            day(l.dated),
            l.from.clone(),
            l.about.clone(),
            l.says.clone(),
            until,
            format!("{}, {}", civil(l.recorded_at.local), l.recorded_by),
        ]
    };
    flow.heading(2, "Letters from clinicians");
    if client.letters.is_empty() {
        flow.para("None on file.", BODY);
        return;
    }
    let rows: Vec<_> = client.letters.iter().map(row).collect();
    let header = ["Dated", "From", "About", "Says", "Counts until", "Put on file"];
    flow.table_in(DENSE, "Letters", &header, &[1.0, 1.1, 1.2, 1.6, 1.0, 1.3], &rows);
}

fn audit(flow: &mut Flow, client: &ClientRecord) {
    flow.heading(2, "Who saw or changed what");
    if client.audit.is_empty() {
        flow.para("None on file.", BODY);
        return;
    }
    let row = |a: &crate::documents::record::AuditRow| {
        let hash: String = a.hash.chars().take(12).collect();
        vec![a.number.to_string(), moment(a.at), a.who.clone(), a.what.clone(), a.object.clone(), hash]
    };
    let rows: Vec<_> = client.audit.iter().map(row).collect();
    let header = ["No.", "When", "Who", "What", "On what", "Hash begins"];
    flow.table_in(DENSE, "The studio's log about this client", &header, &[0.5, 2.0, 1.5, 1.3, 1.3, 1.1], &rows);
}

fn text(value: &Option<String>) -> String {
    value.clone().unwrap_or_default()
}

fn one_line(value: &str) -> String {
    value.lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join(", ")
}

fn day(day: Date) -> String {
    day.format(format_description!("[day padding:none] [month repr:long] [year]")).unwrap_or_default()
}

fn time_of(at: PrimitiveDateTime) -> String {
    at.format(format_description!("[hour]:[minute]")).unwrap_or_default()
}

fn civil(at: PrimitiveDateTime) -> String {
    format!("{}, {}", day(at.date()), time_of(at))
}

/// Civil time, with the instant in brackets; its day only where that is another one.
fn moment(at: Moment) -> String {
    let utc = at.utc.to_offset(time::UtcOffset::UTC);
    let utc = PrimitiveDateTime::new(utc.date(), utc.time());
    let bracket = if utc.date() == at.local.date() { time_of(utc) } else { civil(utc) };
    format!("{} ({bracket} UTC)", civil(at.local))
}
