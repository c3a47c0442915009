//! What an export holds: plain values, neutral of where they are stored.
//!
//! The union of what insurers' record terms, the Australian unit SHBBFAS001, Oregon rule
//! 817-015-0065 and the UK unit F/601/3554 ask of a treatment record. Nothing here derives `Debug`: it is all
//! about a person's health, and must not slip into a log.

mod paper;
mod visit;

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime, PrimitiveDateTime};

pub use paper::Paper;
pub use visit::{
    Aftercare, GuardianPresent, Override, PastVisit, ProductUse, Readiness, Step, Ticked, Treatment, Visit,
};

use crate::domain::ids::{AnswersId, ClientId, ConsentId, ExportId, LetterId, SkinTestId, VisitId};

time::serde::format_description!(iso_date, Date, "[year]-[month]-[day]");
time::serde::format_description!(civil, PrimitiveDateTime, "[year]-[month]-[day]T[hour]:[minute]:[second]");

/// The version of the layout of `record.json` and `export.json`; raised when a field changes meaning.
pub const LAYOUT: u32 = 1;

/// A point in time, twice: as an instant, and as the clock on the studio's wall showed it.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moment {
    /// The instant, in UTC.
    #[serde(with = "time::serde::rfc3339")]
    pub utc: OffsetDateTime,
    /// Civil time in the studio's zone, see [`Studio::zone`].
    #[serde(with = "civil")]
    pub local: PrimitiveDateTime,
}

/// The studio as it names itself on its papers.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Studio {
    /// The name over the door.
    pub name: String,
    /// The postal address, lines separated by line feeds.
    pub address: String,
    /// The IANA name of the zone of every civil time.
    pub zone: String,
}

/// What an export covers.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Scope {
    /// One client, whole.
    Client {
        /// Which.
        client: ClientId,
    },
    /// Each client with a visit between two days, both included.
    Days {
        /// The first day.
        #[serde(with = "iso_date")]
        from: Date,
        /// The last day.
        #[serde(with = "iso_date")]
        to: Date,
    },
    /// Everybody.
    Everyone,
}

/// Who exported what, when and why.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExportHead {
    /// The export's id, as it stands in the studio's own log.
    pub id: ExportId,
    /// The studio.
    pub studio: Studio,
    /// When it was asked for.
    pub at: Moment,
    /// Who asked for it.
    pub by: String,
    /// Why, in that person's words.
    pub why: String,
    /// What it covers.
    pub scope: Scope,
    /// How many clients within that are not in it, since their records are locked away for claims.
    #[serde(default)]
    pub locked_away: u64,
    /// The program and its version, such as `palpebra 0.1.0`.
    pub program: String,
}

/// All that is held about one client.
#[derive(Clone, PartialEq, Serialize, Deserialize)]
pub struct ClientRecord {
    /// Public id.
    pub id: ClientId,
    /// Who it is.
    pub person: Person,
    /// Health answers, oldest first.
    pub answers: Vec<AnswerSet>,
    /// Skin tests, oldest first.
    pub skin_tests: Vec<SkinTest>,
    /// Consents, oldest first.
    pub consents: Vec<Consent>,
    /// Visits, oldest first.
    pub visits: Vec<Visit>,
    /// Visits from before that were taken over, oldest first. Nothing of them was recorded here.
    #[serde(default)]
    pub past_visits: Vec<PastVisit>,
    /// Reactions, oldest first.
    pub reactions: Vec<Reaction>,
    /// Letters from clinicians, oldest first.
    pub letters: Vec<Letter>,
    /// Photos and the files of letters, oldest first; each lies beside the record.
    #[serde(default)]
    pub files: Vec<Attached>,
    /// Who saw or changed what, oldest first.
    pub audit: Vec<AuditRow>,
}

/// Who the client is and how to reach her.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// The name as she wrote it.
    pub name: String,
    /// Date of birth.
    #[serde(with = "iso_date::option")]
    pub birth_date: Option<Date>,
    /// Mail address.
    pub email: Option<String>,
    /// Phone, E.164.
    pub phone: Option<String>,
    /// Postal address, lines separated by line feeds.
    pub address: Option<String>,
    /// Who answers for her while she is a minor: name, relation, contact.
    pub guardian: Option<String>,
    /// When she first came to be known.
    pub since: Moment,
}

/// A question as it was put, and the answer as it was given.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// The question's lasting key.
    pub key: String,
    /// The words of the question.
    pub question: String,
    /// The answer in words.
    pub answer: String,
    /// What she added.
    pub detail: Option<String>,
}

/// One filled set of health questions. A correction is a new set.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AnswerSet {
    /// Public id.
    pub id: AnswersId,
    /// Version of the questionnaire.
    pub version: String,
    /// SHA-256 of the questionnaire's words, lower-case hex.
    pub hash: String,
    /// When given.
    pub given_at: Moment,
    /// By whom and how, such as "the client, online".
    pub given_by: String,
    /// The set that this one corrects.
    pub replaces: Option<AnswersId>,
    /// Questions and answers, in the order of the form.
    pub answers: Vec<Answer>,
}

/// One look at a skin test.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// When looked at.
    pub at: Moment,
    /// By whom; "the client" when she told.
    pub by: String,
    /// The result in words.
    pub result: String,
    /// What was seen.
    pub note: Option<String>,
}

/// A skin test.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SkinTest {
    /// Public id.
    pub id: SkinTestId,
    /// When applied.
    pub applied_at: Moment,
    /// By whom.
    pub applied_by: String,
    /// The product.
    pub product: String,
    /// Its batch number.
    pub batch: Option<String>,
    /// Where on the skin.
    pub site: String,
    /// The first day on which it counted.
    #[serde(default, with = "iso_date::option")]
    pub counts_from: Option<Date>,
    /// The last day on which it counts, or counted before something stood against it.
    #[serde(with = "iso_date::option")]
    pub valid_until: Option<Date>,
    /// Why it does not count, or no longer and since when, or counts less, whatever was read: recorded by mistake, for one.
    pub caveat: Option<String>,
    /// Each reading, oldest first.
    pub readings: Vec<Reading>,
}

/// A statement of a consent and whether it was ticked.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tick {
    /// The statement.
    pub statement: String,
    /// Whether it was ticked.
    pub ticked: bool,
    /// When the client took this one back, alone or with others.
    pub taken_back_at: Option<Moment>,
}

/// A drawn signature: strokes of points in a box.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drawing {
    /// Width of the box, in the units of the points.
    pub width: u16,
    /// Height of the box.
    pub height: u16,
    /// Strokes, each a line through its points `(x, y)` from the upper left corner.
    pub strokes: Vec<Vec<(u16, u16)>>,
}

/// A parent's or guardian's part in a consent.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Guardian {
    /// The name that was typed.
    pub name: String,
    /// What the guardian is to the client.
    pub relation: String,
    /// Whether the guardian was present, or promised to be.
    pub present: bool,
    /// The signature, when one was drawn.
    pub drawing: Option<Drawing>,
}

/// A signed consent: the very text, and the hand under it.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Consent {
    /// Public id.
    pub id: ConsentId,
    /// What it is about.
    pub title: String,
    /// The text that was shown, whole.
    pub text: String,
    /// Version of the text.
    pub version: String,
    /// SHA-256 of the text, lower-case hex.
    pub hash: String,
    /// The health answers that it was signed on.
    pub answers: Option<AnswersId>,
    /// The statements under it.
    pub ticks: Vec<Tick>,
    /// The name that was typed.
    pub typed_name: String,
    /// The signature, when one was drawn.
    pub drawing: Option<Drawing>,
    /// The part of a parent or guardian.
    pub guardian: Option<Guardian>,
    /// When signed.
    pub signed_at: Moment,
    /// Who signed and how, such as "the client, online".
    pub signed_by: String,
    /// When withdrawn.
    pub withdrawn_at: Option<Moment>,
}

/// A reaction after a treatment or a skin test.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reaction {
    /// The visit after which it came.
    pub visit: Option<VisitId>,
    /// When it was reported.
    pub reported_at: Moment,
    /// By whom.
    pub reported_by: String,
    /// When it began, as told.
    pub began: Option<String>,
    /// How grave, in words.
    pub severity: String,
    /// What was seen or felt.
    pub signs: String,
    /// What was done and advised.
    pub action: String,
    /// Products and batches in question.
    pub products: Vec<ProductUse>,
    /// How it ended.
    pub outcome: Option<String>,
    /// When it was closed.
    pub closed_at: Option<Moment>,
}

/// A clinician's letter: what it is, not the letter itself.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Letter {
    /// Public id.
    pub id: LetterId,
    /// Who wrote it.
    pub from: String,
    /// What it speaks of.
    pub about: String,
    /// What it allows or forbids, in words.
    pub says: String,
    /// The day on it.
    #[serde(with = "iso_date")]
    pub dated: Date,
    /// The last day on which it counts.
    #[serde(with = "iso_date::option")]
    pub valid_until: Option<Date>,
    /// When it was put on file.
    pub recorded_at: Moment,
    /// By whom.
    pub recorded_by: String,
}

/// A photo, or the file of a letter, as it lies beside the record.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attached {
    /// Its name in the client's folder.
    pub name: String,
    /// What it is for: `letter`, `before`, `after`, `reaction` or `skin_test`.
    pub purpose: String,
    /// The public id of the letter, visit, reaction or skin test that it belongs to.
    pub about: String,
    /// SHA-256 of its content in lower-case hex.
    pub sha256: String,
    /// When it was added.
    pub added_at: Moment,
    /// By whom.
    pub added_by: String,
}

/// One line of the studio's log about this client.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AuditRow {
    /// Its number in the studio's log.
    pub number: u64,
    /// When.
    pub at: Moment,
    /// Who, with role.
    pub who: String,
    /// What was done, such as "treatment corrected".
    pub what: String,
    /// On what.
    pub object: String,
    /// The row's hash in the chain, lower-case hex.
    pub hash: String,
}
