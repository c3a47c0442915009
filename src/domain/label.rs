//! Short texts that the owner writes: what things are called, and a few words about them.

use super::person::is_control;

/// One line with something on it, inner spaces single.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label(String);

/// A few words, on several lines or none at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note(String);

/// Why a text is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TextRefused {
    /// Nothing but spaces.
    #[error("the text is missing")]
    Missing,
    /// More than `most` characters.
    #[error("the text has more than {most} characters")]
    TooLong {
        /// The limit.
        most: usize,
    },
    /// A control character, a line break where there is one line, or a mark that changes the direction of writing.
    #[error("the text has control characters")]
    Control,
}

impl Label {
    /// The most characters that a name of a thing has.
    pub const MOST: usize = 120;
    /// The most characters that the number of a batch has.
    pub const MOST_OF_BATCH: usize = 60;

    /// Reads a line of at most `most` characters; spaces around it go, spaces within become single.
    ///
    /// # Errors
    /// See [`TextRefused`].
    pub fn parse(text: &str, most: usize) -> Result<Self, TextRefused> {
        let text = text.trim();
        if text.chars().any(is_control) {
            return Err(TextRefused::Control);
        }
        let line = text.split_whitespace().collect::<Vec<_>>().join(" ");
        match line.chars().count() {
            0 => Err(TextRefused::Missing),
            length if length > most => Err(TextRefused::TooLong { most }),
            _ => Ok(Self(line)),
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Note {
    /// Reads a text of at most `most` characters; spaces and empty lines around it go.
    ///
    /// # Errors
    /// [`TextRefused::TooLong`] or [`TextRefused::Control`].
    pub fn parse(text: &str, most: usize) -> Result<Self, TextRefused> {
        let lines: Vec<&str> = text.trim().lines().map(str::trim_end).collect();
        if lines.iter().any(|line| line.chars().any(is_control)) {
            return Err(TextRefused::Control);
        }
        let note = lines.join("\n");
        if note.chars().count() > most { Err(TextRefused::TooLong { most }) } else { Ok(Self(note)) }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_one_line() {
        assert_eq!(Label::parse("  Room  2 ", 10).unwrap().as_str(), "Room 2");
        assert_eq!(Label::parse(" \u{a0} ", 10), Err(TextRefused::Missing));
        assert_eq!(Label::parse("Room\n2", 10), Err(TextRefused::Control));
        assert_eq!(Label::parse("Room\u{202e}2", 10), Err(TextRefused::Control));
        assert_eq!(Label::parse("éééé", 4).unwrap().as_str(), "éééé");
        assert_eq!(Label::parse("ééééé", 4), Err(TextRefused::TooLong { most: 4 }));
    }

    #[test]
    fn a_note_may_have_lines_or_nothing() {
        assert_eq!(Note::parse("\n 1 Lidbogen \n\nTown  \n", 40).unwrap().as_str(), "1 Lidbogen\n\nTown");
        assert_eq!(Note::parse("  ", 40).unwrap().as_str(), "");
        assert_eq!(Note::parse("a\tb", 40), Err(TextRefused::Control));
        assert_eq!(Note::parse("abcde", 4), Err(TextRefused::TooLong { most: 4 }));
    }

    #[test]
    fn a_note_may_be_as_long_as_its_limit() {
        assert!(Note::parse("ä b", 3).is_ok());
        assert_eq!(Note::parse("ä bc", 3), Err(TextRefused::TooLong { most: 3 }));
    }
}
