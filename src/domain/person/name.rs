//! What somebody is called.

use crate::{t, tf};

/// A person's name as she writes it, 1 to 100 characters, inner spaces single.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PersonName(String);

/// Why a text is not a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PersonNameRefused {
    /// Nothing but spaces.
    #[error("{}", t("a name is missing"))]
    Missing,
    /// More than `most` characters.
    #[error("{}", tf("a name has at most {most} characters").with("most", most))]
    TooLong {
        /// The limit.
        most: usize,
    },
    /// A control character, a line break, or a mark that changes the direction of writing.
    #[error("{}", t("a name has no control characters"))]
    Control,
    /// No letter in it.
    #[error("{}", t("a name has a letter"))]
    NoLetter,
}

impl PersonName {
    /// The most characters that a name has.
    pub const MOST: usize = 100;

    /// Reads a name; spaces around it go, spaces within become single.
    ///
    /// # Errors
    /// See [`PersonNameRefused`].
    pub fn parse(text: &str) -> Result<Self, PersonNameRefused> {
        let text = text.trim();
        if text.chars().any(is_control) {
            return Err(PersonNameRefused::Control);
        }
        let name = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if name.is_empty() {
            Err(PersonNameRefused::Missing)
        } else if name.chars().count() > Self::MOST {
            Err(PersonNameRefused::TooLong { most: Self::MOST })
        } else if !name.chars().any(char::is_alphabetic) {
            Err(PersonNameRefused::NoLetter)
        } else {
            Ok(Self(name))
        }
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The name by which two people are taken for one: in small letters.
    pub fn key(&self) -> String {
        self.0.to_lowercase()
    }

    /// The first letter of each word, at most three, for calendars that others may see.
    pub fn initials(&self) -> String {
        self.0.split(' ').filter_map(|word| word.chars().find(|c| c.is_alphabetic())).take(3).collect()
    }
}

/// Controls (Unicode category Cc), line and paragraph separators, and the bidirectional controls of UAX #9.
pub(in crate::domain) fn is_control(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200E}' | '\u{200F}' | '\u{061C}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}')
}
