//! What did a client harm, and what stands in the way of a service because of it.

use std::collections::BTreeSet;

use super::catalogue::{Chemistry, ServiceKind};
use super::ids::ProductId;
use super::limits::Label;
use super::readiness::Shelved;

/// A product of the register with its label, where somebody has gone through it.
pub type Listed<'a> = (&'a ProductId, Option<&'a Label>);

/// The other products that share a flagged ingredient with one.
pub fn related<'a>(of: Listed<'_>, register: impl IntoIterator<Item = Listed<'a>>) -> Vec<ProductId> {
    let Some(label) = of.1 else { return Vec::new() };
    let shares = |other: &Label| label.holds.keys().any(|ingredient| other.holds.contains_key(ingredient));
    let others = register.into_iter().filter(|(id, other)| *id != of.0 && other.is_some_and(shares));
    others.map(|(id, _)| id.clone()).collect()
}

/// Whether a product may not be used on her: it did her harm, or one did that shares a flagged ingredient with it.
pub fn blocks(harmed: &BTreeSet<ProductId>, product: &ProductId, related: &[ProductId]) -> bool {
    harmed.contains(product) || related.iter().any(|other| harmed.contains(other))
}

/// How a blocked product stands in the way of a service.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bar {
    /// Another one of its kind is left.
    Ask,
    /// The service is planned with it, or nothing else of its kind is left.
    Stop,
}

/// Every blocked product that a service could use. `would_do` says of one that isn't blocked whether it may be used otherwise.
pub fn bars(service: ServiceKind, shelf: &[Shelved], would_do: impl Fn(&Shelved) -> bool) -> Vec<(&Shelved, Bar)> {
    let nothing_left = |kind: Chemistry| {
        let mut usable = shelf.iter().filter(|one| one.chemistry == kind && one.usable()).peekable();
        usable.peek().is_some() && usable.all(|one| one.blocked || !would_do(one))
    };
    let could_use = |one: &&Shelved| one.planned || service.chemistries().contains(&one.chemistry);
    let blocked = shelf.iter().filter(|one| one.blocked).filter(could_use);
    blocked.map(|one| (one, if one.planned || nothing_left(one.chemistry) { Bar::Stop } else { Bar::Ask })).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::catalogue::Area;
    use crate::domain::limits::Ingredient;

    fn product(number: u8) -> ProductId {
        ProductId::from_random([number; 16])
    }

    fn label(holds: Ingredient) -> Label {
        Label { holds: [(holds, None)].into(), areas: [Area::Lash].into(), ..Label::default() }
    }

    fn shelved(number: u8, chemistry: Chemistry, blocked: bool) -> Shelved {
        Shelved { product: product(number), chemistry, label: None, planned: false, in_use: true, blocked }
    }

    #[test]
    fn a_product_is_blocked_with_what_shares_a_flagged_ingredient() {
        let (one, two, three) = (product(1), product(2), product(3));
        let (ppd, glue) = (label(Ingredient::Phenylenediamine), label(Ingredient::Cyanoacrylate));
        let register = [(&one, Some(&ppd)), (&two, Some(&ppd)), (&three, Some(&glue))];
        assert_eq!(related((&one, Some(&ppd)), register), std::slice::from_ref(&two), "not itself, and not the glue");
        assert!(related((&one, None), register).is_empty(), "nobody has gone through its label");
        assert!(related((&one, Some(&ppd)), [(&two, None)]).is_empty(), "nor through that of the other");
        let harmed = BTreeSet::from([one.clone()]);
        assert!(blocks(&harmed, &one, &[]));
        assert!(blocks(&harmed, &two, &[three.clone(), one]));
        assert!(!blocks(&harmed, &two, &[three]));
    }

    #[test]
    fn a_blocked_product_stops_what_has_no_other_and_is_asked_about_where_one_is_left() {
        let bars = |service, shelf: &[Shelved], fits: bool| -> Vec<Bar> {
            super::bars(service, shelf, |_| fits).into_iter().map(|(_, bar)| bar).collect()
        };
        let (lift, tint) = (ServiceKind::LashLift, ServiceKind::BrowTint);
        let reacted = shelved(1, Chemistry::Lotion, true);
        let other = shelved(2, Chemistry::Lotion, false);
        let alone = [reacted.clone(), shelved(3, Chemistry::Tint, false)];
        assert_eq!(bars(lift, &alone, true), [Bar::Stop], "a tint is no lotion");
        assert!(bars(tint, &alone, true).is_empty(), "a tint needs no lotion");
        let two = [reacted.clone(), other.clone()];
        assert_eq!(bars(lift, &two, true), [Bar::Ask]);
        assert_eq!(bars(lift, &two, false), [Bar::Stop], "the other one may not be used either");
        let retired = Shelved { in_use: false, ..other.clone() };
        assert_eq!(bars(lift, &[reacted.clone(), retired.clone()], true), [Bar::Stop]);
        let planned = Shelved { planned: true, ..retired };
        assert_eq!(bars(lift, &[reacted.clone(), planned], true), [Bar::Ask], "what is planned may be taken");
        let planned = Shelved { planned: true, ..reacted.clone() };
        assert_eq!(bars(lift, &[planned.clone(), other], true), [Bar::Stop]);
        assert_eq!(bars(tint, &[planned], true), [Bar::Stop], "whatever it is");
        let gone = Shelved { in_use: false, ..reacted };
        assert_eq!(bars(lift, &[gone], true), [Bar::Ask], "nobody could take it, nor anything else");
    }
}
