//! The fonts that travel inside the program.

use std::sync::LazyLock;

/// A font, for shaping and for the file.
pub(super) struct Face {
    pub(super) shaper: rustybuzz::Face<'static>,
    pub(super) font: krilla::text::Font,
    /// Font units in one em.
    pub(super) units: f32,
}

impl Face {
    /// Whether the font draws the character.
    pub(super) fn has(&self, c: char) -> bool {
        self.shaper.glyph_index(c).is_some()
    }
}

macro_rules! files {
    ($($name:literal),+ $(,)?) => {
        [$(include_bytes!(concat!("../../../static/fonts/", $name)).as_slice()),+]
    };
}

/// Upright and bold for Latin, Greek and Cyrillic, then one font a script.
const FILES: [&[u8]; 12] = files![
    "NotoSans-Regular.ttf",
    "NotoSans-Bold.ttf",
    "NotoSansArabic-Regular.ttf",
    "NotoSansHebrew-Regular.ttf",
    "NotoSansArmenian-Regular.ttf",
    "NotoSansGeorgian-Regular.ttf",
    "NotoSansThai-Regular.ttf",
    "NotoSansDevanagari-Regular.ttf",
    "NotoSansBengali-Regular.ttf",
    "NotoSansTamil-Regular.ttf",
    "NotoSansEthiopic-Regular.ttf",
    "DroidSansFallback-Common.ttf",
];

/// All fonts, in the order in which a character looks for one; read once.
pub(super) static FACES: LazyLock<Vec<Face>> = LazyLock::new(|| FILES.iter().filter_map(|file| load(file)).collect());

fn load(file: &'static [u8]) -> Option<Face> {
    let shaper = rustybuzz::Face::from_slice(file, 0)?;
    let units = f32::from(i16::try_from(shaper.units_per_em()).ok()?);
    Some(Face { shaper, font: krilla::text::Font::new(file.into(), 0)?, units })
}

const REGULAR: usize = 0;
const BOLD: usize = 1;

/// The font for a character: the one before it goes on where it can, unless the character is a letter or digit of
/// the main font, which then takes over again.
pub(super) fn face_for(c: char, bold: bool, before: Option<usize>) -> Option<usize> {
    let main = if bold { BOLD } else { REGULAR };
    let draws = |index: usize| FACES.get(index).is_some_and(|face| face.has(c));
    if joins(c) {
        return before.or(Some(main));
    }
    if c.is_alphanumeric() && draws(main) {
        return Some(main);
    }
    let rest = (0..FACES.len()).filter(|index| *index != REGULAR && *index != BOLD);
    before.into_iter().chain([main]).chain(rest).find(|index| draws(*index))
}

/// Shapes its neighbours without being drawn: zero-width non-joiner and joiner.
pub(super) fn joins(c: char) -> bool {
    matches!(c, '\u{200C}' | '\u{200D}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_is_a_font() {
        assert_eq!(FACES.len(), FILES.len());
    }

    #[test]
    fn common_names_have_a_font() {
        for name in [
            "Łucja Đặng",
            "„Größe“ – ÄÖÜ äöü",
            "Ψυχή",
            "Дарья",
            "نورة",
            "נועה",
            "Սոնա",
            "ნინო",
            "สมหญิง",
            "अदिति",
            "ঋতু",
            "மலர்",
            "ሰላም",
            "林佳穎",
            "さくら",
            "지우",
        ] {
            for c in name.chars() {
                assert!(face_for(c, true, None).is_some(), "{c} of {name}");
            }
        }
    }
}
