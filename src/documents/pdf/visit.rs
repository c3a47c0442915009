//! What a visit's record holds besides verdict and treatment: what was ticked, who was there, what was taken.

use super::flow::Flow;
use super::style::STRONG;
use super::times::{by, moment, text};
use crate::documents::record::{ProductUse, Ticked, Visit};
use crate::language::date as day;
use crate::{t, tc};

pub(super) fn around(flow: &mut Flow<'_>, visit: &Visit) {
    if !visit.ticked.is_empty() {
        let row = |one: &Ticked| vec![one.point.clone(), one.by.clone(), moment(one.at)];
        let rows: Vec<_> = visit.ticked.iter().map(row).collect();
        let header = [t("Point"), tc("a paper", "By"), t("When")];
        flow.table(t("Ticked before it began"), &header, &[2.4, 0.9, 1.2], &rows);
    }
    if let Some(guardian) = &visit.guardian_present {
        let noted = by(guardian.at, &guardian.noted_by);
        flow.facts(
            t("Parent or guardian who was there"),
            &[(t("Name"), guardian.name.clone()), (tc("a paper", "Noted"), noted)],
        );
    }
    if !visit.bottles.is_empty() {
        flow.para(t("Begun without a record: bottles that were checked at the chair"), STRONG);
        products(flow, &visit.bottles);
    }
}

pub(super) fn products(flow: &mut Flow<'_>, products: &[ProductUse]) {
    let row = |p: &ProductUse| {
        vec![p.step.clone(), p.product.clone(), text(&p.batch), p.expires.map(day).unwrap_or_default()]
    };
    let rows: Vec<_> = products.iter().map(row).collect();
    flow.table(t("Products"), &[t("Used for"), t("Product"), t("Batch"), t("Use by")], &[1.2, 1.8, 1.1, 1.1], &rows);
}
