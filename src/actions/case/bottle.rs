//! Whether what is in a bottle may be used on her.

use std::collections::BTreeSet;

use time::{Date, OffsetDateTime};

use super::{Known, shelf};
use crate::domain::bottle::{Bottle, Unfit, asks_for_test, unfit};
use crate::domain::harm;
use crate::domain::ids::VisitId;
use crate::domain::skin_test::{TestStanding, standing};
use crate::store::catalogue::{Batch, Product};

impl Known {
    /// Why a batch may not be used on her for this service on a day, as of a moment. What came of the visit `but` says
    /// nothing of what was used at it.
    pub fn unfit(&self, batch: &Batch, on: Date, at: OffsetDateTime, but: Option<&VisitId>) -> Option<Unfit> {
        let product = self.register.iter().find(|one| one.id == batch.product)?;
        let before = self.harm.iter().filter(|harm| harm.at <= at && (but.is_none() || harm.visit.as_ref() != but));
        let harmed: BTreeSet<_> = before.map(|harm| harm.product.clone()).collect();
        let planned = self.planned(product, at, at);
        let bottle = Bottle {
            days: &batch.days,
            chemistry: product.chemistry,
            label: product.label.as_ref(),
            blocked: harm::blocks(&harmed, &product.id, &shelf::sharing(&self.register, product)),
            untested: self.asks_for_test(product)
                && !matches!(
                    standing(&self.tests(at, but), &planned, at, &self.test_rules),
                    TestStanding::Valid { .. }
                ),
        };
        unfit(&bottle, self.service.kind, self.place, on)
    }

    fn asks_for_test(&self, product: &Product) -> bool {
        let wanted = self.products.iter().any(|one| one.id == product.id);
        let of_its_kind = self.products.iter().any(|one| one.chemistry == product.chemistry);
        asks_for_test(wanted, product.label_test_hours, of_its_kind)
    }
}
