//! Whether a PDF (ISO 32000) is whole, and holds nothing that acts.
//!
//! Names of what acts are looked for in all bytes of the file, with `#xx` escapes undone, and in every stream that can
//! be unpacked: objects may lie packed in one. No structure is trusted, so none can hide a name from this search.

use std::io::Read;

use flate2::read::ZlibDecoder;

use super::UploadRefused;

/// What runs, starts, sends, plays or carries another file.
const ACTS: [&[u8]; 9] = [
    b"/JavaScript",
    b"/EmbeddedFile",
    b"/Launch",
    b"/SubmitForm",
    b"/ImportData",
    b"/RichMedia",
    b"/Rendition",
    b"/GoToE",
    b"/XFA",
];
/// The longest name that is looked for, escaped throughout.
const LONGEST: usize = 3 * 16;
/// The most unpacked bytes that are looked at, so that a small file can't keep the machine busy.
const UNPACKED: u64 = 64 * 1024 * 1024;
/// How far back from a stream its dictionary is looked for.
const DICTIONARY: usize = 4096;
/// What a stream costs of that even if it unpacks to nothing: a file may hold a million, and no letter thousands.
const EACH: u64 = 16 * 1024;

pub(super) fn inspect(bytes: &[u8]) -> Result<(), UploadRefused> {
    let tail = bytes.get(bytes.len().saturating_sub(2048)..).unwrap_or(bytes);
    if find(tail, b"%%EOF").is_none() || find(tail, b"startxref").is_none() {
        return Err(UploadRefused::BrokenPdf);
    }
    let plain = unescaped(bytes);
    if named(&plain, b"/Encrypt") {
        return Err(UploadRefused::LockedPdf);
    }
    if acts(&plain) {
        return Err(UploadRefused::ActivePdf);
    }
    streams(bytes)
}

fn streams(bytes: &[u8]) -> Result<(), UploadRefused> {
    let mut budget = UNPACKED;
    let mut at = 0;
    while let Some(found) = bytes.get(at..).and_then(|rest| find(rest, b"stream")) {
        let begin = at + found;
        at = begin + b"stream".len();
        let before = bytes.get(begin.saturating_sub(DICTIONARY)..begin).unwrap_or_default();
        if before.ends_with(b"end") {
            continue;
        }
        budget = budget.checked_sub(EACH).ok_or(UploadRefused::BrokenPdf)?;
        let body = bytes.get(at..).unwrap_or_default();
        let body = body.strip_prefix(b"\r\n").or_else(|| body.strip_prefix(b"\n")).unwrap_or(body);
        let dictionary = unescaped(before);
        let object = find_last(&dictionary, b"obj").and_then(|from| dictionary.get(from..)).unwrap_or(&dictionary);
        let packed_objects = named(object, b"/ObjStm");
        if packed_objects && !plainly_packed(object) {
            return Err(UploadRefused::BrokenPdf);
        }
        // A picture's own pixels hold no objects, and are most of a scan.
        if !packed_objects && named(object, b"/Image") {
            continue;
        }
        unpack(body, packed_objects, &mut budget)?;
    }
    Ok(())
}

/// Packed objects that no common program would pack otherwise: one plain pass of deflate.
fn plainly_packed(object: &[u8]) -> bool {
    let others: [&[u8]; 7] =
        [b"/ASCIIHexDecode", b"/ASCII85Decode", b"/LZWDecode", b"/RunLengthDecode", b"/Crypt", b"/Predictor", b"/F"];
    !others.iter().any(|other| named(object, other))
}

/// Looks at what a stream unpacks to. One that isn't packed was looked at with the whole file.
fn unpack(body: &[u8], must: bool, budget: &mut u64) -> Result<(), UploadRefused> {
    let mut unpacked = ZlibDecoder::new(body).take(*budget + 1);
    let mut window: Vec<u8> = Vec::with_capacity(128 * 1024);
    let (mut chunk, mut any) = (vec![0; 64 * 1024], false);
    loop {
        let count = match unpacked.read(&mut chunk) {
            Ok(0) => return Ok(()),
            Ok(count) => count,
            Err(_) if must && !any => return Err(UploadRefused::BrokenPdf),
            Err(_) => return Ok(()),
        };
        any = true;
        *budget = budget.checked_sub(u64::try_from(count).unwrap_or(u64::MAX)).ok_or(UploadRefused::BrokenPdf)?;
        window.extend_from_slice(chunk.get(..count).unwrap_or_default());
        let acting = if window.contains(&b'#') { acts(&unescaped(&window)) } else { acts(&window) };
        if acting {
            return Err(UploadRefused::ActivePdf);
        }
        let keep = window.len().saturating_sub(LONGEST);
        window.drain(..keep);
    }
}

fn acts(bytes: &[u8]) -> bool {
    let names = bytes.iter().enumerate().filter(|(_, byte)| **byte == b'/');
    names.filter_map(|(at, _)| bytes.get(at..)).any(|rest| {
        ACTS.iter().any(|name| match *name {
            // Three letters stand by chance in packed pixels; followed by the end of a name they hardly do.
            b"/XFA" => rest.starts_with(name) && ends_name(rest.get(name.len())),
            _ => rest.starts_with(name),
        })
    })
}

fn ends_name(next: Option<&u8>) -> bool {
    next.is_none_or(|next| next.is_ascii_whitespace() || *next == 0 || b"/()<>[]{}%".contains(next))
}

/// Whether a name stands there whole.
fn named(bytes: &[u8], name: &[u8]) -> bool {
    let mut rest = bytes;
    while let Some(at) = find(rest, name) {
        rest = rest.get(at + name.len()..).unwrap_or_default();
        if ends_name(rest.first()) {
            return true;
        }
    }
    false
}

fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    let first = *wanted.first()?;
    let mut at = 0;
    while let Some(step) = bytes.get(at..)?.iter().position(|byte| *byte == first) {
        at += step;
        if bytes.get(at..)?.starts_with(wanted) {
            return Some(at);
        }
        at += 1;
    }
    None
}

fn find_last(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    bytes.windows(wanted.len()).rposition(|part| part == wanted)
}

/// With `#xx` as the byte that it stands for, as in names.
fn unescaped(bytes: &[u8]) -> Vec<u8> {
    let digit = |byte: Option<&u8>| byte.and_then(|byte| char::from(*byte).to_digit(16));
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while let Some(byte) = bytes.get(at) {
        let code = (*byte == b'#').then(|| digit(bytes.get(at + 1)).zip(digit(bytes.get(at + 2)))).flatten();
        match code.and_then(|(high, low)| u8::try_from(high * 16 + low).ok()) {
            Some(code) => {
                out.push(code);
                at += 3;
            }
            None => {
                out.push(*byte);
                at += 1;
            }
        }
    }
    out
}
