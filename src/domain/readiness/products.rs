//! What the labels of the products say about a visit: where they may be used, how much they may hold, from what age.

use time::Date;

use super::fixed::{self, Fixed};
use super::{Case, reason};
use crate::domain::age;
use crate::domain::catalogue::Chemistry;
use crate::domain::harm::{self, Bar};
use crate::domain::ids::ProductId;
use crate::domain::limits::{self, Label, Misfit, Warning};
use crate::domain::verdict::{About, Basis, BasisKind, Clears, Earliest, Reason, Start, Verdict};

/// A product on the shelf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shelved {
    /// The product.
    pub product: ProductId,
    /// What it brings near the eye.
    pub chemistry: Chemistry,
    /// What its label says, once somebody has gone through it.
    pub label: Option<Label>,
    /// Whether it is the one that the service is planned with; without such a one, any of its kind may be taken.
    pub planned: bool,
    /// Whether the studio still uses it.
    pub in_use: bool,
    /// Whether it may not be used on her, since it or what shares a flagged ingredient with it did her harm.
    pub blocked: bool,
}

impl Shelved {
    /// Whether somebody could take it.
    pub fn usable(&self) -> bool {
        self.planned || self.in_use
    }
}

/// The reasons that the products of the service give. Where none is named for the service, there is one only when no
/// product on the shelf would do.
pub(super) fn about(case: &Case<'_>, on: Date) -> Vec<Reason> {
    let of_kind = |kind: Chemistry| {
        let all = case.shelf.iter().filter(|shelved| shelved.chemistry == kind && shelved.usable());
        let all: Vec<&Shelved> = all.filter(|shelved| shelved.planned || !shelved.blocked).collect();
        let planned: Vec<Vec<Reason>> =
            all.iter().filter(|shelved| shelved.planned).map(|shelved| of(case, shelved, on)).collect();
        if planned.is_empty() {
            let any: Vec<Vec<Reason>> = all.iter().map(|shelved| of(case, shelved, on)).collect();
            if any.iter().any(Vec::is_empty) { Vec::new() } else { any.into_iter().take(1).flatten().collect() }
        } else {
            planned.into_iter().flatten().collect::<Vec<Reason>>()
        }
    };
    case.service.chemistries().iter().flat_map(|kind| of_kind(*kind)).collect()
}

/// The products that did her harm and that the service could use. What it is planned with speaks beside its skin tests.
pub(super) fn blocked(case: &Case<'_>, on: Date) -> Vec<Reason> {
    let would_do = |shelved: &Shelved| of(case, shelved, on).iter().all(|reason| reason.verdict < Verdict::DoNotTreat);
    let bars = harm::bars(case.service, case.shelf, would_do).into_iter().filter(|(shelved, _)| !shelved.planned);
    bars.map(|(shelved, bar)| {
        let verdict = match bar {
            Bar::Ask => Verdict::Ask,
            Bar::Stop => Verdict::DoNotTreat,
        };
        about_blocked(&shelved.product, verdict)
    })
    .collect()
}

/// A product that did her harm.
pub(super) fn about_blocked(product: &ProductId, verdict: Verdict) -> Reason {
    let about = About::Reaction(Some(product.clone()));
    reason(&fixed::PRODUCT_BLOCKED, about, verdict, verdict.start(), &[Clears::OtherProduct])
}

fn of(case: &Case<'_>, shelved: &Shelved, on: Date) -> Vec<Reason> {
    let Some(label) = &shelved.label else { return Vec::new() };
    let area = case.service.area();
    let say = |fixed: &Fixed, verdict: Verdict, start: Start| {
        let clears = if verdict == Verdict::Ask { Clears::Talk } else { Clears::OtherProduct };
        reason(fixed, About::Product(shelved.product.clone()), verdict, start, &[clears])
    };
    let mut reasons = Vec::new();
    if !label.areas.contains(&area) {
        reasons.push(say(&fixed::PRODUCT_AREA, Verdict::DoNotTreat, Start::No));
    } else {
        reasons.extend(limits::stops(case.place, label, area).into_iter().map(|warning| {
            let fixed = words(&warning);
            let mut reason = match warning.is_firm() {
                true => say(fixed, Verdict::DoNotTreat, Start::No),
                false => say(fixed, Verdict::Ask, Verdict::Ask.start()),
            };
            reason.basis = warning.basis;
            reason
        }));
    }
    reasons.extend(too_young(case, shelved, label, on));
    reasons
}

fn words(warning: &Warning) -> &'static Fixed {
    match warning.what {
        Misfit::Ph(..) => &fixed::PRODUCT_PH,
        Misfit::Above(_) => &fixed::PRODUCT_ABOVE,
        Misfit::NotAllowed | Misfit::ShareUnknown(_) | Misfit::ProfessionalOnly | Misfit::Age(_) => {
            &fixed::PRODUCT_NOT_ALLOWED
        }
    }
}

/// The client is younger than the label or the rules of the place want. Tint under 16 has been said already.
fn too_young(case: &Case<'_>, shelved: &Shelved, label: &Label, on: Date) -> Option<Reason> {
    let birth = case.birth?;
    let least = limits::least_age(case.place, label, case.service.area())?;
    let said = case.service.chemistries().contains(&Chemistry::Tint) && least <= age::TINT_FROM;
    if birth.age_on(on) >= least || said {
        return None;
    }
    let mut young = reason(
        &fixed::PRODUCT_AGE,
        About::Product(shelved.product.clone()),
        Verdict::DoNotTreat,
        Start::No,
        &[Clears::Waiting, Clears::OtherProduct],
    );
    young.from = Some(Earliest::Day(age::turns(birth, least)));
    if label.age != Some(least) {
        young.basis = Basis {
            kind: BasisKind::Source,
            text: crate::t(
                "Regulation (EC) 1223/2009, Annex III: the label has to name this age; silver nitrate from memory",
            )
            .to_owned(),
        };
    }
    Some(young)
}
