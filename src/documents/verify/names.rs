//! The names in a ZIP's central directory, each as often as it stands there.
//!
//! The ZIP reader keeps the last of several entries with one name; a check has to see them all.

use std::io::{Read, Seek, SeekFrom};

use super::Fault;
use crate::documents::package::{PREFIX, SEAL_LENGTH};

/// End of central directory record without its comment.
const END: u64 = 22;
/// ZIP64 end of central directory locator, which stands in front of it, and record.
const LOCATOR: u64 = 20;

/// Lists the names.
pub(super) fn listed(reader: &mut (impl Read + Seek), limit: u64) -> Result<Vec<String>, Fault> {
    let Some(Directory { count, start, end }) = directory(reader) else {
        // The first bytes of any ZIP with a file in it; one of them may be what was changed.
        let begins = bytes::<4>(reader, 0).is_some_and(|first| first.starts_with(b"PK"));
        return Err(if begins { Fault::Directory } else { Fault::Unreadable });
    };
    if count > limit {
        return Err(Fault::TooLarge(format!("{count} files")));
    }
    reader.seek(SeekFrom::Start(start)).map_err(|_| Fault::Directory)?;
    let mut list = std::io::BufReader::new(&mut *reader);
    let names = (0..count).map(|_| entry(&mut list).ok_or(Fault::Directory)).collect();
    if list.stream_position().ok() == Some(end) { names } else { names.and(Err(Fault::Directory)) }
}

/// The central directory: how many entries, and where they are.
struct Directory {
    count: u64,
    start: u64,
    end: u64,
}

/// Finds the list of entries. A package ends with its seal as the ZIP's comment; a foreign ZIP,
/// commonly, without a comment.
fn directory(reader: &mut (impl Read + Seek)) -> Option<Directory> {
    let seal = u64::try_from(PREFIX.len() + SEAL_LENGTH).ok()?;
    let length = reader.seek(SeekFrom::End(0)).ok()?;
    let at = [seal, 0].into_iter().find_map(|comment| {
        let at = length.checked_sub(END + comment)?;
        let end = bytes::<22>(reader, at)?;
        (end.starts_with(b"PK\x05\x06") && u64::from(short(&end, 20)?) == comment).then_some((at, end))
    });
    let (at, end) = at?;
    let (count, start) = (u64::from(short(&end, 10)?), u64::from(word(&end, 16)?));
    let small = Directory { count, start, end: at };
    if count < 0xFFFF && start < 0xFFFF_FFFF {
        return Some(small);
    }
    let locator = bytes::<20>(reader, at.checked_sub(LOCATOR)?)?;
    if !locator.starts_with(b"PK\x06\x07") {
        return Some(small);
    }
    let end = long(&locator, 8)?;
    let record = bytes::<56>(reader, end)?;
    let large = Directory { count: long(&record, 32)?, start: long(&record, 48)?, end };
    record.starts_with(b"PK\x06\x06").then_some(large)
}

fn entry(reader: &mut impl Read) -> Option<String> {
    let mut header = [0; 46];
    reader.read_exact(&mut header).ok()?;
    if !header.starts_with(b"PK\x01\x02") {
        return None;
    }
    let mut name = vec![0; usize::from(short(&header, 28)?)];
    reader.read_exact(&mut name).ok()?;
    let rest = u64::from(short(&header, 30)?) + u64::from(short(&header, 32)?);
    std::io::copy(&mut reader.take(rest), &mut std::io::sink()).ok().filter(|skipped| *skipped == rest)?;
    String::from_utf8(name).ok()
}

fn bytes<const N: usize>(reader: &mut (impl Read + Seek), at: u64) -> Option<[u8; N]> {
    let mut out = [0; N];
    reader.seek(SeekFrom::Start(at)).ok()?;
    reader.read_exact(&mut out).ok()?;
    Some(out)
}

fn short(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn long(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(bytes.get(at..at + 8)?.try_into().ok()?))
}

/// Whether a name stays in its folder on every system and looks like what it is: plain letters, digits and `-_.`
/// between slashes, no part empty or made of dots.
pub(super) fn is_safe(name: &str) -> bool {
    let part = |part: &str| {
        !part.is_empty()
            && !part.starts_with('.')
            && !part.ends_with('.')
            && part.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.'))
    };
    name.split('/').all(part)
}

#[cfg(test)]
mod tests {
    use super::is_safe;

    #[test]
    fn names_that_lead_elsewhere_are_unsafe() {
        for name in ["data/clients/ab/record.pdf", "bagit.txt", "data/data-dictionary.csv"] {
            assert!(is_safe(name), "{name}");
        }
        for name in [
            "../x",
            "data/../../x",
            "/etc/x",
            "data//x",
            "C:x",
            "a\\b",
            "data/x\u{202E}fdp",
            "data/",
            "",
            "a\0b",
            ".x",
            "x.",
        ] {
            assert!(!is_safe(name), "{name:?}");
        }
    }
}
