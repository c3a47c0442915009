//! Published limits on what may be used on lashes and brows, and what a product's label says against
//! them.
//!
//! Eyebrows are not eyelashes in EU law: products for brows fall under the lines for hair of the
//! face, products for lashes under lines of their own (inference from the definition of "hair
//! product" in Regulation (EU) 2017/237). A warning here is no ruling: the label, the supplier and
//! local codes come first.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::age::{Jurisdiction, TINT_FROM};
use super::catalogue::Area;
use super::steps::Part;
use super::verdict::{Basis, BasisKind};
use crate::{msg, t};

/// An ingredient that the product register flags.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ingredient {
    /// Thioglycolic acid and its salts, counted as the acid.
    Thioglycolate,
    /// Esters of thioglycolic acid, such as glyceryl thioglycolate.
    ThioglycolateEster,
    /// Cysteamine.
    Cysteamine,
    /// p-Phenylenediamine and its salts, counted as the free base, as applied after mixing.
    Phenylenediamine,
    /// Toluene-2,5-diamine and its sulphate, counted as the free base, as applied after mixing.
    Toluenediamine,
    /// Resorcinol, as applied after mixing.
    Resorcinol,
    /// Silver nitrate.
    SilverNitrate,
    /// Hydrogen peroxide, present or released.
    Peroxide,
    /// Cyanoacrylate.
    Cyanoacrylate,
    /// Latex.
    Latex,
}

impl Ingredient {
    /// Every ingredient.
    pub const ALL: [Self; 10] = [
        Self::Thioglycolate,
        Self::ThioglycolateEster,
        Self::Cysteamine,
        Self::Phenylenediamine,
        Self::Toluenediamine,
        Self::Resorcinol,
        Self::SilverNitrate,
        Self::Peroxide,
        Self::Cyanoacrylate,
        Self::Latex,
    ];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Thioglycolate => "thioglycolate",
            Self::ThioglycolateEster => "thioglycolate_ester",
            Self::Cysteamine => "cysteamine",
            Self::Phenylenediamine => "phenylenediamine",
            Self::Toluenediamine => "toluenediamine",
            Self::Resorcinol => "resorcinol",
            Self::SilverNitrate => "silver_nitrate",
            Self::Peroxide => "peroxide",
            Self::Cyanoacrylate => "cyanoacrylate",
            Self::Latex => "latex",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|ingredient| ingredient.as_str() == word)
    }

    fn is_dye(self) -> bool {
        matches!(self, Self::Phenylenediamine | Self::Toluenediamine | Self::Resorcinol | Self::SilverNitrate)
    }
}

/// A published limit for one ingredient on one area.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limit {
    /// The most in a product for general use, in hundredths of a percent; none when the product has
    /// to be for professional use only.
    pub general: Option<u16>,
    /// The most in a product for professional use only, in hundredths of a percent.
    pub professional: u16,
    /// The least and the most pH, in tenths.
    pub ph: Option<(u8, u8)>,
    /// The least age in years that the label has to name.
    pub age: Option<u8>,
    /// The most minutes on the hair.
    pub minutes: Option<u8>,
    /// Where the figures stand.
    pub basis: Basis,
}

/// What the rules of a place say of an ingredient on an area.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Line {
    /// There is a limit.
    Limited(Limit),
    /// It may not be used there, or no line allows it.
    NotAllowed(Basis),
    /// No rule is known here.
    Silent,
}

/// What a product's label and register entry say.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Label {
    /// The flagged ingredients with their share in hundredths of a percent, where it is declared.
    pub holds: BTreeMap<Ingredient, Option<u16>>,
    /// The areas that the label permits. A product for brows is not thereby allowed on lashes.
    pub areas: BTreeSet<Area>,
    /// Whether it is for professional use only.
    pub professional_only: bool,
    /// The pH in tenths, where it is declared.
    pub ph: Option<u8>,
    /// The least age that it names.
    pub age: Option<u8>,
    /// Which of the two lotions it is, where that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<Part>,
}

/// Something that doesn't fit; the words live in the templates.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning {
    /// The ingredient.
    pub ingredient: Ingredient,
    /// The area.
    pub area: Area,
    /// What doesn't fit.
    pub what: Misfit,
    /// Where the rule stands.
    pub basis: Basis,
}

impl Warning {
    /// Whether it refuses: only what was read does, what stands from memory or was inferred is asked about. The lines for
    /// pH are from memory.
    pub fn is_firm(&self) -> bool {
        self.basis.kind == BasisKind::Source && !matches!(self.what, Misfit::Ph(..))
    }
}

/// What doesn't fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Misfit {
    /// It may not be used there.
    NotAllowed,
    /// There is more of it than this, in hundredths of a percent.
    Above(u16),
    /// The share is not declared, and the most is this, in hundredths of a percent.
    ShareUnknown(u16),
    /// The pH is not declared or not between these, in tenths.
    Ph(u8, u8),
    /// It has to be for professional use only.
    ProfessionalOnly,
    /// The label has to name at least this age.
    Age(u8),
}

fn source(text: &str) -> Basis {
    Basis { kind: BasisKind::Source, text: t(text).to_owned() }
}

fn memory(text: &str) -> Basis {
    Basis { kind: BasisKind::Memory, text: t(text).to_owned() }
}

/// A limit for products that have to be for professional use only.
fn professional(most: u16, age: Option<u8>, basis: Basis) -> Line {
    Line::Limited(Limit { general: None, professional: most, ph: None, age, minutes: None, basis })
}

fn hair(general: u16, most: u16, ph: Option<(u8, u8)>, age: Option<u8>, basis: Basis) -> Line {
    Line::Limited(Limit { general: Some(general), professional: most, ph, age, minutes: None, basis })
}

/// What the rules of a place say of an ingredient on an area.
pub fn line(place: Jurisdiction, ingredient: Ingredient, area: Area) -> Line {
    match place {
        Jurisdiction::EuUk => eu(ingredient, area),
        Jurisdiction::Us => us(ingredient),
        Jurisdiction::Other => Line::Silent,
    }
}

/// Regulation (EC) 1223/2009, Annex III.
fn eu(ingredient: Ingredient, area: Area) -> Line {
    let tint = Some(TINT_FROM);
    match (ingredient, area) {
        (Ingredient::Thioglycolate, Area::Lash) => Line::Limited(Limit {
            general: None,
            professional: 1100,
            ph: Some((70, 95)),
            age: None,
            minutes: None,
            basis: source(msg(
                "Regulation (EC) 1223/2009, Annex III entry 2a (d), opened by Regulation (EU) 2015/1190; the pH of this \
                 line from memory",
            )),
        }),
        (Ingredient::Thioglycolate, Area::Brow) => {
            hair(800, 1100, Some((70, 95)), None, source(msg("Regulation (EC) 1223/2009, Annex III entry 2a (a)")))
        }
        (Ingredient::ThioglycolateEster, Area::Lash) => Line::NotAllowed(Basis {
            kind: BasisKind::Inference,
            text: t("Regulation (EC) 1223/2009, Annex III entry 2b has lines for hair only, none for lashes")
                .to_owned(),
        }),
        (Ingredient::ThioglycolateEster, Area::Brow) => hair(
            800,
            1100,
            Some((60, 95)),
            None,
            source(msg("Regulation (EC) 1223/2009, Annex III entry 2b; the pH from memory")),
        ),
        (Ingredient::Phenylenediamine, Area::Lash) => {
            professional(200, tint, source(msg("Regulation (EC) 1223/2009, Annex III entry 8b")))
        }
        (Ingredient::Phenylenediamine, Area::Brow) => {
            hair(200, 200, None, tint, memory(msg("Regulation (EC) 1223/2009, Annex III entry 8a")))
        }
        (Ingredient::Toluenediamine, Area::Lash) => {
            professional(200, tint, source(msg("Regulation (EC) 1223/2009, Annex III entry 9a (b), as reproduced")))
        }
        (Ingredient::Toluenediamine, Area::Brow) => {
            hair(200, 200, None, tint, source(msg("Regulation (EC) 1223/2009, Annex III entry 9a (a), as reproduced")))
        }
        (Ingredient::Resorcinol, Area::Lash) => {
            professional(125, tint, source(msg("Regulation (EC) 1223/2009, Annex III entry 22 (b), as reproduced")))
        }
        (Ingredient::Resorcinol, Area::Brow) => {
            hair(125, 125, None, tint, source(msg("Regulation (EC) 1223/2009, Annex III entry 22 (a), as reproduced")))
        }
        (Ingredient::Peroxide, Area::Lash) => professional(
            200,
            None,
            source(msg(
                "Regulation (EC) 1223/2009, Annex III entry 12 (f), second hand; named in Regulation (EU) 2019/831",
            )),
        ),
        (Ingredient::Peroxide, Area::Brow) => hair(
            1200,
            1200,
            None,
            None,
            source(msg("Regulation (EC) 1223/2009, Annex III entry 12 (a), as in Regulation (EU) 2019/831")),
        ),
        (Ingredient::Cysteamine | Ingredient::SilverNitrate | Ingredient::Cyanoacrylate | Ingredient::Latex, _) => {
            Line::Silent
        }
    }
}

/// Colour additives need a listing; one is listed for brows and lashes. No federal rule on colour
/// applies to waving lotion; scope of practice is a matter of the states.
fn us(ingredient: Ingredient) -> Line {
    if ingredient == Ingredient::SilverNitrate {
        return Line::Limited(Limit {
            general: None,
            professional: 400,
            ph: None,
            age: Some(TINT_FROM),
            minutes: Some(1),
            basis: memory(msg(
                "21 CFR 73.2550 (86 FR 55494, in force since 8 November 2021): the listing is read, its conditions are from memory",
            )),
        });
    }
    if ingredient.is_dye() {
        return Line::NotAllowed(source(msg(
            "FDA: no colour additive is approved for dyeing lashes or brows but silver nitrate (21 CFR 73.2550)",
        )));
    }
    Line::Silent
}

/// Everything on a label that doesn't fit the rules of a place, by ingredient and permitted area.
pub fn warnings(place: Jurisdiction, label: &Label) -> Vec<Warning> {
    let pairs = label.holds.iter().flat_map(|held| label.areas.iter().map(move |area| (held, *area)));
    pairs
        .flat_map(|((ingredient, share), area)| {
            let (misfits, basis) = match line(place, *ingredient, area) {
                Line::Silent => return Vec::new(),
                Line::NotAllowed(basis) => (vec![Misfit::NotAllowed], basis),
                Line::Limited(limit) => (misfits(&limit, label, *share), limit.basis),
            };
            let warning = |what| Warning { ingredient: *ingredient, area, what, basis: basis.clone() };
            misfits.into_iter().map(warning).collect()
        })
        .collect()
}

/// The warnings that stand against using a product on an area: it is not allowed there, or more than the limit is
/// declared, or a pH outside. What is merely not declared is a matter for the register.
pub fn stops(place: Jurisdiction, label: &Label, area: Area) -> Vec<Warning> {
    let stops = |warning: &Warning| match warning.what {
        Misfit::NotAllowed | Misfit::Above(_) => true,
        Misfit::Ph(..) => label.ph.is_some(),
        Misfit::ShareUnknown(_) | Misfit::ProfessionalOnly | Misfit::Age(_) => false,
    };
    warnings(place, label).into_iter().filter(|warning| warning.area == area && stops(warning)).collect()
}

/// The least age on which a product may be used on an area: what its label names, and what the rules of the place
/// want its label to name.
pub fn least_age(place: Jurisdiction, label: &Label, area: Area) -> Option<u8> {
    let lines = label.holds.keys().filter_map(|ingredient| match line(place, *ingredient, area) {
        Line::Limited(limit) => limit.age,
        Line::NotAllowed(_) | Line::Silent => None,
    });
    lines.chain(label.age).max()
}

fn misfits(limit: &Limit, label: &Label, share: Option<u16>) -> Vec<Misfit> {
    let most = match limit.general {
        Some(general) if !label.professional_only => general,
        _ => limit.professional,
    };
    let mut found = Vec::new();
    match share {
        None => found.push(Misfit::ShareUnknown(most)),
        Some(share) if share > most => found.push(Misfit::Above(most)),
        Some(_) => {}
    }
    if let Some((least, most)) = limit.ph
        && !label.ph.is_some_and(|ph| (least..=most).contains(&ph))
    {
        found.push(Misfit::Ph(least, most));
    }
    if limit.general.is_none() && !label.professional_only {
        found.push(Misfit::ProfessionalOnly);
    }
    if let Some(age) = limit.age
        && label.age.is_none_or(|named| named < age)
    {
        found.push(Misfit::Age(age));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Regulation (EC) 1223/2009, Annex III, entries 8a (from memory), 9a (a), 22 (a) and 12 (a), as in the table: on brows
    /// professional use has no higher limit.
    #[test]
    fn on_brows_professional_products_may_hold_no_more_than_others() {
        for (ingredient, most) in [
            (Ingredient::Phenylenediamine, 200),
            (Ingredient::Toluenediamine, 200),
            (Ingredient::Resorcinol, 125),
            (Ingredient::Peroxide, 1200),
        ] {
            let Line::Limited(limit) = line(Jurisdiction::EuUk, ingredient, Area::Brow) else {
                panic!("{ingredient:?}")
            };
            assert_eq!((limit.general, limit.professional), (Some(most), most), "{ingredient:?}");
        }
    }

    #[test]
    fn a_label_may_name_a_higher_age_than_it_has_to() {
        let label = |age| Label {
            holds: [(Ingredient::Resorcinol, Some(100))].into(),
            areas: [Area::Brow].into(),
            professional_only: true,
            ph: None,
            age,
            step: None,
        };
        let misses = |age| warnings(Jurisdiction::EuUk, &label(age)).iter().any(|one| one.what == Misfit::Age(16));
        assert_eq!([None, Some(15), Some(16), Some(18)].map(misses), [true, true, false, false]);
    }
}
