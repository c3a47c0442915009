//! What the register knows of the products that a service may use.

use std::collections::BTreeSet;

use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::ProductId;
use crate::domain::limits::Ingredient;
use crate::domain::readiness::Shelved;
use crate::store::catalogue::Product;

/// The products in use, and those that are planned.
pub(super) fn shelf(register: &[Product], planned: &[Product]) -> Vec<Shelved> {
    let is_planned = |product: &Product| planned.iter().any(|one| one.id == product.id);
    let shelved = |product: &Product| Shelved {
        product: product.id.clone(),
        chemistry: product.chemistry,
        label: product.label.clone(),
        planned: is_planned(product),
    };
    register.iter().filter(|product| product.active || is_planned(product)).map(shelved).collect()
}

/// Everything that any product which may be used for a kind of service holds. Nothing is known while a chemical of the
/// service has no product, or a product whose label nobody has gone through: then the strict side counts.
pub(super) fn ingredients(
    register: &[Product],
    planned: &[Product],
    kind: ServiceKind,
) -> Option<BTreeSet<Ingredient>> {
    let shelf = shelf(register, planned);
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
    let holds =
        |other: &Product, ingredient| other.label.as_ref().is_some_and(|label| label.holds.contains_key(ingredient));
    let shares = |other: &&Product| {
        other.id != product.id
            && product.label.as_ref().is_some_and(|label| label.holds.keys().any(|ingredient| holds(other, ingredient)))
    };
    register.iter().filter(shares).map(|other| other.id.clone()).collect()
}
