//! Says whether an export package is as it was written, and names what is not.
//!
//! Reads in small pieces and unpacks nothing to disk, so a package made to harm can only be refused.

mod names;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::io::{self, Read, Seek, SeekFrom};

use zip::ZipArchive;

use super::digest::Digest;
use super::package::{BAG_INFO, BAGIT, EXPORT, KEY, MANIFEST, PREFIX, SEAL_LENGTH, SIGNATURE, TAG_MANIFEST};
use super::record::{ExportHead, LAYOUT};
use crate::sealing::BEGINS;
use crate::studio_key::PublicKey;

/// Bounds against packages made to exhaust the reader.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Bytes of all files together, unpacked.
    pub bytes: u64,
    /// Number of files.
    pub files: u64,
    /// Bytes of one of the bag's own files, which are read whole.
    pub tag_bytes: u64,
}

impl Default for Limits {
    /// 32 GiB in 400,000 files: some 200,000 clients.
    fn default() -> Self {
        Self { bytes: 32 << 30, files: 400_000, tag_bytes: 64 << 20 }
    }
}

/// A package in which every byte is as it was written.
#[derive(Clone)]
pub struct Verified {
    /// Who exported what, when and why.
    pub head: ExportHead,
    /// Number of payload files.
    pub files: u64,
    /// Their size in bytes.
    pub bytes: u64,
    /// Whose signature it bears. Whoever changes a package can sign it anew with another key: compare it with the studio's.
    pub signed_by: PublicKey,
    /// SHA-256 of the manifest, to compare with the studio's log.
    pub manifest_sha256: String,
}

/// What is wrong. File names are as in the package.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// The content of the file is not what it was.
    Changed(String),
    /// The manifest lists the file, the package has none.
    Missing(String),
    /// The package has the file, no manifest lists it.
    Extra(String),
    /// The package has the file more than once, or twice but for upper and lower case.
    Duplicate(String),
    /// The name could lead out of the folder that it is unpacked in, or fools the eye.
    UnsafeName(String),
    /// The file is larger than the limits allow, or claims more than the package can hold.
    TooLarge(String),
    /// Each file is intact, but the ZIP around them is not the one that was written.
    Wrapping,
    /// The signature is not that of the key in the package over this list of files.
    Signature,
    /// The list of files at the end of the ZIP was changed or cut off.
    Directory,
    /// Encrypted: nothing can be said before it is opened.
    Encrypted,
    /// Not a ZIP.
    Unreadable,
    /// A ZIP, but not an export of this program.
    NotOurs,
    /// Written by a version with another layout.
    OtherLayout(u32),
}

/// For the command line, which speaks English; the owner's page has words of its own.
impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Changed(name) => write!(f, "changed: {name:?}"),
            Self::Missing(name) => write!(f, "missing: {name:?}"),
            Self::Extra(name) => write!(f, "not in the manifest: {name:?}"),
            Self::Duplicate(name) => write!(f, "there more than once: {name:?}"),
            Self::UnsafeName(name) => write!(f, "unsafe file name: {name:?}"),
            Self::TooLarge(name) => write!(f, "larger than the limits allow: {name:?}"),
            Self::Wrapping => f.write_str("each file is intact, but the ZIP around them was changed"),
            Self::Signature => f.write_str("the signature does not fit the list of files"),
            Self::Directory => f.write_str("the list of files at the end of the ZIP was cut off or damaged"),
            Self::Encrypted => f.write_str("encrypted: open it first"),
            Self::Unreadable => f.write_str("not a ZIP file"),
            Self::NotOurs => f.write_str("a ZIP file, but not an export of this program"),
            Self::OtherLayout(layout) => write!(f, "written in layout {layout}; this program reads layout {LAYOUT}"),
        }
    }
}

/// Checks a package.
///
/// # Errors
/// Every [`Fault`] found, in order of kind and name.
pub fn verify<R: Read + Seek>(reader: R) -> Result<Verified, Vec<Fault>> {
    verify_within(reader, Limits::default())
}

/// [`verify`] with other bounds.
///
/// # Errors
/// As [`verify`].
pub fn verify_within<R: Read + Seek>(mut reader: R, limits: Limits) -> Result<Verified, Vec<Fault>> {
    if begins_encrypted(&mut reader).map_err(|_| vec![Fault::Unreadable])? {
        return Err(vec![Fault::Encrypted]);
    }
    let sealed = seal_holds(&mut reader).map_err(|_| vec![Fault::Unreadable])?;
    let names = names::listed(&mut reader, limits.files).map_err(|fault| vec![fault])?;
    let archive = ZipArchive::new(reader).map_err(|_| vec![Fault::Directory])?;
    let mut check = Check { archive, limits, left: limits.bytes, faults: BTreeSet::new() };
    let result = check.bag(&names);
    if check.faults.is_empty() && !sealed {
        check.faults.insert(Fault::Wrapping);
    }
    match result {
        Some(verified) if check.faults.is_empty() => Ok(verified),
        _ => Err(check.faults.into_iter().collect()),
    }
}

fn begins_encrypted(reader: &mut (impl Read + Seek)) -> io::Result<bool> {
    let mut begins = Vec::new();
    reader.rewind()?;
    reader.take(u64::try_from(BEGINS.len()).unwrap_or(u64::MAX)).read_to_end(&mut begins)?;
    Ok(begins == BEGINS)
}

/// Whether the file ends with a seal that is right. Reads all of it once.
fn seal_holds(reader: &mut (impl Read + Seek)) -> io::Result<bool> {
    let tail = u64::try_from(PREFIX.len() + SEAL_LENGTH).unwrap_or(u64::MAX);
    let seal = u64::try_from(SEAL_LENGTH).unwrap_or(u64::MAX);
    let length = reader.seek(SeekFrom::End(0))?;
    let Some(at) = length.checked_sub(tail) else { return Ok(false) };
    reader.rewind()?;
    let content = digest(reader.by_ref().take(length - seal), u64::MAX, io::sink());
    reader.seek(SeekFrom::Start(at))?;
    let mut comment = String::new();
    if reader.read_to_string(&mut comment).is_err() {
        return Ok(false);
    }
    Ok(matches!(content, Content::Whole { sha256, .. } if comment.strip_prefix(PREFIX) == Some(sha256.as_str())))
}

struct Check<R> {
    archive: ZipArchive<R>,
    limits: Limits,
    /// Bytes that may still be unpacked.
    left: u64,
    faults: BTreeSet<Fault>,
}

/// How reading one file ended.
enum Content {
    Whole { sha256: String, length: u64 },
    Broken,
    TooLarge,
}

impl<R: Read + Seek> Check<R> {
    /// Checks the bag; `None` when it can't be told what it should hold.
    fn bag(&mut self, names: &[String]) -> Option<Verified> {
        let present: BTreeSet<&str> = names.iter().map(String::as_str).collect();
        let needed = [MANIFEST, TAG_MANIFEST, EXPORT, "bagit.txt", BAG_INFO, KEY, SIGNATURE];
        let missing: Vec<&str> = needed.into_iter().filter(|name| !present.contains(name)).collect();
        // One that is missing was taken out or renamed; a ZIP without several never was a package.
        if missing.len() > 1 {
            self.faults.insert(Fault::NotOurs);
            return None;
        }
        self.faults.extend(missing.into_iter().map(|name| Fault::Missing(name.to_owned())));
        self.names(names);
        if !self.faults.is_empty() {
            return None;
        }
        let signed_by = self.signature()?;
        let (tags, _) = self.manifest(TAG_MANIFEST)?;
        let (payload, manifest_sha256) = self.manifest(MANIFEST)?;
        let mut bytes = 0;
        for (name, expected) in tags.iter().chain(&payload) {
            if !present.contains(name.as_str()) {
                self.faults.insert(Fault::Missing(name.clone()));
                continue;
            }
            match self.read(name, &mut io::sink()) {
                Content::TooLarge => {
                    self.faults.insert(Fault::TooLarge(name.clone()));
                }
                Content::Whole { sha256, length } if sha256 == *expected => {
                    bytes += if payload.contains_key(name) { length } else { 0 };
                }
                _ => {
                    self.faults.insert(Fault::Changed(name.clone()));
                }
            }
        }
        // A manifest that leaves these out is no account of the bag.
        for name in [MANIFEST, "bagit.txt", BAG_INFO, KEY] {
            if !tags.contains_key(name) {
                self.faults.insert(Fault::Changed(TAG_MANIFEST.to_owned()));
            }
        }
        for name in present {
            let listed = if name.starts_with("data/") { &payload } else { &tags };
            if ![TAG_MANIFEST, SIGNATURE].contains(&name) && !listed.contains_key(name) {
                self.faults.insert(Fault::Extra(name.to_owned()));
            }
        }
        let files = u64::try_from(payload.len()).unwrap_or(u64::MAX);
        self.declared(files, bytes);
        let head = self.head()?;
        Some(Verified { head, files, bytes, signed_by, manifest_sha256 })
    }

    fn names(&mut self, names: &[String]) {
        let mut seen = BTreeSet::new();
        for name in names {
            if !names::is_safe(name) {
                self.faults.insert(Fault::UnsafeName(name.clone()));
            }
            if !seen.insert(name.to_lowercase()) {
                self.faults.insert(Fault::Duplicate(name.clone()));
            }
        }
    }

    /// Whose signature the list of files bears; it is read on when the signature doesn't fit, to name what was changed.
    fn signature(&mut self) -> Option<PublicKey> {
        let (tags, _) = self.text(TAG_MANIFEST)?;
        let (pem, _) = self.text(KEY)?;
        let (signature, _) = self.bytes(SIGNATURE)?;
        let key = PublicKey::from_pem(&pem);
        match key {
            Some(key) if key.has_signed(tags.as_bytes(), &signature) => {}
            Some(_) => {
                self.faults.insert(Fault::Signature);
            }
            None => {
                self.faults.insert(Fault::Changed(KEY.to_owned()));
            }
        }
        key
    }

    /// Reads a manifest: name to hash, and the hash of the manifest itself.
    fn manifest(&mut self, name: &str) -> Option<(BTreeMap<String, String>, String)> {
        let (text, sha256) = self.text(name)?;
        let mut files = BTreeMap::new();
        let sound = text.ends_with('\n')
            && text.split_terminator('\n').all(|line| {
                line.split_once("  ").is_some_and(|(hash, file)| {
                    let digits = hash.len() == 64 && hash.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
                    let belongs = (name == MANIFEST) == file.starts_with("data/");
                    digits && belongs && files.insert(file.to_owned(), hash.to_owned()).is_none()
                })
            });
        if !sound {
            self.faults.insert(Fault::Changed(name.to_owned()));
            return None;
        }
        Some((files, sha256))
    }

    /// What the bag says of itself: its version, and how much it holds.
    fn declared(&mut self, files: u64, bytes: u64) {
        if self.text("bagit.txt").is_some_and(|(text, _)| text != BAGIT) {
            self.faults.insert(Fault::Changed("bagit.txt".to_owned()));
        }
        let oxum = format!("Payload-Oxum: {bytes}.{files}");
        if self.faults.is_empty() && self.text(BAG_INFO).is_some_and(|(text, _)| !text.lines().any(|line| line == oxum))
        {
            self.faults.insert(Fault::Changed(BAG_INFO.to_owned()));
        }
    }

    fn head(&mut self) -> Option<ExportHead> {
        #[derive(serde::Deserialize)]
        struct Layout {
            layout: u32,
        }
        let (text, _) = self.text(EXPORT)?;
        match serde_json::from_str::<Layout>(&text) {
            Ok(Layout { layout }) if layout != LAYOUT => {
                self.faults.insert(Fault::OtherLayout(layout));
                None
            }
            _ => {
                let head = serde_json::from_str(&text).ok();
                if head.is_none() {
                    self.faults.insert(Fault::NotOurs);
                }
                head
            }
        }
    }

    fn text(&mut self, name: &str) -> Option<(String, String)> {
        let (bytes, sha256) = self.bytes(name)?;
        let text = String::from_utf8(bytes).ok();
        if text.is_none() {
            self.faults.insert(Fault::Changed(name.to_owned()));
        }
        Some((text?, sha256))
    }

    /// One of the bag's own files, whole, and its hash.
    fn bytes(&mut self, name: &str) -> Option<(Vec<u8>, String)> {
        let mut bytes = Vec::new();
        let limit = self.limits.tag_bytes;
        let left = std::mem::replace(&mut self.left, limit);
        let content = self.read(name, &mut bytes);
        self.left = left;
        let fault = match content {
            Content::Whole { sha256, .. } => return Some((bytes, sha256)),
            Content::TooLarge => Fault::TooLarge(name.to_owned()),
            Content::Broken => Fault::Changed(name.to_owned()),
        };
        self.faults.insert(fault);
        None
    }

    /// Reads a file to its end, but no more than may still be unpacked.
    fn read(&mut self, name: &str, out: &mut impl io::Write) -> Content {
        let Ok(file) = self.archive.by_name(name) else { return Content::Broken };
        let content = digest(file, self.left, out);
        if let Content::Whole { length, .. } = &content {
            self.left -= length;
        }
        content
    }
}

/// Copies and hashes, in small pieces, no more than `limit` bytes and one.
fn digest(from: impl Read, limit: u64, out: impl io::Write) -> Content {
    let mut digest = Digest::new(out);
    match io::copy(&mut from.take(limit.saturating_add(1)), &mut digest).and_then(|_| digest.finish()) {
        Ok(all) if all.bytes > limit => Content::TooLarge,
        Ok(all) => Content::Whole { sha256: all.sha256, length: all.bytes },
        Err(_) => Content::Broken,
    }
}
