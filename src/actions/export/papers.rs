//! The studio's own papers and visits from before, as the plain values of an export.

use time::OffsetDateTime;

use super::collect::Collector;
use super::words::said;
use crate::documents::record::{Paper, PastVisit};
use crate::domain::ids::{ClientId, PractitionerId, ServiceId};
use crate::store::takeovers::{self, StoredPast};
use crate::store::{Connection, Stored};

impl Collector {
    /// All papers that ever were on file.
    pub(super) fn papers(&self) -> Vec<Paper> {
        let service = |id: &ServiceId| self.services.get(id).cloned().unwrap_or_default();
        let paper = |stored: &crate::store::papers::Paper| Paper {
            id: stored.id.clone(),
            practitioner: stored.practitioner.as_ref().map(|id| self.practitioner(id)),
            practitioner_id: stored.practitioner.clone(),
            number: stored.number.clone(),
            issuer: stored.issuer.clone(),
            services: stored.services.iter().map(service).collect(),
            expires_on: stored.expires_on,
            file: format!("{}.{}", stored.id, stored.kind.as_str()),
            sha256: stored.sha256.to_string(),
            added_at: self.moment(stored.added_at),
            added_by: stored.added_by.clone(),
            removed_at: stored.removed_at.map(|at| self.moment(at)),
        };
        self.papers.iter().map(paper).collect()
    }

    /// The numbers of the certificates that were on file, and held, for what she did at a moment. What came on file later
    /// says nothing of the day, since papers don't say from when they hold.
    pub(super) fn certificate(&self, who: &PractitionerId, what: &ServiceId, at: OffsetDateTime) -> Option<String> {
        let on = self.moment(at).local.date();
        let hers = self.papers.iter().filter(|paper| paper.practitioner.as_ref() == Some(who));
        let held = hers.filter(|paper| paper.services.contains(what) && paper.counted(at, on));
        said(&held.map(|paper| paper.number.as_str()).collect::<Vec<_>>().join(", "))
    }

    pub(super) async fn past_visits(&self, c: &mut Connection, id: &ClientId) -> Stored<Vec<PastVisit>> {
        let past = |stored: StoredPast| PastVisit {
            id: stored.id,
            service: self.services.get(&stored.visit.service).cloned().unwrap_or_default(),
            day: stored.visit.on,
            note: said(&stored.visit.note),
            taken_over_at: self.moment(stored.taken_at),
        };
        Ok(takeovers::visits_of(c, id).await?.into_iter().rev().map(past).collect())
    }
}
