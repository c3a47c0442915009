//! A case as its visit stands: at the chair, and by the answers alone.

use time::Date;

use super::Known;
use crate::domain::age::{self, AgeStanding, GuardianPart};
use crate::domain::verdict::Verdict;
use crate::domain::visit::VisitState;
use crate::store::studio::Studio;
use crate::store::visits::Visit;
use crate::store::{Connection, Stored, guardians};

impl Known {
    /// Loads it for a visit. Once she is here, a guardian counts as present only when somebody noted it.
    ///
    /// # Errors
    /// When the service or the client isn't there, or the file can't be read.
    pub async fn of_visit(c: &mut Connection, studio: &Studio, visit: &Visit) -> Stored<Self> {
        let known = Self::load(c, studio, visit.client.as_ref(), &visit.service).await?;
        let mut known = known.leave_out(&visit.id);
        if visit.state == VisitState::Arrived {
            known.guardian_here = Some(guardians::of_visit(c, &visit.id).await?.is_some());
        }
        Ok(known)
    }

    /// Whether a parent or guardian has to be here for a visit on a day, as far as age and the studio's choice go.
    pub fn wants_guardian_here(&self, on: Date) -> bool {
        let alone = GuardianPart { signed: true, present: false };
        age::standing(self.birth, self.service.kind, on, self.age_policy, alone) == AgeStanding::GuardianPresence
    }

    /// What her newest answers mean for this service on a day.
    pub fn answers_mean(&self, on: Date) -> Verdict {
        let reasons = self.answers().map(|set| self.screening(set).reasons(self.service.kind, on));
        reasons.into_iter().flatten().map(|reason| reason.verdict).max().unwrap_or(Verdict::Clear)
    }
}
