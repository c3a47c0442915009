//! A picture that a camera reads (ISO/IEC 18004).

use qrcode::{Color, EcLevel, QrCode};

use super::Picture;

/// Modules of white around the picture, as the standard asks.
const QUIET: usize = 4;

/// The text as a picture for cameras, dark on white in every colour scheme. `None` when the text is too long.
pub fn for_cameras(text: &str, label: &str) -> Option<Picture<()>> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M).ok()?;
    let width = code.width();
    let mut path = String::new();
    for (y, row) in code.to_colors().chunks(width).enumerate() {
        let mut x = 0;
        for run in row.chunk_by(|a, b| a == b) {
            if run.first() == Some(&Color::Dark) {
                path.push_str(&format!("M{} {}h{n}v1h-{n}z", x + QUIET, y + QUIET, n = run.len()));
            }
            x += run.len();
        }
    }
    let (side, label) = (width + 2 * QUIET, super::Escaped(label));
    let svg = format!(
        "<svg class=\"for-cameras\" role=\"img\" aria-label=\"{label}\" viewBox=\"0 0 {side} {side}\" \
         shape-rendering=\"crispEdges\"><rect width=\"{side}\" height=\"{side}\" fill=\"#fff\"/>\
         <path fill=\"#000\" d=\"{path}\"/></svg>"
    );
    Some(Picture { svg, rows: Vec::new() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The three corners that a camera looks for are squares of seven modules with a square of three in them.
    #[test]
    fn the_corners_are_where_the_standard_puts_them() {
        let picture = for_cameras("otpauth://totp/a:b?secret=GEZDGNBV", "For <the> app").unwrap();
        let d = picture.svg.split("d=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        let side: usize =
            picture.svg.split("viewBox=\"0 0 ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
        let far = side - QUIET - 7;
        for (x, y) in [(QUIET, QUIET), (far, QUIET), (QUIET, far)] {
            for (row, runs) in [(0, vec![(0, 7)]), (1, vec![(0, 1), (6, 1)]), (2, vec![(0, 1), (2, 3), (6, 1)])] {
                for (from, n) in runs {
                    let run = format!("M{} {}h{n}v1h-{n}z", x + from, y + row);
                    assert!(d.contains(&run), "{run}: {d}");
                }
            }
        }
        assert!(picture.svg.contains("For &lt;the&gt; app") && !picture.svg.contains("style="));
        assert!(for_cameras(&"x".repeat(4000), "").is_none());
    }
}
