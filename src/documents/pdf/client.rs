//! What stands in a client's record, in which order and words.

use super::flow::Flow;
use super::style::{BODY, DENSE, SMALL, STRONG};
use super::times::{by, civil, moment, one_line, span, text};
use super::visit::{around, products};
use crate::documents::record::{
    Answer, AnswerSet, ClientRecord, Consent, ExportHead, Guardian, PastVisit, Reaction, Readiness, Scope, SkinTest,
    Treatment, Visit,
};
use crate::language::date as day;
use crate::{msg, t, tc, tf};

const CAUTION: &str =
    msg("Read with care. This is what the studio recorded at the time; it is not medical advice. A skin test \
     without a reaction does not rule out a later one, and a verdict of “clear” is a rule's outcome, not a promise. \
     Where this paper and a product label, the insurer's terms, local law or a clinician differ, they go first.");

pub(super) fn write(flow: &mut Flow<'_>, head: &ExportHead, client: &ClientRecord) {
    opening(flow, head, client);
    overview(flow, client);
    section(flow, t("Health answers"), &client.answers, answers);
    section(flow, t("Skin tests"), &client.skin_tests, skin_test);
    section(flow, t("Consents"), &client.consents, consent);
    section(flow, t("Visits and treatments"), &client.visits, visit);
    past_visits(flow, client);
    section(flow, t("Reactions"), &client.reactions, reaction);
    letters(flow, client);
    audit(flow, client);
}

fn section<T>(flow: &mut Flow<'_>, title: &str, entries: &[T], entry: fn(&mut Flow<'_>, &T)) {
    flow.heading(2, title);
    if entries.is_empty() {
        flow.para(t("None on file."), BODY);
    }
    for one in entries {
        entry(flow, one);
    }
}

fn opening(flow: &mut Flow<'_>, head: &ExportHead, client: &ClientRecord) {
    let person = &client.person;
    flow.para(&format!("{}  ·  {}", head.studio.name, one_line(&head.studio.address)), SMALL);
    flow.gap(14.0);
    flow.heading(1, if person.name.trim().is_empty() { t("(no name)") } else { &person.name });
    flow.para(t("Client record"), BODY);
    flow.gap(6.0);
    flow.facts(
        t("Who the client is"),
        &[
            (t("Date of birth"), person.birth_date.map(day).unwrap_or_default()),
            (t("Mail"), text(&person.email)),
            (t("Phone"), text(&person.phone)),
            (t("Address"), person.address.as_deref().map(one_line).unwrap_or_default()),
            (t("Guardian"), text(&person.guardian)),
            (t("Known since"), day(person.since.local.date())),
            (tc("a paper", "Record"), client.id.to_string()),
        ],
    );
    flow.gap(4.0);
    flow.facts(
        t("Where this paper comes from"),
        &[
            (tc("a paper", "Written"), moment(head.at)),
            (tc("a paper", "For"), format!("{}: {}", head.by, head.why)),
            (t("Covers"), scope(head)),
            (
                tc("a paper", "Times"),
                tf("as the clock in {zone} showed them; UTC in brackets").with("zone", &head.studio.zone).to_string(),
            ),
            (t("Export"), tf("{what}, by {who}").with("what", &head.id).with("who", &head.program).to_string()),
        ],
    );
    flow.gap(6.0);
    flow.panel(t(CAUTION));
}

fn scope(head: &ExportHead) -> String {
    let covers = match &head.scope {
        Scope::Client { .. } => t("this client").to_owned(),
        Scope::Days { from, to } => {
            tf("clients with a visit from {from} to {to}").with("from", day(*from)).with("to", day(*to)).to_string()
        }
        Scope::Everyone => t("all clients").to_owned(),
    };
    match head.locked_away {
        0 => covers,
        n => {
            tf("{clients}, but for {n} whose records are locked away").with("clients", covers).with("n", n).to_string()
        }
    }
}

fn overview(flow: &mut Flow<'_>, client: &ClientRecord) {
    if client.visits.is_empty() {
        return;
    }
    flow.heading(2, t("Overview"));
    let row = |v: &Visit| {
        let verdict = v.readiness.as_ref().map(|r| r.verdict.clone()).unwrap_or_default();
        vec![civil(v.starts.local), v.service.clone(), v.practitioner.clone(), v.state.clone(), verdict]
    };
    let rows: Vec<_> = client.visits.iter().map(row).collect();
    flow.table(
        t("All visits"),
        &[t("When"), t("Service"), t("Practitioner"), tc("a paper", "State"), t("Verdict at start")],
        &[1.5, 1.6, 1.3, 0.9, 1.1],
        &rows,
    );
}

fn answers(flow: &mut Flow<'_>, set: &AnswerSet) {
    flow.heading(3, &tf("Given {when}").with("when", moment(set.given_at)).to_string());
    let said = match &set.replaces {
        Some(replaced) => {
            tf("By {who}. Questions version {version}, SHA-256 {hash}. Corrects {replaced}.").with("replaced", replaced)
        }
        None => tf("By {who}. Questions version {version}, SHA-256 {hash}."),
    };
    let said = said.with("who", &set.given_by).with("version", &set.version).with("hash", &set.hash);
    flow.para(&said.to_string(), SMALL);
    questions(flow, t("Questions and answers"), &set.answers);
}

fn questions(flow: &mut Flow<'_>, title: &str, answers: &[Answer]) {
    let row = |a: &Answer| {
        let answer = match &a.detail {
            Some(detail) => format!("{}\n{detail}", a.answer),
            None => a.answer.clone(),
        };
        vec![a.question.clone(), answer]
    };
    let rows: Vec<_> = answers.iter().map(row).collect();
    flow.table(title, &[t("Question"), t("Answer")], &[1.7, 1.0], &rows);
}

fn skin_test(flow: &mut Flow<'_>, test: &SkinTest) {
    let title = tf("{product}, applied {when}").with("product", &test.product).with("when", moment(test.applied_at));
    flow.heading(3, &title.to_string());
    flow.facts(
        t("The skin test"),
        &[
            (t("Applied by"), test.applied_by.clone()),
            (t("Batch"), text(&test.batch)),
            (tc("a paper", "Site"), test.site.clone()),
            (t("Counts from"), test.counts_from.map(day).unwrap_or_default()),
            (t("Counts until"), test.valid_until.map(day).unwrap_or_default()),
            (tc("a paper", "But"), text(&test.caveat)),
        ],
    );
    if test.readings.is_empty() {
        flow.para(t("Not read."), STRONG);
        return;
    }
    let row = |r: &crate::documents::record::Reading| vec![moment(r.at), r.by.clone(), r.result.clone(), text(&r.note)];
    let rows: Vec<_> = test.readings.iter().map(row).collect();
    flow.table(
        t("Readings"),
        &[tc("a paper", "Read"), tc("a paper", "By"), t("Result"), tc("a paper", "Seen")],
        &[1.7, 1.0, 0.9, 1.4],
        &rows,
    );
}

fn consent(flow: &mut Flow<'_>, consent: &Consent) {
    flow.heading(3, &consent.title);
    let version = tf("Text version {version}, SHA-256 {hash}.").with("version", &consent.version);
    flow.para(&version.with("hash", &consent.hash).to_string(), SMALL);
    flow.para(&consent.text, BODY);
    flow.gap(3.0);
    if !consent.ticks.is_empty() {
        let row = |tick: &crate::documents::record::Tick| {
            let answer = match (tick.ticked, tick.taken_back_at) {
                (true, None) => t("ticked").to_owned(),
                (true, Some(at)) => tf("ticked, taken back {when}").with("when", moment(at)).to_string(),
                (false, None) => t("not ticked").to_owned(),
                (false, Some(at)) => tf("not ticked, taken back {when}").with("when", moment(at)).to_string(),
            };
            vec![tick.statement.clone(), answer]
        };
        let rows: Vec<_> = consent.ticks.iter().map(row).collect();
        flow.table(t("Statements"), &[t("Statement"), t("Answer")], &[4.0, 1.0], &rows);
    }
    flow.need(120.0);
    flow.facts(
        t("Signature"),
        &[
            (tc("a paper", "Signed"), moment(consent.signed_at)),
            (tc("a paper", "By"), consent.signed_by.clone()),
            (t("Typed name"), consent.typed_name.clone()),
            (
                t("Drawn signature"),
                if consent.drawing.is_some() { String::new() } else { tc("a paper", "none").to_owned() },
            ),
            (t("Withdrawn"), consent.withdrawn_at.map(moment).unwrap_or_default()),
            (t("On answers"), consent.answers.as_ref().map(ToString::to_string).unwrap_or_default()),
            (t("Guardian"), consent.guardian.as_ref().map(guardian).unwrap_or_default()),
        ],
    );
    let guardian = consent.guardian.as_ref().and_then(|g| Some((g.drawing.as_ref()?, &g.name)));
    for (drawing, name) in consent.drawing.as_ref().map(|own| (own, &consent.typed_name)).into_iter().chain(guardian) {
        flow.signature(drawing, &tf("Drawn signature over the typed name {name}").with("name", name).to_string());
    }
}

fn guardian(guardian: &Guardian) -> String {
    let said = if guardian.present {
        tf("{name} ({relation}), present, or promised to be")
    } else {
        tf("{name} ({relation}), not present")
    };
    said.with("name", &guardian.name).with("relation", &guardian.relation).to_string()
}

fn visit(flow: &mut Flow<'_>, visit: &Visit) {
    flow.heading(3, &format!("{}: {}", civil(visit.starts.local), visit.service));
    flow.facts(
        t("The visit"),
        &[
            (t("Booked for"), span(visit.starts, Some(visit.ends))),
            (t("Practitioner"), visit.practitioner.clone()),
            (t("Room"), text(&visit.room)),
            (tc("a paper", "Booked"), by(visit.booked_at, &visit.booked_by)),
            (tc("a paper", "State"), visit.state.clone()),
            (tc("a paper", "Visit"), visit.id.to_string()),
        ],
    );
    if let Some(readiness) = &visit.readiness {
        verdict(flow, readiness);
    }
    for set_aside in &visit.overrides {
        let said =
            tf("Started against “{verdict}” by {who}, {when}.\nReason: {why}").with("verdict", &set_aside.verdict);
        let said = said.with("who", &set_aside.by).with("when", moment(set_aside.at)).with("why", &set_aside.reason);
        flow.panel(&said.to_string());
    }
    around(flow, visit);
    for one in &visit.treatments {
        treatment(flow, one, one.version > 1 || visit.treatments.len() > 1);
    }
}

fn past_visits(flow: &mut Flow<'_>, client: &ClientRecord) {
    if client.past_visits.is_empty() {
        return;
    }
    flow.heading(2, t("Visits from before"));
    let caution = t(
        "What the studio's earlier papers or tables told. Such a visit shows a day and a service, and proves no more.",
    );
    flow.para(caution, BODY);
    let row = |v: &PastVisit| {
        let from = tf("taken over from elsewhere on {day}, not recorded here");
        vec![
            day(v.day),
            v.service.clone(),
            text(&v.note),
            from.with("day", day(v.taken_over_at.local.date())).to_string(),
        ]
    };
    let rows: Vec<_> = client.past_visits.iter().map(row).collect();
    let header = [t("Day"), t("Service"), t("Note"), t("Where it comes from")];
    flow.table(t("Visits from before"), &header, &[1.1, 1.3, 1.5, 1.7], &rows);
}

fn verdict(flow: &mut Flow<'_>, readiness: &Readiness) {
    let drawn = tf("{verdict}, drawn {when}").with("verdict", &readiness.verdict).with("when", moment(readiness.at));
    let rules = tf("version {version}\nSHA-256 {hash}").with("version", &readiness.rules_version);
    flow.facts(
        t("Readiness"),
        &[
            (t("Verdict"), drawn.to_string()),
            (t("Reasons"), readiness.reasons.join("\n")),
            (t("Rules"), rules.with("hash", &readiness.rules_hash).to_string()),
        ],
    );
}

fn treatment(flow: &mut Flow<'_>, one: &Treatment, several: bool) {
    flow.need(60.0);
    let title = if several {
        tf("Treatment, version {version}").with("version", one.version).to_string()
    } else {
        t("Treatment").to_owned()
    };
    flow.para(&title, STRONG);
    let written = if one.is_late() {
        let late = tf("{when}, by {who}; late entry, after the record was closed at the end of the day");
        late.with("when", moment(one.written_at)).with("who", &one.written_by).to_string()
    } else {
        by(one.written_at, &one.written_by)
    };
    flow.facts(
        t("The treatment"),
        &[
            (tc("a paper", "Written"), written),
            (t("Why corrected"), text(&one.why_corrected)),
            (t("Treated by"), one.practitioner.clone()),
            (t("Certificate"), text(&one.certificate)),
            (tc("a paper", "Done"), one.service.clone()),
            (tc("a paper", "From"), span(one.started_at, one.ended_at)),
            (t("Shield"), text(&one.shield)),
            (t("Shade"), text(&one.shade)),
        ],
    );
    if !one.products.is_empty() {
        products(flow, &one.products);
    }
    if !one.steps.is_empty() {
        let rows: Vec<_> =
            one.steps.iter().map(|s| vec![s.name.clone(), tf("{n} min").with("n", s.minutes).to_string()]).collect();
        flow.table(t("Minutes by step"), &[t("Step"), t("Time")], &[3.0, 1.0], &rows);
    }
    if !one.checks.is_empty() {
        questions(flow, t("Asked on the day"), &one.checks);
    }
    flow.facts(
        t("How it went"),
        &[
            (t("Outcome"), text(&one.outcome)),
            (t("Client's words"), text(&one.client_comment)),
            (t("Notes"), text(&one.notes)),
            (t("Aftercare given"), one.aftercare.as_ref().map(|a| a.given.clone()).unwrap_or_default()),
            (t("Aftercare text"), one.aftercare.as_ref().map(|a| a.text.clone()).unwrap_or_default()),
            (
                t("Aftercare version"),
                one.aftercare
                    .as_ref()
                    .filter(|a| !a.version.is_empty())
                    .map(|a| format!("{}\nSHA-256 {}", a.version, a.hash))
                    .unwrap_or_default(),
            ),
        ],
    );
}

fn reaction(flow: &mut Flow<'_>, reaction: &Reaction) {
    flow.heading(3, &tf("Reported {when}").with("when", moment(reaction.reported_at)).to_string());
    flow.facts(
        t("The reaction"),
        &[
            (t("Reported by"), reaction.reported_by.clone()),
            (t("After visit"), reaction.visit.as_ref().map(ToString::to_string).unwrap_or_default()),
            (tc("a paper", "Began"), text(&reaction.began)),
            (t("Severity"), reaction.severity.clone()),
            (t("Signs"), reaction.signs.clone()),
            (t("Done and advised"), reaction.action.clone()),
            (t("Outcome"), text(&reaction.outcome)),
            (tc("a paper", "Closed"), reaction.closed_at.map_or_else(|| t("still open").to_owned(), moment)),
        ],
    );
    if !reaction.products.is_empty() {
        products(flow, &reaction.products);
    }
}

fn letters(flow: &mut Flow<'_>, client: &ClientRecord) {
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
    flow.heading(2, t("Letters from clinicians"));
    if client.letters.is_empty() {
        flow.para(t("None on file."), BODY);
        return;
    }
    let rows: Vec<_> = client.letters.iter().map(row).collect();
    let header = [
        t("Dated"),
        tc("a paper", "From"),
        tc("a paper", "About"),
        tc("a paper", "Says"),
        t("Counts until"),
        t("Put on file"),
    ];
    flow.table_in(DENSE, tc("a paper", "Letters"), &header, &[1.0, 1.1, 1.2, 1.6, 1.0, 1.3], &rows);
}

fn audit(flow: &mut Flow<'_>, client: &ClientRecord) {
    flow.heading(2, t("Who saw or changed what"));
    if client.audit.is_empty() {
        flow.para(t("None on file."), BODY);
        return;
    }
    let row = |a: &crate::documents::record::AuditRow| {
        let hash: String = a.hash.chars().take(12).collect();
        vec![a.number.to_string(), moment(a.at), a.who.clone(), a.what.clone(), a.object.clone(), hash]
    };
    let rows: Vec<_> = client.audit.iter().map(row).collect();
    let header = [t("No."), t("When"), tc("a paper", "Who"), tc("a paper", "What"), t("On what"), t("Hash begins")];
    flow.table_in(DENSE, t("The studio's log about this client"), &header, &[0.5, 2.0, 1.5, 1.3, 1.3, 1.1], &rows);
}
