use super::*;
use proptest::prelude::*;

fn plain(lines: &[Arc<Line>]) -> Vec<String> {
    lines.iter().map(|line| line.pieces.iter().map(|piece| piece.text.as_str()).collect()).collect()
}

#[test]
fn a_paragraph_wraps_at_spaces_and_keeps_its_words() {
    let lines = Typesetter::default().lines("one two three\nfour", false, 4.5);
    assert_eq!(plain(&lines), ["one two ", "three", "four"]);
}

#[test]
fn a_word_wider_than_the_line_is_cut() {
    let lines = Typesetter::default().lines(&"m".repeat(50), false, 10.0);
    assert!(lines.len() > 4);
    assert_eq!(plain(&lines).concat(), "m".repeat(50));
    assert!(lines.iter().all(|line| line.width <= 10.0));
}

#[test]
fn right_to_left_words_stand_from_right_to_left() {
    let lines = Typesetter::default().lines("נועה בר", false, 100.0);
    assert!(lines[0].rtl);
    assert_eq!(plain(&lines), ["ברנועה "], "pieces from left to right, each in logical order");
}

#[test]
fn an_unknown_character_is_written_as_its_number_and_a_decomposed_one_is_composed() {
    assert_eq!(clean("a\u{1F600}\u{202E}b\u{0}", false), "a[U+1F600]b");
    assert_eq!(clean("\u{1112}\u{1161}\u{11AB} e\u{301}", false), "한 é");
}

#[test]
fn what_it_remembers_is_laid_as_at_first_and_has_an_end() {
    let mut typesetter = Typesetter::default();
    let first = plain(&typesetter.lines("one two three", false, 4.5));
    assert_eq!(plain(&typesetter.lines("one two three", false, 4.5)), first);
    assert_ne!(plain(&typesetter.lines("one two three", false, 100.0)), first, "a width of its own");
    let widths = |lines: Vec<Arc<Line>>| lines.iter().map(|line| line.width).collect::<Vec<_>>();
    let (thin, bold) = (typesetter.lines("one", false, 9.0), typesetter.lines("one", true, 9.0));
    assert_ne!(widths(thin), widths(bold));
    for n in 0..MEMORY / 50 {
        typesetter.lines(&format!("{n:50}"), false, 50.0);
    }
    assert!(typesetter.remembered <= MEMORY);
    assert!(typesetter.texts.keys().map(|(.., text)| text.len()).sum::<usize>() <= MEMORY);
    assert_eq!(plain(&typesetter.lines("one two three", false, 4.5)), first);
}

proptest! {
    #[test]
    fn ascii_is_all_on_level_0(text in "[ -~]{1,80}") {
        let bidi = BidiInfo::new(&text, None);
        prop_assert!(bidi.levels.iter().all(|level| level.number() == 0));
        prop_assert!(!bidi.paragraphs[0].level.is_rtl());
    }

    #[test]
    fn no_line_of_latin_text_is_too_wide(text in "[ -~]{0,200}", width in 3.0f32..40.0) {
        let mut typesetter = Typesetter::default();
        let space = typesetter.lines(" ", true, 1e6)[0].width;
        let lines = typesetter.lines(&text, true, width);
        for (line, said) in lines.iter().zip(plain(&lines)) {
            // White space at its end may hang over. Shaped anew in one, a word that was cut could be wider.
            let white = u8::try_from(said.len() - said.trim_end().len()).unwrap();
            prop_assert!(line.width - space * f32::from(white) <= width + 1e-3, "{said:?}");
        }
    }

    #[test]
    fn any_text_is_laid_with_glyphs_that_exist(text in any::<String>(), width in 3.0f32..40.0) {
        let lines = Typesetter::default().lines(&text, false, width);
        prop_assert!(!lines.is_empty());
        for piece in lines.iter().flat_map(|line| &line.pieces) {
            for glyph in &piece.glyphs {
                prop_assert!(glyph.glyph_id.to_u32() != 0, "no glyph in {:?}", piece.text);
                prop_assert!(piece.text.get(glyph.text_range.clone()).is_some());
            }
        }
    }
}
