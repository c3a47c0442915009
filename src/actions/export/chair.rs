//! What was looked at, who was there and what was taken at a visit, as the plain values of an export.

use super::collect::Collector;
use crate::documents::record::{GuardianPresent, ProductUse, Ticked};
use crate::domain::checklist::ListName;
use crate::domain::ids::VisitId;
use crate::store::{Connection, Stored, chair, guardians};

impl Collector {
    /// Each point that was ticked before the treatment, in the words in which it stood there.
    pub(super) async fn ticked(&self, c: &mut Connection, visit: &VisitId) -> Stored<Vec<Ticked>> {
        let Some(check) = chair::check(c, visit).await? else { return Ok(Vec::new()) };
        let at = self.moment(check.at);
        let of = |list: ListName, points: Vec<String>| {
            let by = check.by.clone();
            points.into_iter().map(move |point| Ticked { list: list.as_str().to_owned(), point, by: by.clone(), at })
        };
        Ok(of(ListName::OnTheDay, check.on_the_day).chain(of(ListName::Hygiene, check.hygiene)).collect())
    }

    pub(super) async fn guardian_present(
        &self,
        c: &mut Connection,
        visit: &VisitId,
    ) -> Stored<Option<GuardianPresent>> {
        let present = guardians::of_visit(c, visit).await?;
        Ok(present.map(|there| GuardianPresent {
            name: there.name,
            noted_by: there.noted_by,
            at: self.moment(there.noted_at),
        }))
    }

    /// The bottles that were checked at the chair.
    pub(super) async fn bottles(&self, c: &mut Connection, visit: &VisitId) -> Stored<Vec<ProductUse>> {
        let taken = chair::bottles(c, visit).await?.into_iter();
        Ok(taken.map(|(product, batch)| self.product_use(product, batch)).collect())
    }
}
