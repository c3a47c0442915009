//! What the register knows of the products that a service may use.

use std::collections::BTreeSet;

use crate::domain::catalogue::ServiceKind;
use crate::domain::harm;
use crate::domain::ids::ProductId;
use crate::domain::limits::Ingredient;
use crate::domain::readiness::Shelved;
use crate::store::catalogue::Product;

/// The products in use, those that are planned, and those that did her harm.
pub(super) fn shelf(register: &[Product], planned: &[Product], harmed: &BTreeSet<ProductId>) -> Vec<Shelved> {
    let is_planned = |product: &Product| planned.iter().any(|one| one.id == product.id);
    let shelved = |product: &Product| Shelved {
        product: product.id.clone(),
        chemistry: product.chemistry,
        label: product.label.clone(),
        planned: is_planned(product),
        in_use: product.active,
        blocked: harm::blocks(harmed, &product.id, &sharing(register, product)),
    };
    let of_matter = |product: &&Product| product.active || is_planned(product) || harmed.contains(&product.id);
    register.iter().filter(of_matter).map(shelved).collect()
}

/// Everything that any product which may be used for a kind of service holds. Nothing is known while a chemical of the
/// service has no product, or a product whose label nobody has gone through: then the strict side counts.
pub(super) fn ingredients(
    register: &[Product],
    planned: &[Product],
    kind: ServiceKind,
) -> Option<BTreeSet<Ingredient>> {
    let shelf = shelf(register, planned, &BTreeSet::new());
    let mut held = BTreeSet::new();
    for chemistry in kind.chemistries() {
        let mut of_kind = shelf.iter().filter(|shelved| shelved.chemistry == *chemistry).peekable();
        of_kind.peek()?;
        for shelved in of_kind {
            held.extend(shelved.label.as_ref()?.holds.keys().copied());
        }
    }
    Some(held)
}

/// The other products that share a flagged ingredient with this one.
pub(super) fn sharing(register: &[Product], product: &Product) -> Vec<ProductId> {
    fn listed(product: &Product) -> harm::Listed<'_> {
        (&product.id, product.label.as_ref())
    }
    harm::related(listed(product), register.iter().map(listed))
}
