//! What the studio itself can show: its people's certificates and its insurance policy.

use serde::{Deserialize, Serialize};
use time::Date;

use super::{Moment, iso_date};
use crate::domain::ids::{PaperId, PractitionerId};

/// A certificate, or the insurance policy. One that was taken off the list stays: it counted until then.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paper {
    /// Public id.
    pub id: PaperId,
    /// Whose certificate it is; nobody's, when it is the insurance policy.
    pub practitioner: Option<String>,
    /// Her public id, as visits name it.
    pub practitioner_id: Option<PractitionerId>,
    /// The number on it.
    pub number: String,
    /// Who gave it out.
    pub issuer: String,
    /// The services that it covers.
    pub services: Vec<String>,
    /// The last day on which it holds; nothing when it holds without an end.
    #[serde(with = "iso_date::option")]
    pub expires_on: Option<Date>,
    /// The name of its file in `data/papers`.
    pub file: String,
    /// SHA-256 of the file in lower-case hex.
    pub sha256: String,
    /// When it was put on file.
    pub added_at: Moment,
    /// By whom.
    pub added_by: String,
    /// When it was taken off the list.
    pub removed_at: Option<Moment>,
}

impl Paper {
    /// What kind of paper it is.
    pub fn kind(&self) -> &'static str {
        if self.practitioner_id.is_some() { "certificate" } else { "insurance policy" }
    }
}
