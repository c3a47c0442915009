//! The records of all clients as tables, and the dictionary that says what each column holds.

use time::macros::format_description;
use time::{Date, OffsetDateTime};

use super::csv::write_row;
use super::record::{ClientRecord, Moment, Paper, ProductUse, Tick, Treatment, Visit};

/// A column's name, what kind of value it holds, and what that means.
pub struct Column {
    /// Name in the header row.
    pub name: &'static str,
    /// Kind of value.
    pub kind: &'static str,
    /// Meaning.
    pub meaning: &'static str,
}

/// One table of the export, whose rows come from `T`.
pub struct Table<T = ClientRecord> {
    /// File name without its ending.
    pub name: &'static str,
    /// What one row stands for.
    pub meaning: &'static str,
    /// The columns, in order.
    pub columns: &'static [Column],
    rows: fn(&T) -> Vec<Vec<String>>,
}

impl<T> Table<T> {
    /// Appends the header row.
    pub fn write_header(&self, out: &mut Vec<u8>) {
        write_row(out, self.columns.iter().map(|column| column.name));
    }

    /// Appends the rows of a client, or of the paper.
    pub fn write_rows(&self, from: &T, out: &mut Vec<u8>) {
        for row in (self.rows)(from) {
            write_row(out, row.iter().map(String::as_str));
        }
    }

    fn write_meanings(&self, out: &mut Vec<u8>) {
        for column in self.columns {
            write_row(out, [self.name, self.meaning, column.name, column.kind, column.meaning]);
        }
    }
}

/// The dictionary of all columns as a CSV file; like the names of the columns, it is in English whatever the studio speaks.
pub fn dictionary() -> Vec<u8> {
    let mut out = Vec::new();
    write_row(&mut out, ["table", "one row is", "column", "kind", "meaning"]);
    for table in &TABLES {
        table.write_meanings(&mut out);
    }
    PAPERS.write_meanings(&mut out);
    out
}

const ID: &str = "public id";
const TEXT: &str = "text";
const DAY: &str = "day, YYYY-MM-DD";
const UTC: &str = "instant, RFC 3339 UTC";
const LOCAL: &str = "civil time in the studio's zone";
const NUMBER: &str = "whole number";
const YES_NO: &str = "yes or no";
const HASH: &str = "SHA-256, lower-case hex";

/// A table from its rows and, in one line each, its columns: name, kind, meaning, value. Every row begins with an id; that of
/// a client joins the tables.
macro_rules! table {
    ($name:literal, $meaning:literal, |$c:ident| $rows:expr, |$row:pat_param| {
        $($columns:tt)+
    }) => {
        table!($name, $meaning, "client", "the client; joins all tables", |$c| $rows, |$row| { $($columns)+ })
    };
    ($name:literal, $meaning:literal, $id:literal, $whose:literal, |$c:ident| $rows:expr, |$row:pat_param| {
        $($column:literal, $kind:ident, $said:literal, $value:expr;)+
    }) => {
        Table {
            name: $name,
            meaning: $meaning,
            columns: &[
                Column { name: $id, kind: ID, meaning: $whose },
                $(Column { name: $column, kind: $kind, meaning: $said }),+
            ],
            rows: |$c| $rows.map(|$row| vec![cell(&$c.id), $(cell(&$value)),+]).collect(),
        }
    };
}

/// Every table about clients, in the order of the dictionary.
pub static TABLES: [Table; 17] = [
    table!("clients", "a client", |c| std::iter::once(&c.person), |p| {
        "name", TEXT, "name as she wrote it", p.name;
        "birth_date", DAY, "date of birth", p.birth_date;
        "email", TEXT, "mail address", p.email;
        "phone", TEXT, "E.164; its + is guarded by an apostrophe", p.phone;
        "address", TEXT, "postal address", p.address;
        "guardian", TEXT, "who answers for a minor", p.guardian;
        "since_utc", UTC, "first known", p.since.utc;
    }),
    table!("answers", "an answer to a health question",
        |c| c.answers.iter().flat_map(|s| s.answers.iter().map(move |a| (s, a))), |(s, a)| {
        "answers", ID, "the set of answers", s.id;
        "given_utc", UTC, "when given", s.given_at.utc;
        "given_local", LOCAL, "when given", Civil(s.given_at);
        "given_by", TEXT, "by whom and how", s.given_by;
        "version", TEXT, "version of the questionnaire", s.version;
        "hash", HASH, "hash of the questionnaire's words", s.hash;
        "replaces", ID, "the set this one corrects", s.replaces;
        "key", TEXT, "lasting key of the question", a.key;
        "question", TEXT, "the question as put", a.question;
        "answer", TEXT, "the answer as given", a.answer;
        "detail", TEXT, "what she added", a.detail;
    }),
    table!("skin_tests", "a skin test", |c| c.skin_tests.iter(), |t| {
        "skin_test", ID, "the skin test", t.id;
        "applied_utc", UTC, "when applied", t.applied_at.utc;
        "applied_local", LOCAL, "when applied", Civil(t.applied_at);
        "applied_by", TEXT, "by whom", t.applied_by;
        "product", TEXT, "product applied", t.product;
        "batch", TEXT, "its batch number", t.batch;
        "site", TEXT, "where on the skin", t.site;
        "counts_from", DAY, "first day on which it counted", t.counts_from;
        "valid_until", DAY, "last day on which it counts or counted", t.valid_until;
        "caveat", TEXT, "why it does not count, or no longer and since when, or counts less", t.caveat;
    }),
    table!("skin_test_readings", "a reading of a skin test",
        |c| c.skin_tests.iter().flat_map(|t| t.readings.iter().map(move |r| (t, r))), |(t, r)| {
        "skin_test", ID, "the skin test", t.id;
        "read_utc", UTC, "when read", r.at.utc;
        "read_local", LOCAL, "when read", Civil(r.at);
        "read_by", TEXT, "by whom", r.by;
        "result", TEXT, "result", r.result;
        "note", TEXT, "what was seen", r.note;
    }),
    table!("consents", "a signed consent", |c| c.consents.iter(), |s| {
        "consent", ID, "the consent", s.id;
        "title", TEXT, "what it is about", s.title;
        "version", TEXT, "version of its text", s.version;
        "hash", HASH, "hash of its text", s.hash;
        "text", TEXT, "the text, whole", s.text;
        "answers", ID, "the set of answers that it was signed on", s.answers;
        "ticked", TEXT, "statements ticked, one a line", statements(&s.ticks, true);
        "not_ticked", TEXT, "statements left unticked, one a line", statements(&s.ticks, false);
        "taken_back", TEXT, "statements taken back since, each with when, in UTC, one a line", taken_back(&s.ticks);
        "typed_name", TEXT, "name typed under it", s.typed_name;
        "drawn", YES_NO, "whether a signature was drawn", s.drawing.is_some();
        "guardian", TEXT, "name typed by a parent or guardian", s.guardian.as_ref().map(|g| g.name.clone());
        "guardian_is", TEXT, "what the guardian is to the client", s.guardian.as_ref().map(|g| g.relation.clone());
        "guardian_present", YES_NO, "whether present, or promised to be", s.guardian.as_ref().map(|g| g.present);
        "signed_utc", UTC, "when signed", s.signed_at.utc;
        "signed_local", LOCAL, "when signed", Civil(s.signed_at);
        "signed_by", TEXT, "who signed and how", s.signed_by;
        "withdrawn_utc", UTC, "when withdrawn", s.withdrawn_at.map(|at| at.utc);
    }),
    table!("visits", "a visit", |c| c.visits.iter(), |v| {
        "visit", ID, "the visit", v.id;
        "service", TEXT, "service booked", v.service;
        "practitioner", TEXT, "who was to treat", v.practitioner;
        "room", TEXT, "where", v.room;
        "starts_utc", UTC, "booked start", v.starts.utc;
        "starts_local", LOCAL, "booked start", Civil(v.starts);
        "ends_utc", UTC, "booked end", v.ends.utc;
        "booked_utc", UTC, "when booked", v.booked_at.utc;
        "booked_by", TEXT, "by whom", v.booked_by;
        "state", TEXT, "how it stands", v.state;
        "verdict", TEXT, "readiness at the start", v.readiness.as_ref().map(|r| r.verdict.clone());
        "verdict_utc", UTC, "when that was drawn", v.readiness.as_ref().map(|r| r.at.utc);
        "rules_version", TEXT, "version of the rule table", v.readiness.as_ref().map(|r| r.rules_version.clone());
        "rules_hash", HASH, "hash of the rule table", v.readiness.as_ref().map(|r| r.rules_hash.clone());
        "reasons", TEXT, "each reason, one a line", v.readiness.as_ref().map(|r| r.reasons.join("\n"));
        "guardian", TEXT, "parent or guardian who was there", v.guardian_present.as_ref().map(|g| g.name.clone());
        "guardian_noted_by", TEXT, "who noted that", v.guardian_present.as_ref().map(|g| g.noted_by.clone());
        "guardian_noted_utc", UTC, "when noted", v.guardian_present.as_ref().map(|g| g.at.utc);
        "bottles", TEXT, "bottles checked at the chair of a treatment begun without a record, one a line", products(&v.bottles);
    }),
    table!("ticked", "a point that was ticked before a treatment began",
        |c| c.visits.iter().flat_map(|v| v.ticked.iter().map(move |t| (v, t))), |(v, t)| {
        "visit", ID, "the visit", v.id;
        "list", TEXT, "on_the_day or hygiene", t.list;
        "point", TEXT, "the point, in the words in which it stood there", t.point;
        "by", TEXT, "who ticked it", t.by;
        "at_utc", UTC, "when", t.at.utc;
        "at_local", LOCAL, "when", Civil(t.at);
    }),
    table!("past_visits", "a visit from before, taken over from elsewhere; nothing of it was recorded here",
        |c| c.past_visits.iter(), |v| {
        "past_visit", ID, "the visit from before", v.id;
        "day", DAY, "the day that was told", v.day;
        "service", TEXT, "the service that was told", v.service;
        "note", TEXT, "what else was told", v.note;
        "taken_over_utc", UTC, "when taken over", v.taken_over_at.utc;
        "taken_over_local", LOCAL, "when taken over", Civil(v.taken_over_at);
    }),
    table!("overrides", "a start against the verdict",
        |c| c.visits.iter().flat_map(|v| v.overrides.iter().map(move |o| (v, o))), |(v, o)| {
        "visit", ID, "the visit", v.id;
        "at_utc", UTC, "when", o.at.utc;
        "at_local", LOCAL, "when", Civil(o.at);
        "by", TEXT, "by whom", o.by;
        "verdict", TEXT, "the verdict set aside", o.verdict;
        "reason", TEXT, "why", o.reason;
    }),
    table!("treatments", "a version of a treatment record", |c| treatments(c), |(v, t)| {
        "visit", ID, "the visit", v.id;
        "treatment", ID, "the treatment record", t.id;
        "version", NUMBER, "counts from 1; the highest one holds", t.version;
        "written_utc", UTC, "when written", t.written_at.utc;
        "written_by", TEXT, "by whom", t.written_by;
        "late_entry", YES_NO, "whether it was written after the day of the treatment, when the record was closed", t.is_late();
        "why_corrected", TEXT, "why the version before was corrected", t.why_corrected;
        "practitioner", TEXT, "who treated", t.practitioner;
        "certificate", TEXT, "number of her certificate", t.certificate;
        "service", TEXT, "what was done", t.service;
        "started_utc", UTC, "start", t.started_at.utc;
        "started_local", LOCAL, "start", Civil(t.started_at);
        "ended_utc", UTC, "end", t.ended_at.map(|at| at.utc);
        "shield", TEXT, "shield or rod and its size", t.shield;
        "shade", TEXT, "tint shade", t.shade;
        "outcome", TEXT, "how it turned out", t.outcome;
        "client_comment", TEXT, "what the client said of it", t.client_comment;
        "notes", TEXT, "notes", t.notes;
        "aftercare_version", TEXT, "version of the advice given", t.aftercare.as_ref().map(|a| a.version.clone());
        "aftercare_hash", HASH, "hash of the advice given", t.aftercare.as_ref().map(|a| a.hash.clone());
        "aftercare_given", TEXT, "when and how it was given", t.aftercare.as_ref().map(|a| a.given.clone());
        "aftercare_text", TEXT, "the advice, whole", t.aftercare.as_ref().map(|a| a.text.clone());
    }),
    table!("checks", "an answer to a question of the day",
        |c| treatments(c).flat_map(|(_, t)| t.checks.iter().map(move |a| (t, a))), |(t, a)| {
        "treatment", ID, "the treatment record", t.id;
        "version", NUMBER, "its version", t.version;
        "key", TEXT, "lasting key of the question", a.key;
        "question", TEXT, "the question as put", a.question;
        "answer", TEXT, "the answer as given", a.answer;
        "detail", TEXT, "what was added", a.detail;
    }),
    table!("products_used", "a product used in a version of a treatment record",
        |c| treatments(c).flat_map(|(_, t)| t.products.iter().map(move |p| (t, p))), |(t, p)| {
        "treatment", ID, "the treatment record", t.id;
        "version", NUMBER, "its version", t.version;
        "step", TEXT, "what it was used for", p.step;
        "product", TEXT, "product", p.product;
        "batch", TEXT, "batch number", p.batch;
        "expires", DAY, "use-by day on the label", p.expires;
    }),
    table!("steps", "a timed step of a version of a treatment record",
        |c| treatments(c).flat_map(|(_, t)| t.steps.iter().map(move |s| (t, s))), |(t, s)| {
        "treatment", ID, "the treatment record", t.id;
        "version", NUMBER, "its version", t.version;
        "step", TEXT, "the step", s.name;
        "minutes", NUMBER, "minutes", s.minutes;
    }),
    table!("reactions", "a reaction", |c| c.reactions.iter(), |r| {
        "visit", ID, "the visit after which it came", r.visit;
        "reported_utc", UTC, "when reported", r.reported_at.utc;
        "reported_local", LOCAL, "when reported", Civil(r.reported_at);
        "reported_by", TEXT, "by whom", r.reported_by;
        "began", TEXT, "when it began, as told", r.began;
        "severity", TEXT, "how grave", r.severity;
        "signs", TEXT, "what was seen or felt", r.signs;
        "action", TEXT, "what was done and advised", r.action;
        "products", TEXT, "products and batches in question, one a line", products(&r.products);
        "outcome", TEXT, "how it ended", r.outcome;
        "closed_utc", UTC, "when closed", r.closed_at.map(|at| at.utc);
    }),
    table!("files", "a photo, or the file of a letter", |c| c.files.iter(), |f| {
        "file", TEXT, "its name in the client's folder", f.name;
        "purpose", TEXT, "letter, before, after, reaction or skin_test", f.purpose;
        "about", ID, "the letter, visit, reaction or skin test that it belongs to", f.about;
        "sha256", HASH, "hash of its content", f.sha256;
        "added_utc", UTC, "when added", f.added_at.utc;
        "added_by", TEXT, "by whom", f.added_by;
    }),
    table!("letters", "a clinician's letter", |c| c.letters.iter(), |l| {
        "letter", ID, "the letter", l.id;
        "from", TEXT, "who wrote it", l.from;
        "about", TEXT, "what it speaks of", l.about;
        "says", TEXT, "what it allows or forbids", l.says;
        "dated", DAY, "the day on it", l.dated;
        "valid_until", DAY, "last day on which it counts", l.valid_until;
        "recorded_utc", UTC, "when put on file", l.recorded_at.utc;
        "recorded_by", TEXT, "by whom", l.recorded_by;
    }),
    table!("audit", "a line of the studio's log about a client", |c| c.audit.iter(), |a| {
        "number", NUMBER, "number in the studio's log", a.number;
        "at_utc", UTC, "when", a.at.utc;
        "at_local", LOCAL, "when", Civil(a.at);
        "who", TEXT, "who, with role", a.who;
        "what", TEXT, "what was done", a.what;
        "object", TEXT, "on what", a.object;
        "hash", HASH, "hash of the line in the log's chain", a.hash;
    }),
];

/// The studio's own papers. They are no client's, so a copy that a client makes for herself is without them.
pub static PAPERS: Table<Paper> = table!("papers", "a certificate or policy of the studio; left out of a client's own copy",
    "paper", "the paper", |p| std::iter::once(p), |p| {
    "kind", TEXT, "certificate or insurance policy", p.kind().to_owned();
    "practitioner", TEXT, "whose certificate", p.practitioner;
    "number", TEXT, "the number on it", p.number;
    "issuer", TEXT, "who gave it out", p.issuer;
    "services", TEXT, "services that it covers, one a line", p.services.join("\n");
    "expires", DAY, "last day on which it holds; empty when it has no end", p.expires_on;
    "file", TEXT, "its name in data/papers", p.file;
    "sha256", HASH, "hash of the file", p.sha256;
    "added_utc", UTC, "when put on file", p.added_at.utc;
    "added_by", TEXT, "by whom", p.added_by;
    "removed_utc", UTC, "when taken off the list", p.removed_at.map(|at| at.utc);
});

fn treatments(client: &ClientRecord) -> impl Iterator<Item = (&Visit, &Treatment)> {
    client.visits.iter().flat_map(|visit| visit.treatments.iter().map(move |treatment| (visit, treatment)))
}

fn statements(ticks: &[Tick], ticked: bool) -> String {
    let of = ticks.iter().filter(|tick| tick.ticked == ticked).map(|tick| tick.statement.as_str());
    of.collect::<Vec<_>>().join("\n")
}

fn taken_back(ticks: &[Tick]) -> String {
    let of = ticks.iter().filter_map(|tick| Some(format!("{}: {}", tick.taken_back_at?.utc.cell(), tick.statement)));
    of.collect::<Vec<_>>().join("\n")
}

fn products(products: &[ProductUse]) -> String {
    let one = |p: &ProductUse| match &p.batch {
        Some(batch) => format!("{} (batch {batch})", p.product),
        None => p.product.clone(),
    };
    products.iter().map(one).collect::<Vec<_>>().join("\n")
}

/// A moment as the studio's clock showed it.
struct Civil(Moment);

/// A value as it stands in a field; an absent one is empty.
trait Cell {
    fn cell(&self) -> String;
}

fn cell(value: &impl Cell) -> String {
    value.cell()
}

impl<T: Cell> Cell for Option<T> {
    fn cell(&self) -> String {
        self.as_ref().map(Cell::cell).unwrap_or_default()
    }
}

impl Cell for bool {
    fn cell(&self) -> String {
        if *self { "yes" } else { "no" }.to_owned()
    }
}

impl Cell for Civil {
    fn cell(&self) -> String {
        self.0.local.format(format_description!("[year]-[month]-[day]T[hour]:[minute]:[second]")).unwrap_or_default()
    }
}

impl Cell for OffsetDateTime {
    fn cell(&self) -> String {
        let utc = self.to_offset(time::UtcOffset::UTC);
        utc.format(&time::format_description::well_known::Rfc3339).unwrap_or_default()
    }
}

impl Cell for Date {
    fn cell(&self) -> String {
        self.format(format_description!("[year]-[month]-[day]")).unwrap_or_default()
    }
}

macro_rules! displayed {
    ($($kind:ty),+) => {$(
        impl Cell for $kind {
            fn cell(&self) -> String {
                self.to_string()
            }
        }
    )+};
}

displayed!(String, u16, u32, u64);
displayed!(crate::domain::ids::AnswersId, crate::domain::ids::ClientId, crate::domain::ids::ConsentId);
displayed!(crate::domain::ids::LetterId, crate::domain::ids::SkinTestId);
displayed!(crate::domain::ids::PaperId, crate::domain::ids::PastVisitId);
displayed!(crate::domain::ids::TreatmentId, crate::domain::ids::VisitId);
