//! From text to lines of placed glyphs: cleaning, direction, fonts, shaping, wrapping.

use std::cell::RefCell;
use std::collections::HashMap;
use std::fmt::Write as _;
use std::ops::Range;
use std::sync::Arc;

use krilla::text::{GlyphId, KrillaGlyph};
use rustybuzz::{Direction, Script, ShapePlan, UnicodeBuffer, script};
use unicode_bidi::BidiInfo;

use super::faces::{FACES, face_for, joins};

/// Neighbouring characters of one font and one direction, shaped.
#[derive(Clone)]
pub(super) struct Piece {
    /// Index into [`FACES`].
    pub(super) face: usize,
    pub(super) text: String,
    /// In the order in which they are drawn, left to right.
    pub(super) glyphs: Vec<KrillaGlyph>,
    /// In em.
    pub(super) width: f32,
    /// Bidirectional level (UAX #9); odd is right to left.
    level: u8,
}

/// One line, its pieces from left to right.
pub(super) struct Line {
    pub(super) pieces: Vec<Piece>,
    /// In em, with the white space at its end.
    pub(super) width: f32,
    /// Whether its paragraph runs from right to left.
    pub(super) rtl: bool,
}

/// What stands between two places where a line may break, shaped.
struct Word {
    pieces: Vec<Piece>,
    width: f32,
    /// The part of the width that may hang over the end of a line.
    white: f32,
}

/// Lays text. It remembers words and whole texts, since records repeat themselves, and so do clients.
#[derive(Default)]
pub(super) struct Typesetter {
    words: HashMap<(bool, u8, String), Arc<Word>>,
    texts: HashMap<(bool, u32, String), Vec<Arc<Line>>>,
    /// Bytes of text that are remembered.
    remembered: usize,
}

/// How much text is remembered before all of it is forgotten: laid, a byte of text takes up to a hundred.
const MEMORY: usize = 50_000;

impl Typesetter {
    /// Breaks the text into lines no wider than `width` em, at least one.
    pub(super) fn lines(&mut self, text: &str, bold: bool, width: f32) -> Vec<Arc<Line>> {
        let key = (bold, width.to_bits(), text.to_owned());
        if let Some(known) = self.texts.get(&key) {
            return known.clone();
        }
        self.make_room(text.len());
        let text = clean(text, bold);
        let lines: Vec<_> =
            text.split('\n').flat_map(|paragraph| self.paragraph(paragraph, bold, width)).map(Arc::new).collect();
        self.texts.insert(key, lines.clone());
        lines
    }

    fn make_room(&mut self, length: usize) {
        self.remembered += length;
        if self.remembered > MEMORY {
            self.words.clear();
            self.texts.clear();
            self.remembered = length;
        }
    }

    fn paragraph(&mut self, text: &str, bold: bool, width: f32) -> Vec<Line> {
        let levels = Levels::of(text);
        let rtl = levels.rtl();
        let mut lines = Vec::new();
        let mut line = Line { pieces: Vec::new(), width: 0.0, rtl };
        let mut begin = 0;
        for end in breaks(text) {
            for word in self.word(text, &levels, begin..end, bold, width) {
                if line.width + word.width - word.white > width && !line.pieces.is_empty() {
                    lines.push(std::mem::replace(&mut line, Line { pieces: Vec::new(), width: 0.0, rtl }));
                }
                line.width += word.width;
                line.pieces.extend(word.pieces.iter().cloned());
            }
            begin = end;
        }
        lines.push(line);
        for line in &mut lines {
            to_visual_order(&mut line.pieces);
            merge(&mut line.pieces);
        }
        lines
    }

    /// The word in one, or cut into several where it alone is wider than the line.
    fn word(&mut self, text: &str, levels: &Levels<'_>, range: Range<usize>, bold: bool, width: f32) -> Vec<Arc<Word>> {
        let Some(word) = text.get(range.clone()) else { return Vec::new() };
        let whole = if let Some(level) = levels.one_of(range.clone()) {
            let known = self.words.entry((bold, level, word.to_owned()));
            known.or_insert_with(|| Arc::new(shape_word(word, &|_| level, bold))).clone()
        } else {
            Arc::new(shape_word(word, &|at| levels.at(range.start + at), bold))
        };
        if whole.width - whole.white <= width || word.chars().nth(1).is_none() {
            return vec![whole];
        }
        let mut parts = Vec::new();
        let mut begin = range.start;
        while begin < range.end {
            let end = fitting_end(text, begin..range.end, &whole, width);
            let part = text.get(begin..end).unwrap_or_default();
            parts.push(Arc::new(shape_word(part, &|at| levels.at(begin + at), bold)));
            begin = end;
        }
        parts
    }
}

/// The bidirectional level of each byte of a paragraph. ASCII has no letter that runs from right to left, so all of it is
/// on level 0, and is not looked at.
struct Levels<'t>(Option<BidiInfo<'t>>);

impl<'t> Levels<'t> {
    fn of(text: &'t str) -> Self {
        Self((!text.is_ascii()).then(|| BidiInfo::new(text, None)))
    }

    fn rtl(&self) -> bool {
        let first = self.0.as_ref().and_then(|bidi| bidi.paragraphs.first());
        first.is_some_and(|paragraph| paragraph.level.is_rtl())
    }

    fn at(&self, at: usize) -> u8 {
        self.0.as_ref().and_then(|bidi| bidi.levels.get(at)).map_or(0, |level| level.number())
    }

    /// The level of a part that is all on one.
    fn one_of(&self, mut range: Range<usize>) -> Option<u8> {
        let first = self.at(range.start);
        (self.0.is_none() || range.all(|at| self.at(at) == first)).then_some(first)
    }
}

/// Where to cut a word that is too wide: after as many characters as surely fit, at least one, and not before a mark
/// that belongs to the character in front of it.
fn fitting_end(text: &str, range: Range<usize>, whole: &Word, width: f32) -> usize {
    let rest = text.get(range.clone()).unwrap_or_default();
    let widest = whole.pieces.iter().flat_map(|p| &p.glyphs).map(|g| g.x_advance).fold(0.1, f32::max);
    let mut room = width - widest;
    let mut marks_only = false;
    for (at, c) in rest.char_indices().skip(1) {
        marks_only = marks_only || room < widest;
        let mark = joins(c) || unicode_bidi::bidi_class(c) == unicode_bidi::BidiClass::NSM;
        if marks_only && !mark {
            return range.start + at;
        }
        room -= widest;
    }
    range.end
}

/// Characters that can be drawn, composed (NFC); line feeds stay. What no font draws is written as its number.
fn clean(text: &str, bold: bool) -> String {
    let composed = icu_normalizer::ComposingNormalizerBorrowed::new_nfc().normalize(text);
    let mut out = String::with_capacity(composed.len());
    let mut chars = composed.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '\r' if chars.peek() == Some(&'\n') => {}
            '\n' | '\r' | '\u{85}' | '\u{2028}' | '\u{2029}' => out.push('\n'),
            '\t' => out.push(' '),
            c if c.is_control() || is_unseen(c) => {}
            c if joins(c) || face_for(c, bold, None).is_some() => out.push(c),
            c => {
                // Writing into a String can't fail.
                let _ = write!(out, "[U+{:04X}]", u32::from(c));
            }
        }
    }
    out
}

/// Controls of direction, selection and joining that change how others look and have no look of their own. Dropping
/// the directional ones also means that no name can turn the text around it.
fn is_unseen(c: char) -> bool {
    matches!(c, '\u{AD}' | '\u{34F}' | '\u{61C}' | '\u{180B}'..='\u{180F}' | '\u{200B}' | '\u{200E}' | '\u{200F}'
        | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}'
        | '\u{FFF0}'..='\u{FFFB}' | '\u{FFFE}' | '\u{FFFF}' | '\u{E0000}'..='\u{E0FFF}')
}

/// The ends of all words: after white space, hyphens and slashes, and around ideographs; the end of the text last.
fn breaks(text: &str) -> Vec<usize> {
    let mut ends = Vec::new();
    let mut before = None;
    for (at, c) in text.char_indices() {
        let may = before.is_some_and(|before: char| {
            let after_gap = before.is_whitespace() && before != '\u{A0}' && !c.is_whitespace();
            let after_hyphen = matches!(before, '-' | '–' | '—' | '/') && c.is_alphabetic();
            let ideographs = (is_ideograph(before) || is_ideograph(c)) && c.is_alphanumeric();
            after_gap || after_hyphen || ideographs
        });
        if may {
            ends.push(at);
        }
        before = Some(c);
    }
    ends.push(text.len());
    ends
}

fn is_ideograph(c: char) -> bool {
    matches!(c, '\u{2E80}'..='\u{9FFF}' | '\u{AC00}'..='\u{D7A3}' | '\u{F900}'..='\u{FAFF}' | '\u{20000}'..='\u{3FFFF}')
}

fn shape_word(word: &str, level_at: &dyn Fn(usize) -> u8, bold: bool) -> Word {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut current: Option<(usize, u8, String)> = None;
    for (at, c) in word.char_indices() {
        let face = face_for(c, bold, current.as_ref().map(|(face, ..)| *face)).unwrap_or(0);
        match &mut current {
            Some((of, level, text)) if *of == face && *level == level_at(at) => text.push(c),
            _ => pieces.extend(current.replace((face, level_at(at), c.to_string())).and_then(shape)),
        }
    }
    pieces.extend(current.and_then(shape));
    let width = pieces.iter().map(|piece| piece.width).sum();
    let trailing = word.len() - word.trim_end().len();
    let white = pieces.last().map_or(0.0, |last| {
        let from = last.text.len().saturating_sub(trailing);
        last.glyphs.iter().filter(|g| g.text_range.start >= from).map(|g| g.x_advance).sum()
    });
    Word { pieces, width, white }
}

/// How a font, from right to left or not, and a script are shaped.
type Plans = HashMap<(usize, bool, Option<Script>), ShapePlan>;

thread_local! {
    // To find a plan costs far more than to shape a word with it.
    static PLANS: RefCell<Plans> = RefCell::default();
}

fn shape((index, level, text): (usize, u8, String)) -> Option<Piece> {
    let face = FACES.get(index)?;
    let rtl = level % 2 == 1;
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(&text);
    buffer.guess_segment_properties();
    buffer.set_direction(if rtl { Direction::RightToLeft } else { Direction::LeftToRight });
    let writing = Some(buffer.script()).filter(|script| *script != script::UNKNOWN);
    let shaped = PLANS.with_borrow_mut(|plans| {
        let plan = plans
            .entry((index, rtl, writing))
            .or_insert_with(|| ShapePlan::new(&face.shaper, buffer.direction(), writing, None, &[]));
        rustybuzz::shape_with_plan(&face.shaper, plan, buffer)
    });
    let em = |units: i32| f32::from(i16::try_from(units).unwrap_or(0)) / face.units;
    let starts: Vec<usize> = shaped.glyph_infos().iter().filter_map(|i| usize::try_from(i.cluster).ok()).collect();
    let mut sorted = starts.clone();
    sorted.sort_unstable();
    let end_of = |start: usize| sorted.iter().copied().find(|other| *other > start).unwrap_or(text.len());
    let placed = shaped.glyph_infos().iter().zip(shaped.glyph_positions()).zip(&starts);
    let glyphs: Vec<_> = placed
        .map(|((info, at), start)| {
            let range = *start..end_of(*start);
            let id = GlyphId::new(info.glyph_id);
            KrillaGlyph::new(id, em(at.x_advance), em(at.x_offset), em(at.y_offset), em(at.y_advance), range, None)
        })
        .collect();
    let width = glyphs.iter().map(|glyph| glyph.x_advance).sum();
    Some(Piece { face: index, text, glyphs, width, level })
}

/// Rule L2 of UAX #9, piece by piece; the glyphs inside a piece are in visual order already.
fn to_visual_order(pieces: &mut [Piece]) {
    let highest = pieces.iter().map(|piece| piece.level).max().unwrap_or(0);
    for level in (1..=highest).rev() {
        for run in pieces.chunk_by_mut(|a, b| (a.level >= level) == (b.level >= level)) {
            if run.first().is_some_and(|piece| piece.level >= level) {
                run.reverse();
            }
        }
    }
}

/// Joins neighbours of one font that run from left to right, so that the file holds fewer, longer strings.
fn merge(pieces: &mut Vec<Piece>) {
    let mut merged: Vec<Piece> = Vec::with_capacity(pieces.len());
    for piece in pieces.drain(..) {
        match merged.last_mut() {
            Some(last) if last.face == piece.face && last.level % 2 == 0 && piece.level % 2 == 0 => {
                let shift = last.text.len();
                last.text.push_str(&piece.text);
                last.width += piece.width;
                last.glyphs.extend(piece.glyphs.into_iter().map(|mut glyph| {
                    glyph.text_range = glyph.text_range.start + shift..glyph.text_range.end + shift;
                    glyph
                }));
            }
            _ => merged.push(piece),
        }
    }
    *pieces = merged;
}

#[cfg(test)]
mod tests;
