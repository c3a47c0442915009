//! Tables and address cards that came from elsewhere, as rows of text.

mod cards;
mod text;

pub use text::{Charset, NotText};

use crate::documents::csv::unguarded;
use crate::domain::takeover::Row;
use crate::{t, tf};

/// The most rows that are read at once.
pub const MOST_ROWS: usize = 20_000;
/// The most columns.
pub const MOST_COLUMNS: usize = 60;
/// The largest file, in bytes.
pub const MOST_BYTES: usize = 10 * 1024 * 1024;
/// The most characters of a cell; what is longer is cut, which no name, day or note survives unnoticed.
const MOST_CHARACTERS: usize = 2000;

/// A table: the heads of its columns, and its rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// What the first row says of the columns.
    pub heads: Vec<String>,
    /// The other rows, but for empty ones.
    pub rows: Vec<Row>,
    /// How its letters were read.
    pub charset: Charset,
    /// What stands between its cells; nothing for cards.
    pub separator: Option<Separator>,
}

/// What stands between two cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Separator {
    /// `,`
    Comma,
    /// `;`, where the comma is part of numbers.
    Semicolon,
    /// A tab.
    Tab,
    /// `|`
    Bar,
}

impl Separator {
    /// Every one; of two that fit as well as each other, the first is taken.
    pub const ALL: [Self; 4] = [Self::Comma, Self::Semicolon, Self::Tab, Self::Bar];

    /// The word that forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Comma => "comma",
            Self::Semicolon => "semicolon",
            Self::Tab => "tab",
            Self::Bar => "bar",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|separator| separator.as_str() == word)
    }

    fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Bar => b'|',
        }
    }

    /// The one that stands most often in a line outside quotes.
    fn guess(line: &str) -> Self {
        let mut counts = [0_usize; 4];
        let mut quoted = false;
        for byte in line.bytes() {
            quoted ^= byte == b'"';
            let of = Self::ALL.iter().position(|separator| separator.byte() == byte && !quoted);
            if let Some(count) = of.and_then(|place| counts.get_mut(place)) {
                *count += 1;
            }
        }
        let best = Self::ALL.into_iter().zip(counts).rev().max_by_key(|(_, count)| *count);
        best.map_or(Self::Comma, |(separator, _)| separator)
    }
}

/// Why a file is no table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SheetRefused {
    /// Not text.
    #[error(transparent)]
    NotText(#[from] NotText),
    /// Nothing in it.
    #[error("{}", t("there is no row in it below the heads of the columns"))]
    Empty,
    /// More rows than are read at once.
    #[error("{}", tf("it has more than {most} rows").with("most", MOST_ROWS))]
    TooManyRows,
    /// More columns than anybody fills.
    #[error("{}", tf("it has more than {most} columns").with("most", MOST_COLUMNS))]
    TooManyColumns,
    /// More bytes than are read.
    #[error("{}", t("it is too large"))]
    TooLarge,
}

/// Reads a file: address cards (vCard 2.1, 3.0 and 4.0, RFC 6350) when it begins as such, else a table (RFC 4180). What
/// isn't given is guessed.
///
/// # Errors
/// [`SheetRefused`]
pub fn read(bytes: &[u8], charset: Option<Charset>, separator: Option<Separator>) -> Result<Sheet, SheetRefused> {
    if bytes.len() > MOST_BYTES {
        return Err(SheetRefused::TooLarge);
    }
    let (text, charset) = text::decode(bytes, charset)?;
    if cards::are_cards(&text) {
        return cards::read(&text, charset);
    }
    let text = unified(&text);
    // Some spreadsheets name the separator in a line of its own.
    let (declared, body, skipped) = match text.split_once('\n') {
        Some((first, rest)) if first.trim_end().to_lowercase().starts_with("sep=") => {
            let mark = first.as_bytes().get(4).copied();
            (Separator::ALL.into_iter().find(|separator| mark == Some(separator.byte())), rest, 1)
        }
        _ => (None, text.as_str(), 0),
    };
    let first = body.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let separator = separator.or(declared).unwrap_or_else(|| Separator::guess(first));
    let mut reader = ::csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator.byte())
        .from_reader(body.as_bytes());
    let (mut heads, mut rows) = (None, Vec::new());
    let mut place = Place { text: body, at: 0, line: skipped + 1 };
    for record in reader.records() {
        // Of text that is UTF-8, in memory, and may be ragged, nothing can fail.
        let Ok(record) = record else { continue };
        let line = place.of(record.position().map_or(0, ::csv::Position::byte));
        let cells: Vec<String> = record.iter().map(cell).collect();
        if cells.iter().all(String::is_empty) {
            continue;
        }
        if cells.len() > MOST_COLUMNS {
            return Err(SheetRefused::TooManyColumns);
        }
        match heads {
            None => heads = Some(cells),
            Some(_) if rows.len() == MOST_ROWS => return Err(SheetRefused::TooManyRows),
            Some(_) => rows.push(Row { line, cells }),
        }
    }
    let heads = heads.filter(|_| !rows.is_empty()).ok_or(SheetRefused::Empty)?;
    Ok(Sheet { heads, rows, charset, separator: Some(separator) })
}

/// Counts lines, since the reader's own count stands before the empty lines that it skips.
struct Place<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl Place<'_> {
    /// The line of what begins at this byte, or after the line breaks that stand there. Bytes come in rising order.
    fn of(&mut self, byte: u64) -> u64 {
        let start = usize::try_from(byte).unwrap_or(usize::MAX);
        let rest = self.text.as_bytes().iter().enumerate().skip(self.at);
        for (at, one) in rest {
            if at >= start && *one != b'\n' {
                self.at = at;
                return self.line;
            }
            self.line += u64::from(*one == b'\n');
        }
        self.at = self.text.len();
        self.line
    }
}

/// With line ends as `\n`.
fn unified(text: &str) -> String {
    text.replace("\r\n", "\n").replace('\r', "\n")
}

fn cell(text: &str) -> String {
    unguarded(text.trim()).chars().take(MOST_CHARACTERS).collect()
}

#[cfg(test)]
mod tests;
