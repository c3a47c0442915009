//! Bytes to letters.

use encoding_rs::{Encoding, UTF_8, WINDOWS_1252};

use crate::t;

/// How letters are written as bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Charset {
    /// UTF-8, or what a mark at the begin of the file says.
    Unicode,
    /// Windows-1252, which spreadsheets in Western Europe and America still write.
    Western,
}

impl Charset {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::Unicode, Self::Western];

    /// The word that forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Unicode => "unicode",
            Self::Western => "western",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|charset| charset.as_str() == word)
    }
}

/// Why bytes are no text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotText {
    /// A workbook or another archive.
    #[error("{}", t("it is a workbook; save it as CSV in the program that made it"))]
    Workbook,
    /// Something else that nobody reads.
    #[error("{}", t("it is not a text file"))]
    Binary,
    /// It was said to be UTF-8 and isn't.
    #[error("{}", t("it is not written in Unicode (UTF-8)"))]
    NotUnicode,
}

/// The letters of a file. A mark at its begin (UTF-8 or UTF-16) decides; else what was said; else it is UTF-8 where it
/// can be, and Windows-1252 where it can't: any bytes can be that, but hardly any text in it is UTF-8 by chance.
///
/// # Errors
/// [`NotText`]
pub(super) fn decode(bytes: &[u8], said: Option<Charset>) -> Result<(String, Charset), NotText> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"\xD0\xCF\x11\xE0") {
        return Err(NotText::Workbook);
    }
    let (text, charset) = if let Some((encoding, length)) = Encoding::for_bom(bytes) {
        let (text, bad) = encoding.decode_without_bom_handling(bytes.get(length..).unwrap_or_default());
        (if bad { return Err(NotText::Binary) } else { text }, Charset::Unicode)
    } else if said != Some(Charset::Western)
        && let Some(text) = UTF_8.decode_without_bom_handling_and_without_replacement(bytes)
    {
        (text, Charset::Unicode)
    } else if said == Some(Charset::Unicode) {
        return Err(NotText::NotUnicode);
    } else {
        (WINDOWS_1252.decode_without_bom_handling(bytes).0, Charset::Western)
    };
    if text.contains('\0') { Err(NotText::Binary) } else { Ok((text.into_owned(), charset)) }
}
