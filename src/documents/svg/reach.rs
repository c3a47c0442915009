//! How far up a shield a client's lashes reach, drawn to scale.

use std::f64::consts::FRAC_PI_2;

use super::{Anchor, Canvas, Picture};
use crate::domain::shield::{AlongLid, Effect, LashLengths, ShieldChoice};
use crate::language::decimal;
use crate::{t, tf};

/// Pixels for a millimetre, the same in every picture, so that two shields can be compared.
const SCALE: f64 = 9.0;
/// Where the tallest shield that can be stands.
const FLOOR: f64 = 40.0;

/// The reach of one part of the lid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReachRow {
    /// `Inner`, `Middle` or `Outer`, in the language that is spoken.
    pub part: &'static str,
    /// Lash length over arc.
    pub reach: f64,
}

/// A point so many millimetres along a shield from the lid's edge: a quarter of a circle, and straight on above its top.
fn along(arc_mm: f64, mm: f64) -> (f64, f64) {
    let radius = arc_mm / FRAC_PI_2;
    let angle = mm.min(arc_mm) / radius;
    (radius * angle.sin(), radius * (1.0 - angle.cos()) + (mm - arc_mm).max(0.0))
}

fn path(arc_mm: f64, to_mm: f64, (x, y): (f64, f64)) -> Vec<(f64, f64)> {
    (0..=24_u8)
        .map(|step| {
            let (across, up) = along(arc_mm, to_mm * f64::from(step) / 24.0);
            (x + across * SCALE, y - up * SCALE)
        })
        .collect()
}

fn tenths(mm: f64) -> String {
    decimal(&format!("{mm:.1}"))
}

/// Shield and lashes at the inner, middle and outer part of the lid, seen from the side. The short stroke across the
/// shield is the reach to aim at. `id` tells the pictures of one page apart.
pub fn reach_on_shield(id: &str, choice: &ShieldChoice<'_>, lashes: LashLengths, effect: Effect) -> Picture<ReachRow> {
    let arc = choice.shield.arc_mm();
    let (AlongLid { inner, middle, outer }, reach) = (lashes.mm(), choice.reach);
    let parts =
        [(t("Inner"), inner, reach.inner), (t("Middle"), middle, reach.middle), (t("Outer"), outer, reach.outer)];
    let tallest = [inner, middle, outer].into_iter().map(|mm| along(arc, mm).1).fold(along(arc, arc).1, f64::max);
    let column = (along(arc, arc).0 * SCALE + 36.0).max(96.0);
    let ground = tallest * SCALE + 14.0;
    let mut canvas = Canvas::new((column * 3.0).round(), (ground + FLOOR).round());
    for (place, (name, mm, share)) in [0.0, 1.0, 2.0].into_iter().zip(parts) {
        let start = (column * place + 10.0, ground);
        canvas.curve("shield", &path(arc, arc, start), 7.0);
        canvas.curve("lash", &path(arc, mm, (start.0 - 6.0, start.1 - 6.0)), 2.5);
        let (across, up) = along(arc, arc * effect.aim());
        let aim = (start.0 + across * SCALE, start.1 - up * SCALE);
        canvas.line("aim", (aim.0 - 10.0, aim.1 - 10.0), (aim.0 + 8.0, aim.1 + 8.0), 1.5, "2 2");
        canvas.text("name", (start.0 - 4.0, ground + 18.0), Anchor::Start, name);
        canvas.text(
            "reach",
            (start.0 - 4.0, ground + 34.0),
            Anchor::Start,
            &format!("{} mm, {:.0} %", tenths(mm), share * 100.0),
        );
    }
    let rows = parts.map(|(part, _, reach)| ReachRow { part, reach }).to_vec();
    let title = tf("Lashes on shield {shield}").with("shield", choice.shield.name()).to_string();
    let told: Vec<String> =
        rows.iter().map(|row| format!("{} {:.0} %", row.part.to_lowercase(), row.reach * 100.0)).collect();
    let description = tf("How far the lashes reach up an arc of {arc} mm: {parts}.").with("arc", tenths(arc));
    let description = description.with("parts", told.join(", ")).to_string();
    Picture { svg: canvas.finish(id, &title, &description), rows }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::shield::{Shield, rank};

    #[test]
    fn what_is_drawn_along_the_shield_is_as_long_as_the_lash() {
        for (arc, mm) in [(10.0, 7.5), (8.0, 9.0)] {
            let drawn = path(arc, mm, (0.0, 0.0));
            let length: f64 = drawn.windows(2).map(|pair| (pair[1].0 - pair[0].0).hypot(pair[1].1 - pair[0].1)).sum();
            assert!((length / SCALE - mm).abs() < 0.02, "{length}");
        }
    }

    #[test]
    fn the_picture_says_in_words_what_it_shows() {
        let shields = [Shield::parse("<M>", 10.0).unwrap()];
        let lashes = LashLengths::parse(AlongLid { inner: 6.0, middle: 7.5, outer: 11.0 }).unwrap();
        let picture = reach_on_shield("a", &rank(&shields, lashes, Effect::Even)[0], lashes, Effect::Even);
        assert!(picture.svg.contains("inner 60 %, middle 75 %, outer 110 %"), "{}", picture.svg);
        assert!(picture.svg.contains("&lt;M&gt;") && !picture.svg.contains("<M>"));
    }
}
