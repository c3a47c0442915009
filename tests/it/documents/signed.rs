//! Whose a package is, that any flipped byte is found and named, and that independent tools agree.

use std::io::{Cursor, Read as _, Write as _};
use std::process::Command;
use std::sync::LazyLock;

use palpebra::documents::package::PackageWriter;
use palpebra::documents::verify::{Fault, verify};
use palpebra::studio_key::StudioKey;
use sha2::{Digest as _, Sha256};
use zip::write::SimpleFileOptions;

use super::sample;

const TAGS: &str = "tagmanifest-sha256.txt";
const SIGNATURE: &str = "tagmanifest-sha256.txt.sig";

static PACKAGE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let key = StudioKey::from_seed(&[7; 32]).unwrap();
    let mut writer = PackageWriter::new(Vec::new(), Cursor::new(Vec::new()), sample::head(), key).unwrap();
    writer.add_papers(&sample::papers()).unwrap();
    for paper in sample::papers() {
        writer.add_paper_file(&paper.file, paper.number.as_bytes()).unwrap();
    }
    writer.add_client(&sample::client(1)).unwrap();
    writer.finish().unwrap().1
});

fn faults(zip: &[u8]) -> Vec<Fault> {
    verify(Cursor::new(zip)).err().unwrap_or_default()
}

/// What a byte of the package belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Region {
    LocalHeader,
    Content,
    /// Between a content and the next entry: its length and checksum, which a stream writes behind it.
    Descriptor,
    Directory,
    End,
}

/// Every byte from the first to the last, with its region and the file that it is about.
fn regions(zip: &[u8]) -> Vec<(Region, Option<String>)> {
    let short = |at: usize| usize::from(u16::from_le_bytes([zip[at], zip[at + 1]]));
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    let directory = usize::try_from(archive.central_directory_start()).unwrap();
    let mut out = Vec::new();
    for index in 0..archive.len() {
        let file = archive.by_index(index).unwrap();
        let name = file.name().unwrap().into_owned();
        let start = usize::try_from(file.data_start().unwrap()).unwrap();
        let end = start + usize::try_from(file.compressed_size()).unwrap();
        drop(file);
        let next = if index + 1 < archive.len() {
            usize::try_from(archive.by_index(index + 1).unwrap().header_start()).unwrap()
        } else {
            directory
        };
        for (until, region) in [(start, Region::LocalHeader), (end, Region::Content), (next, Region::Descriptor)] {
            out.resize(until, (region, Some(name.clone())));
        }
    }
    // APPNOTE 4.3.12: 46 bytes, then as many as the lengths of name, extra field and comment say.
    let mut at = directory;
    while zip[at..].starts_with(b"PK\x01\x02") {
        let end = at + 46 + short(at + 28) + short(at + 30) + short(at + 32);
        let name = String::from_utf8(zip[at + 46..at + 46 + short(at + 28)].to_vec()).unwrap();
        out.resize(end, (Region::Directory, Some(name)));
        at = end;
    }
    out.resize(zip.len(), (Region::End, None));
    out
}

/// Whether a fault points to the file, or to the part of the ZIP that is not in any file.
fn names(fault: &Fault, region: Region, file: Option<&str>) -> bool {
    let one_letter_off = |name: &str| {
        file.is_some_and(|file| {
            file.len() == name.len() && std::iter::zip(file.bytes(), name.bytes()).filter(|(a, b)| a != b).count() == 1
        })
    };
    match fault {
        Fault::Changed(name) | Fault::Missing(name) | Fault::TooLarge(name) => Some(name.as_str()) == file,
        Fault::Extra(name) | Fault::UnsafeName(name) | Fault::Duplicate(name) => {
            region == Region::Directory && one_letter_off(name)
        }
        Fault::Wrapping => true,
        Fault::Directory => matches!(region, Region::Directory | Region::End),
        _ => false,
    }
}

/// In every region of every file: all bytes of headers, names, directory and end, and of the contents the first and last
/// hundred and a spread between.
#[test]
fn a_flipped_byte_anywhere_is_found_and_what_it_belongs_to_is_named() {
    let zip = &*PACKAGE;
    let regions = regions(zip);
    let (mut tried, mut content_named) = (std::collections::BTreeMap::new(), 0);
    let mut edge = 0;
    for (at, (region, file)) in regions.iter().enumerate() {
        let near = |by: usize| {
            let other = if by > at { None } else { regions.get(at - by) };
            other != Some(&regions[at]) || regions.get(at + by) != Some(&regions[at])
        };
        edge = if near(1) { 0 } else { edge + 1 };
        if *region == Region::Content && !near(100) && edge % 199 != 0 {
            continue;
        }
        let mut changed = zip.clone();
        changed[at] ^= 1 << (at * 5 % 8);
        let found = faults(&changed);
        let name = file.as_deref();
        assert!(!found.is_empty(), "byte {at}, {region:?} of {name:?}");
        assert!(found.iter().all(|fault| names(fault, *region, name)), "byte {at}, {region:?} of {name:?}: {found:?}");
        *tried.entry(*region).or_insert(0) += 1;
        content_named += usize::from(*region == Region::Content && found == [Fault::Changed(name.unwrap().to_owned())]);
    }
    let of = |region| tried.get(&region).copied().unwrap_or(0);
    for region in [Region::LocalHeader, Region::Content, Region::Descriptor, Region::Directory, Region::End] {
        assert!(of(region) > 100, "{tried:?}");
    }
    // The rest are spare bits at the end of a compressed stream, which change no file.
    assert!(content_named * 100 >= of(Region::Content) * 99, "{content_named} of {tried:?}");
}

type Files = Vec<(String, Vec<u8>)>;

fn unpack(zip: &[u8]) -> Files {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    let mut files = Vec::new();
    for index in 0..archive.len() {
        let mut file = archive.by_index(index).unwrap();
        let mut content = Vec::new();
        file.read_to_end(&mut content).unwrap();
        files.push((file.name().unwrap().into_owned(), content));
    }
    files
}

fn pack(files: &Files) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        writer.start_file(name.as_str(), SimpleFileOptions::default()).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn content<'a>(files: &'a mut Files, name: &str) -> &'a mut Vec<u8> {
    &mut files.iter_mut().find(|(n, _)| n == name).unwrap().1
}

/// Changes a file and all checksums after it, as somebody would who knows the layout but not the key.
fn with_new_checksums() -> Files {
    let mut files = unpack(&PACKAGE);
    let hash = |bytes: &[u8]| data_encoding::HEXLOWER.encode(&Sha256::digest(bytes));
    for (name, list) in [("data/tables/visits.csv", "manifest-sha256.txt"), ("manifest-sha256.txt", TAGS)] {
        let before = hash(&unpack(&PACKAGE).into_iter().find(|(n, _)| n == name).unwrap().1);
        if name.ends_with(".csv") {
            let changed = String::from_utf8(content(&mut files, name).clone()).unwrap();
            assert!(changed.contains("Garden"));
            *content(&mut files, name) = changed.replace("Garden", "Gerden").into_bytes();
        }
        let after = hash(content(&mut files, name));
        let text = String::from_utf8(content(&mut files, list).clone()).unwrap();
        assert_ne!(before, after);
        *content(&mut files, list) = text.replace(&before, &after).into_bytes();
    }
    files
}

#[test]
fn checksums_made_anew_don_t_bring_the_signature_with_them() {
    assert_eq!(faults(&pack(&with_new_checksums())), [Fault::Signature]);
}

#[test]
fn whoever_signs_anew_can_only_do_so_with_another_key() {
    let mut files = with_new_checksums();
    let other = StudioKey::from_seed(&[8; 32]).unwrap();
    let pem = content(&mut files, "studio-key.pem").clone();
    let hash = |bytes: &[u8]| data_encoding::HEXLOWER.encode(&Sha256::digest(bytes));
    let tags = String::from_utf8(content(&mut files, TAGS).clone()).unwrap();
    let tags = tags.replace(&hash(&pem), &hash(other.public().to_pem().as_bytes()));
    *content(&mut files, "studio-key.pem") = other.public().to_pem().into_bytes();
    *content(&mut files, SIGNATURE) = other.sign(tags.as_bytes());
    *content(&mut files, TAGS) = tags.into_bytes();
    // The seal at the end covers all bytes and is no secret, so a forger makes that anew too.
    assert_eq!(faults(&pack(&files)), [Fault::Wrapping]);
    // The signature of another key with the studio's own key beside it fits nothing.
    let mut files = unpack(&PACKAGE);
    *content(&mut files, SIGNATURE) = other.sign(&content(&mut files, TAGS).clone());
    assert_eq!(faults(&pack(&files)), [Fault::Signature]);
    // Without its signature it is no package.
    files.retain(|(name, _)| name != SIGNATURE);
    assert_eq!(faults(&pack(&files)), [Fault::Missing(SIGNATURE.to_owned())]);
}

fn write_out(folder: &std::path::Path) {
    for (name, content) in unpack(&PACKAGE) {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }
}

fn run(program: impl AsRef<std::ffi::OsStr>, arguments: &[&str], folder: &std::path::Path) -> (bool, String) {
    let out = Command::new(program).args(arguments).current_dir(folder).output().unwrap();
    let text = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    (out.status.success(), text)
}

/// The command stands in the package's own read-me.
#[test]
fn a_common_tool_accepts_the_signature() {
    let folder = tempfile::tempdir().unwrap();
    write_out(folder.path());
    let read_me = std::fs::read_to_string(folder.path().join("read-me.txt")).unwrap();
    let line = read_me.lines().find(|line| line.contains("openssl")).unwrap();
    let words: Vec<&str> = line.split_whitespace().skip(1).collect();
    let (well, said) = run("openssl", &words, folder.path());
    assert!(well && said.contains("Verified Successfully"), "{said}");
    let tags = folder.path().join(TAGS);
    let mut bytes = std::fs::read(&tags).unwrap();
    bytes[0] ^= 1;
    std::fs::write(&tags, bytes).unwrap();
    assert!(!run("openssl", &words, folder.path()).0);
}

#[test]
fn an_independent_reader_of_bags_accepts_it_and_names_what_was_changed() {
    let python = std::env::var_os("PALPEBRA_PYTHON").expect("run this test through tests/run, which installs Python");
    let folder = tempfile::tempdir().unwrap();
    write_out(folder.path());
    let check = || run(&python, &[concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/bag.py"), "."], folder.path());
    let (well, said) = check();
    assert!(well && said.starts_with("valid"), "{said}");
    let paper = format!("data/papers/{}", sample::papers()[0].file);
    for name in ["data/tables/visits.csv", "data/tables/past_visits.csv", "data/papers.json", &paper] {
        let changed = folder.path().join(name);
        let whole = std::fs::read(&changed).unwrap();
        let mut bytes = whole.clone();
        bytes[3] ^= 1;
        std::fs::write(&changed, bytes).unwrap();
        let (well, said) = check();
        assert!(!well && said.contains(name), "{said}");
        std::fs::write(&changed, whole).unwrap();
    }
    assert!(check().0, "put back");
}
