//! The published limits that the rules use, each with its source beside it.
//!
//! Read in stored copies unless a line says "second hand" or "from memory".

use std::collections::{BTreeMap, BTreeSet};

use palpebra::domain::age::{Jurisdiction, TINT_FROM};
use palpebra::domain::catalogue::Area;
use palpebra::domain::limits::{Ingredient, Label, Limit, Line, Misfit, line, warnings};
use palpebra::domain::skin_test::TestRules;
use palpebra::domain::verdict::BasisKind;

fn limit(place: Jurisdiction, ingredient: Ingredient, area: Area) -> Limit {
    match line(place, ingredient, area) {
        Line::Limited(limit) => limit,
        other => panic!("{ingredient:?} on {area:?}: {other:?}"),
    }
}

fn eu(ingredient: Ingredient, area: Area) -> Limit {
    limit(Jurisdiction::EuUk, ingredient, area)
}

/// Regulation (EC) 1223/2009, Annex III entry 2a (d), opened by Regulation (EU) 2015/1190: thioglycolic acid and its
/// salts for eyelash waving, 11 % ready for use, professional use only. pH 7 to 9.5: from memory.
#[test]
fn entry_2a_d_thioglycolate_on_lashes() {
    let limit = eu(Ingredient::Thioglycolate, Area::Lash);
    assert_eq!((limit.general, limit.professional), (None, 1100));
    assert_eq!(limit.ph, Some((70, 95)));
    assert!(
        limit.basis.to_string().contains("entry 2a (d)")
            && limit.basis.to_string().contains("pH of this line from memory")
    );
}

/// Entry 2a (a): hair waving or straightening, 8 % for general use and 11 % for professional use, pH 7 to 9.5
/// (Regulation (EU) 2015/1190). That brows fall under it is an inference from Regulation (EU) 2017/237.
#[test]
fn entry_2a_a_thioglycolate_on_brows() {
    let limit = eu(Ingredient::Thioglycolate, Area::Brow);
    assert_eq!((limit.general, limit.professional, limit.ph), (Some(800), 1100, Some((70, 95))));
}

/// Entry 2b: esters for hair only, no eyelash line; 8 % and 11 %; pH 6 to 9.5 from memory.
#[test]
fn entry_2b_esters_have_no_lash_line() {
    let Line::NotAllowed(basis) = line(Jurisdiction::EuUk, Ingredient::ThioglycolateEster, Area::Lash) else {
        panic!("a line for lashes");
    };
    assert_eq!(basis.kind, BasisKind::Inference);
    let brow = eu(Ingredient::ThioglycolateEster, Area::Brow);
    assert_eq!((brow.general, brow.professional, brow.ph), (Some(800), 1100, Some((60, 95))));
}

/// Entry 8b: p-phenylenediamine for eyelash colouring, 2 % as free base as applied after mixing, professional use
/// only, "not intended for use on persons under the age of 16". Entry 8a (hair), 2 %: from memory.
#[test]
fn entry_8b_phenylenediamine() {
    let lash = eu(Ingredient::Phenylenediamine, Area::Lash);
    assert_eq!((lash.general, lash.professional, lash.age), (None, 200, Some(16)));
    assert!(lash.basis.text.contains("entry 8b"));
    let brow = eu(Ingredient::Phenylenediamine, Area::Brow);
    assert_eq!((brow.professional, brow.basis.kind), (200, BasisKind::Memory));
}

/// Entry 9a, as reproduced by a regulator outside the EU: toluene-2,5-diamine, 2.0 % as free base as applied (3.6 % as
/// sulphate); on eyelashes professional use only; under-16 wording as in 8b.
#[test]
fn entry_9a_toluenediamine() {
    let lash = eu(Ingredient::Toluenediamine, Area::Lash);
    assert_eq!((lash.general, lash.professional, lash.age), (None, 200, Some(16)));
    assert_eq!(eu(Ingredient::Toluenediamine, Area::Brow).general, Some(200));
}

/// Entry 12 (f): hydrogen peroxide in eyelash products, 2 %, professional use only (second hand; Regulation (EU)
/// 2019/831 names line (f)). Entry 12 (a): hair, 12 % (Regulation (EU) 2019/831).
#[test]
fn entry_12_peroxide() {
    let lash = eu(Ingredient::Peroxide, Area::Lash);
    assert_eq!((lash.general, lash.professional), (None, 200));
    assert!(lash.basis.text.contains("second hand"));
    assert_eq!(eu(Ingredient::Peroxide, Area::Brow).general, Some(1200));
}

/// Entry 22, as reproduced from Commission data: resorcinol, 1.25 % as applied to hair or lashes; on eyelashes
/// professional use only; under-16 wording as in 8b.
#[test]
fn entry_22_resorcinol() {
    let lash = eu(Ingredient::Resorcinol, Area::Lash);
    assert_eq!((lash.general, lash.professional, lash.age), (None, 125, Some(16)));
    assert_eq!(eu(Ingredient::Resorcinol, Area::Brow).general, Some(125));
}

/// 21 CFR 73.2550 (86 FR 55494 of 6 October 2021, effective 8 November 2021): silver nitrate to colour brows and lashes,
/// professional use only. At most 4 %, not under 16, at most 1 minute: from memory. Other dyes: no colour additive is
/// approved for dyeing lashes or brows (FDA, second hand).
#[test]
fn the_us_entry() {
    for area in [Area::Lash, Area::Brow] {
        let silver = limit(Jurisdiction::Us, Ingredient::SilverNitrate, area);
        assert_eq!((silver.general, silver.professional, silver.age, silver.minutes), (None, 400, Some(16), Some(1)));
        assert_eq!(silver.basis.kind, BasisKind::Memory);
        for dye in [Ingredient::Phenylenediamine, Ingredient::Toluenediamine, Ingredient::Resorcinol] {
            assert!(matches!(line(Jurisdiction::Us, dye, area), Line::NotAllowed(_)), "{dye:?}");
        }
        assert_eq!(line(Jurisdiction::Us, Ingredient::Thioglycolate, area), Line::Silent);
    }
}

/// Cysteamine: no Annex III limit known (from memory). Elsewhere no rule is known here: the label alone.
#[test]
fn where_no_rule_is_known_nothing_is_made_up() {
    assert_eq!(line(Jurisdiction::EuUk, Ingredient::Cysteamine, Area::Lash), Line::Silent);
    for ingredient in Ingredient::ALL {
        assert_eq!(line(Jurisdiction::Other, ingredient, Area::Lash), Line::Silent);
        assert_eq!(Ingredient::parse(ingredient.as_str()), Some(ingredient));
    }
}

/// Under 16: label line of entries 8b and 22. 48 hours: advice of a UK trade body and of a UK trade association.
#[test]
fn the_age_line_and_the_floor() {
    assert_eq!(TINT_FROM, 16);
    assert_eq!(TestRules::default().floor_hours(), 48);
}

fn label(holds: &[(Ingredient, Option<u16>)], areas: &[Area]) -> Label {
    Label {
        holds: holds.iter().copied().collect::<BTreeMap<_, _>>(),
        areas: areas.iter().copied().collect::<BTreeSet<_>>(),
        professional_only: true,
        ph: Some(90),
        age: Some(16),
        step: None,
    }
}

fn misfits(place: Jurisdiction, label: &Label) -> Vec<Misfit> {
    warnings(place, label).into_iter().map(|warning| warning.what).collect()
}

#[test]
fn a_label_is_held_against_the_lines_of_every_area_that_it_permits() {
    let place = Jurisdiction::EuUk;
    let lotion = label(&[(Ingredient::Thioglycolate, Some(1100))], &[Area::Lash, Area::Brow]);
    assert_eq!(misfits(place, &lotion), []);
    assert_eq!(
        misfits(place, &label(&[(Ingredient::Thioglycolate, Some(1101))], &[Area::Lash])),
        [Misfit::Above(1100)]
    );
    assert_eq!(
        misfits(place, &label(&[(Ingredient::Thioglycolate, None)], &[Area::Lash])),
        [Misfit::ShareUnknown(1100)]
    );
    let general = Label { professional_only: false, ..lotion.clone() };
    assert_eq!(misfits(place, &general), [Misfit::ProfessionalOnly, Misfit::Above(800)], "lash line, then hair line");
    for ph in [None, Some(69), Some(96)] {
        assert_eq!(misfits(place, &Label { ph, ..lotion.clone() }), [Misfit::Ph(70, 95); 2], "{ph:?}");
    }
    for ph in [70, 95] {
        assert_eq!(misfits(place, &Label { ph: Some(ph), ..lotion.clone() }), []);
    }
    let ester = label(&[(Ingredient::ThioglycolateEster, Some(800))], &[Area::Lash]);
    assert_eq!(misfits(place, &ester), [Misfit::NotAllowed]);
    let tint = label(&[(Ingredient::Phenylenediamine, Some(200)), (Ingredient::Peroxide, Some(200))], &[Area::Lash]);
    assert_eq!(misfits(place, &tint), []);
    assert_eq!(misfits(place, &Label { age: None, ..tint.clone() }), [Misfit::Age(16)]);
    assert_eq!(misfits(Jurisdiction::Us, &tint), [Misfit::NotAllowed]);
    assert_eq!(misfits(Jurisdiction::Other, &tint), []);
    let brow_peroxide = label(&[(Ingredient::Peroxide, Some(600))], &[Area::Brow]);
    assert_eq!(misfits(place, &brow_peroxide), []);
    let on_lashes = Label { areas: BTreeSet::from([Area::Lash]), ..brow_peroxide };
    assert_eq!(misfits(place, &on_lashes), [Misfit::Above(200)], "allowed on brows is not allowed on lashes");
}
