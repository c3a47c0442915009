//! The studio's own colour, and the shades of it that can be read.
//!
//! Words in the accent stand on pages and cards, and words stand on it. So it is made darker for the light scheme and
//! lighter for the dark one until WCAG 2.2, 1.4.3 holds everywhere; hue and saturation stay, and a colour that does is left
//! as it is.

use std::fmt;

/// A colour of the screen: sRGB, eight bits each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Colour(pub [u8; 3]);

/// Not a colour as browsers write it, such as `#1f5646`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a colour is written as # and six hexadecimal digits")]
pub struct NotAColour;

/// The least contrast of words, WCAG 2.2, 1.4.3 (Level AA).
const WORDS: f64 = 4.5;
/// The least contrast of the dark scheme's lid against white: it is a part of the night around it.
const NIGHT: f64 = 13.0;
/// The shades that are tried on the way to black or white.
const SHADES: u32 = 512;

/// What the accent stands on or under in the light scheme; `tests/it/face.rs` holds it against `static/app.css`.
const LIGHT: [Colour; 10] = [
    Colour([0xf5, 0xf4, 0xed]),
    Colour([0xfe, 0xfd, 0xf9]),
    Colour([0xeb, 0xeb, 0xe1]),
    Colour([0xdf, 0xee, 0xe2]),
    Colour([0xe0, 0xeb, 0xf5]),
    Colour([0xf8, 0xe9, 0xcf]),
    Colour([0xf1, 0xe4, 0xf2]),
    Colour([0xfa, 0xe2, 0xdf]),
    Colour([0xff, 0xff, 0xff]),
    Colour::LID_SOFT,
];
/// The same in the dark scheme.
const DARK: [Colour; 9] = [
    Colour([0x14, 0x18, 0x15]),
    Colour([0x1d, 0x22, 0x1e]),
    Colour([0x27, 0x2d, 0x28]),
    Colour([0x1b, 0x33, 0x25]),
    Colour([0x1b, 0x2e, 0x42]),
    Colour([0x3a, 0x2b, 0x11]),
    Colour([0x38, 0x24, 0x3b]),
    Colour([0x45, 0x1d, 0x1f]),
    Colour::ON_DARK,
];

impl Colour {
    /// The program's own, before a studio chooses one.
    pub const HOUSE: Self = Self([0x1f, 0x56, 0x46]);
    /// Quiet words and outlines on a lid of any hue.
    pub const LID_SOFT: Self = Self([0xe2, 0xe4, 0xe2]);
    /// Words on the accent in the dark scheme.
    pub const ON_DARK: Self = Self([0x10, 0x12, 0x10]);
    const WHITE: Self = Self([255; 3]);

    /// Reads `#1f5646`, with digits in either case.
    ///
    /// # Errors
    /// [`NotAColour`]
    pub fn parse(text: &str) -> Result<Self, NotAColour> {
        let digits = text.trim().strip_prefix('#').filter(|digits| digits.len() == 6).ok_or(NotAColour)?;
        let bytes = data_encoding::HEXLOWER_PERMISSIVE.decode(digits.as_bytes()).map_err(|_| NotAColour)?;
        bytes.try_into().map(Self).map_err(|_| NotAColour)
    }

    /// From 0 for black to 1 for white: WCAG 2.2, "relative luminance".
    pub fn luminance(self) -> f64 {
        let [red, green, blue] = self.0.map(|value| {
            let value = f64::from(value) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * red + 0.7152 * green + 0.0722 * blue
    }

    /// From 1 to 21: WCAG 2.2, "contrast ratio".
    pub fn contrast(self, other: Self) -> f64 {
        let (a, b) = (self.luminance(), other.luminance());
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    fn reads_on(self, grounds: &[Self]) -> bool {
        grounds.iter().all(|ground| self.contrast(*ground) >= WORDS)
    }

    /// A part of the way to another colour; mixed with black or white, a colour keeps its hue.
    fn towards(self, other: Self, part: f64) -> Self {
        let mix = |from: u8, to: u8| {
            let mixed = f64::from(from) + (f64::from(to) - f64::from(from)) * part;
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two bytes")]
            let byte = mixed.round() as u8;
            byte
        };
        let ([a, b, c], [x, y, z]) = (self.0, other.0);
        Self([mix(a, x), mix(b, y), mix(c, z)])
    }

    /// The first shade on the way that will do. All after it do as well, since the way leads away from the grounds.
    fn first_towards(self, end: Self, does: impl Fn(Self) -> bool) -> Self {
        let shade = |n: u32| self.towards(end, f64::from(n) / f64::from(SHADES));
        let all: Vec<u32> = (0..=SHADES).collect();
        let few = all.partition_point(|n| !does(shade(*n)));
        all.get(few).map_or(end, |n| shade(*n))
    }

    /// The shades in which pages show it.
    pub fn shades(self) -> Shades {
        let black = Self([0; 3]);
        Shades {
            light: self.first_towards(black, |shade| shade.reads_on(&LIGHT)),
            dark: self.first_towards(Self::WHITE, |shade| shade.reads_on(&DARK)),
            night: self.first_towards(black, |shade| shade.contrast(Self::WHITE) >= NIGHT),
        }
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{}", data_encoding::HEXLOWER.encode(&self.0))
    }
}

/// A colour where it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shades {
    /// Words, buttons and the lid in the light scheme.
    pub light: Colour,
    /// Words and buttons in the dark scheme.
    pub dark: Colour,
    /// The lid in the dark scheme.
    pub night: Colour,
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn contrast_has_the_figures_of_the_standard() {
        // WCAG 2.2, "contrast ratio": black on white is 21:1. W3C, Understanding 1.4.3, names #767676 as the lightest grey
        // that reaches 4.5:1 on white; from memory, the formula beside it is the standard's.
        assert!((Colour([0; 3]).contrast(Colour::WHITE) - 21.0).abs() < 1e-9);
        assert!(Colour([0x76; 3]).contrast(Colour::WHITE) >= 4.5 && Colour([0x77; 3]).contrast(Colour::WHITE) < 4.5);
    }

    #[test]
    fn colours_are_read_and_written() {
        assert_eq!(Colour::parse(" #1F5646 "), Ok(Colour::HOUSE));
        assert_eq!(Colour::HOUSE.to_string(), "#1f5646");
        for text in ["", "#", "1f5646", "#1f564", "#1f56466", "#1g5646", "#ÄÄÄ", "red", "#1f5646;}*{}"] {
            assert_eq!(Colour::parse(text), Err(NotAColour), "{text:?}");
        }
    }

    #[test]
    fn what_can_be_read_is_left_as_it_is() {
        assert_eq!(Colour::HOUSE.shades().light, Colour::HOUSE);
        let pale = Colour([0xf4, 0xa6, 0xc8]).shades();
        assert_eq!(pale.dark, Colour([0xf4, 0xa6, 0xc8]));
        assert_ne!(pale.light, pale.dark);
    }

    /// A contrast of exactly the least is enough (WCAG 2.2, 1.4.3: "at least 4.5:1"); a colour that will do stays as it is.
    #[test]
    fn a_colour_that_can_be_read_is_left_alone() {
        for text in ["#000000", "#0000ff", "#4b2e2e"] {
            let colour = Colour::parse(text).unwrap();
            assert_eq!(colour.shades().light, colour, "{text}");
        }
        let white = Colour::parse("#ffffff").unwrap();
        assert_eq!(white.shades().dark, white);
    }

    proptest! {
        #[test]
        fn any_colour_can_be_read(bytes: [u8; 3]) {
            let shades = Colour(bytes).shades();
            prop_assert!(shades.light.reads_on(&LIGHT) && shades.dark.reads_on(&DARK));
            prop_assert!(shades.night.contrast(Colour::WHITE) >= NIGHT && shades.night.contrast(Colour::LID_SOFT) >= WORDS);
            prop_assert_eq!(shades.light.shades().light, shades.light);
            prop_assert_eq!(shades.dark.shades().dark, shades.dark);
        }

        #[test]
        fn no_more_is_changed_than_is_needed(bytes: [u8; 3]) {
            let (colour, black) = (Colour(bytes), Colour([0; 3]));
            let first = (0..=SHADES).map(|n| colour.towards(black, f64::from(n) / f64::from(SHADES)));
            prop_assert_eq!(Some(colour.shades().light), first.into_iter().find(|shade| shade.reads_on(&LIGHT)));
        }

        #[test]
        fn the_order_of_red_green_and_blue_stays(bytes: [u8; 3]) {
            let order = |[r, g, b]: [u8; 3], [x, y, z]: [u8; 3]| {
                [(r, g, x, y), (g, b, y, z), (r, b, x, z)].into_iter().all(|(a, b, c, d)| a < b || c >= d)
            };
            let shades = Colour(bytes).shades();
            for shade in [shades.light, shades.dark, shades.night] {
                prop_assert!(order(bytes, shade.0), "{:?} of {:?}", shade, bytes);
            }
        }
    }
}
