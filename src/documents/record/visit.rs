//! A visit, the verdict it began under, and what was done.

use serde::{Deserialize, Serialize};
use time::Date;

use super::{Answer, Moment, iso_date};
use crate::domain::ids::{PastVisitId, PractitionerId, TreatmentId, VisitId};

/// A visit and what came of it.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Visit {
    /// Public id.
    pub id: VisitId,
    /// The service booked.
    pub service: String,
    /// Who was to treat.
    pub practitioner: String,
    /// Her public id.
    pub practitioner_id: PractitionerId,
    /// Where.
    pub room: Option<String>,
    /// Booked start.
    pub starts: Moment,
    /// Booked end.
    pub ends: Moment,
    /// When it was booked.
    pub booked_at: Moment,
    /// By whom.
    pub booked_by: String,
    /// How it stands, in words: booked, treated, cancelled, not come.
    pub state: String,
    /// The verdict at the start.
    pub readiness: Option<Readiness>,
    /// Each time somebody started against the verdict.
    pub overrides: Vec<Override>,
    /// Each point that was ticked before it began.
    #[serde(default)]
    pub ticked: Vec<Ticked>,
    /// The parent or guardian who was there.
    #[serde(default)]
    pub guardian_present: Option<GuardianPresent>,
    /// The bottles that were checked at the chair of a treatment that was begun and has no record.
    #[serde(default)]
    pub bottles: Vec<ProductUse>,
    /// The treatment record in all its versions, first version first; empty when none was written.
    pub treatments: Vec<Treatment>,
}

/// A point of a list that was ticked before a treatment began.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ticked {
    /// Which list: `on_the_day` or `hygiene`.
    pub list: String,
    /// The point, in the words in which it stood there.
    pub point: String,
    /// Who ticked it.
    pub by: String,
    /// When.
    pub at: Moment,
}

/// A parent or guardian who was there.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct GuardianPresent {
    /// The name.
    pub name: String,
    /// Who noted it.
    pub noted_by: String,
    /// When.
    pub at: Moment,
}

/// A visit from before, as papers or tables from elsewhere told it: a day and a service. It proves no more than that.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastVisit {
    /// Public id.
    pub id: PastVisitId,
    /// The service.
    pub service: String,
    /// The day.
    #[serde(with = "iso_date")]
    pub day: Date,
    /// What else was told of it.
    pub note: Option<String>,
    /// When it was taken over.
    pub taken_over_at: Moment,
}

/// The verdict as it stood at one moment, with all its reasons.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Readiness {
    /// When it was drawn.
    pub at: Moment,
    /// `clear`, `ask`, `wait until …`, `letter needed` or `do not treat`.
    pub verdict: String,
    /// Version of the rule table.
    pub rules_version: String,
    /// SHA-256 of the rule table, lower-case hex.
    pub rules_hash: String,
    /// Each reason, in words.
    pub reasons: Vec<String>,
}

/// A start against the verdict.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Override {
    /// When.
    pub at: Moment,
    /// By whom.
    pub by: String,
    /// The verdict that was set aside.
    pub verdict: String,
    /// Why, in that person's words.
    pub reason: String,
}

/// A product used on the client.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ProductUse {
    /// What it was used for, such as "first lotion".
    pub step: String,
    /// The product.
    pub product: String,
    /// Its batch number.
    pub batch: Option<String>,
    /// Use-by day on the label.
    #[serde(with = "iso_date::option")]
    pub expires: Option<Date>,
}

/// How long a step took.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// The step.
    pub name: String,
    /// Minutes, whole.
    pub minutes: u16,
}

/// The advice that went home with the client.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Aftercare {
    /// The text that was given.
    pub text: String,
    /// Its version.
    pub version: String,
    /// SHA-256 of the text, lower-case hex.
    pub hash: String,
    /// When and how it was given, in words.
    pub given: String,
}

/// One version of a treatment record. A correction is a new version.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Treatment {
    /// Public id, the same for all versions.
    pub id: TreatmentId,
    /// Counts from 1.
    pub version: u32,
    /// When this version was written.
    pub written_at: Moment,
    /// By whom.
    pub written_by: String,
    /// Why the version before was corrected.
    pub why_corrected: Option<String>,
    /// Who treated.
    pub practitioner: String,
    /// Number of the certificate that she treats under.
    pub certificate: Option<String>,
    /// What was done.
    pub service: String,
    /// Start.
    pub started_at: Moment,
    /// End.
    pub ended_at: Option<Moment>,
    /// Shield or rod and its size.
    pub shield: Option<String>,
    /// Tint shade.
    pub shade: Option<String>,
    /// Products in the order of use.
    pub products: Vec<ProductUse>,
    /// Minutes by step.
    pub steps: Vec<Step>,
    /// The questions asked on the day.
    pub checks: Vec<Answer>,
    /// How it turned out.
    pub outcome: Option<String>,
    /// What the client said of it.
    pub client_comment: Option<String>,
    /// Notes.
    pub notes: Option<String>,
    /// Advice given.
    pub aftercare: Option<Aftercare>,
}

impl Treatment {
    /// Whether this version was written after the day of the treatment: the record is closed then.
    pub fn is_late(&self) -> bool {
        self.written_at.local.date() > self.started_at.local.date()
    }
}
