//! The export package: what is in it, that an independent reader accepts it, and that any change is found.

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _, Write as _};

use palpebra::documents::package::{PackageRefused, PackageWriter, Rendered, Summary};
use palpebra::documents::pdf::Press;
use palpebra::documents::record::{ClientRecord, Paper};
use palpebra::documents::verify::{Fault, Limits, verify, verify_within};
use palpebra::studio_key::StudioKey;
use proptest::prelude::*;
use sha2::{Digest as _, Sha256};
use std::sync::LazyLock;
use zip::write::SimpleFileOptions;

use super::sample;

fn key() -> StudioKey {
    StudioKey::from_seed(&[7; 32]).unwrap()
}

fn package(clients: &[ClientRecord]) -> (Summary, Vec<u8>) {
    let spool = Cursor::new(Vec::new());
    let mut writer = PackageWriter::new(Vec::new(), spool, sample::head(), key()).unwrap();
    writer.add_papers(&sample::papers()).unwrap();
    for paper in sample::papers() {
        writer.add_paper_file(&paper.file, paper.number.as_bytes()).unwrap();
    }
    for client in clients {
        writer.add_client(client).unwrap();
    }
    writer.finish().unwrap()
}

static PACKAGE: LazyLock<(Summary, Vec<u8>)> = LazyLock::new(|| package(&[sample::client(1), sample::client(2)]));

type Files = Vec<(String, Vec<u8>)>;

fn unpack(zip: &[u8]) -> Files {
    let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
    let read = |index| {
        let mut file = archive.by_index(index).unwrap();
        let mut content = Vec::new();
        file.read_to_end(&mut content).unwrap();
        (file.name().unwrap().into_owned(), content)
    };
    (0..zip::ZipArchive::new(Cursor::new(zip)).unwrap().len()).map(read).collect()
}

/// A ZIP as another program would write it.
fn pack(files: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        writer.start_file(name.as_str(), SimpleFileOptions::default()).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn faults(zip: &[u8]) -> Vec<Fault> {
    verify(Cursor::new(zip)).err().unwrap_or_default()
}

fn id(n: u8) -> String {
    sample::client(n).id.to_string()
}

#[test]
fn a_package_holds_each_client_and_all_tables_and_is_verified() {
    let (summary, zip) = &*PACKAGE;
    if let Ok(path) = std::env::var("PALPEBRA_KEEP_PACKAGE") {
        std::fs::write(path, zip).unwrap();
    }
    let verified = verify(Cursor::new(zip)).map_err(|faults| format!("{faults:?}")).unwrap();
    assert!(verified.head == sample::head());
    assert_eq!(verified.files, summary.files);
    assert_eq!(verified.bytes, summary.bytes);
    assert_eq!(verified.manifest_sha256, summary.manifest_sha256);
    assert_eq!(verified.signed_by, key().public());
    assert_eq!(summary.clients, 2);
    let files: BTreeMap<_, _> = unpack(zip).into_iter().collect();
    for n in [1, 2] {
        let read: ClientRecord =
            serde_json::from_slice(&files[&format!("data/clients/{}/record.json", id(n))]).unwrap();
        assert!(read == sample::client(n), "the JSON is the record");
        assert!(files[&format!("data/clients/{}/record.pdf", id(n))].starts_with(b"%PDF-1.7"));
    }
    let visits = String::from_utf8(files["data/tables/visits.csv"].clone()).unwrap();
    assert_eq!(visits.matches("Garden room").count(), 2);
    assert!(visits.starts_with("client,visit,service,"));
    let papers: Vec<Paper> = serde_json::from_slice(&files["data/papers.json"]).unwrap();
    assert!(papers == sample::papers(), "the JSON is the list");
    for paper in papers {
        assert_eq!(files[&format!("data/papers/{}", paper.file)], paper.number.as_bytes());
    }
}

/// RFC 8493: the declaration to the byte, every payload file in the manifest once, the tag files in theirs.
#[test]
fn the_layout_is_a_bag() {
    let files: BTreeMap<_, _> = unpack(&PACKAGE.1).into_iter().collect();
    assert_eq!(files["bagit.txt"], b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    for (manifest, payload) in [("manifest-sha256.txt", true), ("tagmanifest-sha256.txt", false)] {
        let text = String::from_utf8(files[manifest].clone()).unwrap();
        let listed: BTreeMap<_, _> =
            text.lines().map(|line| line.split_once("  ").unwrap()).map(|(h, f)| (f, h)).collect();
        let mine = files
            .iter()
            .filter(|(name, _)| name.starts_with("data/") == payload && !name.starts_with("tagmanifest-sha256.txt"));
        let real: BTreeMap<_, _> = mine
            .map(|(name, content)| (name.as_str(), data_encoding::HEXLOWER.encode(&Sha256::digest(content))))
            .collect();
        assert_eq!(listed, real.iter().map(|(name, hash)| (*name, hash.as_str())).collect());
    }
    let sizes: usize =
        files.iter().filter(|(name, _)| name.starts_with("data/")).map(|(_, content)| content.len()).sum();
    let info = String::from_utf8(files["bag-info.txt"].clone()).unwrap();
    assert!(info.contains(&format!("Payload-Oxum: {sizes}.{}\n", PACKAGE.0.files)), "{info}");
}

#[test]
fn the_same_input_gives_the_same_bytes_whoever_renders() {
    let mut writer = PackageWriter::new(Vec::new(), Cursor::new(Vec::new()), sample::head(), key()).unwrap();
    writer.add_papers(&sample::papers()).unwrap();
    for paper in sample::papers() {
        writer.add_paper_file(&paper.file, paper.number.as_bytes()).unwrap();
    }
    for n in [1, 2] {
        writer.add(&Rendered::new(&mut Press::default(), &sample::head(), &sample::client(n)).unwrap()).unwrap();
    }
    assert!(writer.finish().unwrap().1 == PACKAGE.1);
}

#[test]
fn papers_and_their_files_go_in_once() {
    let mut writer = PackageWriter::new(Vec::new(), Cursor::new(Vec::new()), sample::head(), key()).unwrap();
    writer.add_papers(&sample::papers()).unwrap();
    assert!(matches!(writer.add_papers(&[]), Err(PackageRefused::Zip(_))));
    writer.add_paper_file("a.pdf", b"%PDF").unwrap();
    assert!(matches!(writer.add_paper_file("a.pdf", b"%PDF"), Err(PackageRefused::Zip(_))));
}

#[test]
fn a_client_goes_in_once() {
    let mut writer = PackageWriter::new(Vec::new(), Cursor::new(Vec::new()), sample::head(), key()).unwrap();
    writer.add_client(&sample::client(1)).unwrap();
    assert!(matches!(writer.add_client(&sample::client(1)), Err(PackageRefused::Zip(_))));
}

#[test]
fn an_export_of_nobody_is_a_package_too() {
    assert!(verify(Cursor::new(package(&[]).1)).is_ok());
}

#[test]
fn each_kind_of_change_is_named() {
    let files = unpack(&PACKAGE.1);
    let with = |change: &dyn Fn(&mut Files)| {
        let mut files = files.clone();
        change(&mut files);
        faults(&pack(&files))
    };
    let pdf = format!("data/clients/{}/record.pdf", id(1));
    let at = |files: &[(String, Vec<u8>)], name: &str| files.iter().position(|(n, _)| n == name).unwrap();
    assert_eq!(with(&|_| ()), [Fault::Wrapping], "packed again by another program");
    assert_eq!(
        with(&|f| {
            let i = at(f, &pdf);
            f[i].1[1000] ^= 1;
        }),
        [Fault::Changed(pdf.clone())]
    );
    assert_eq!(
        with(&|f| {
            let i = at(f, &pdf);
            f.remove(i);
        }),
        [Fault::Missing(pdf.clone())]
    );
    let paper = format!("data/papers/{}", sample::papers()[1].file);
    assert_eq!(
        with(&|f| {
            let i = at(f, &paper);
            f[i].1[0] ^= 1;
        }),
        [Fault::Changed(paper.clone())]
    );
    assert_eq!(
        with(&|f| f.push(("data/clients/more.txt".to_owned(), vec![1]))),
        [Fault::Extra("data/clients/more.txt".to_owned())]
    );
    assert_eq!(with(&|f| f.push(("note.txt".to_owned(), vec![1]))), [Fault::Extra("note.txt".to_owned())]);
    for name in ["../evil", "/evil", "data/..\\evil", "C:evil"] {
        assert_eq!(with(&|f| f.push((name.to_owned(), vec![1]))), [Fault::UnsafeName(name.to_owned())]);
    }
    assert_eq!(
        with(&|f| f.push((pdf.to_uppercase(), vec![1]))),
        [Fault::Duplicate(pdf.to_uppercase())],
        "the same on a disk that ignores case"
    );
    assert_eq!(
        with(&|f| {
            let i = at(f, "bag-info.txt");
            f[i].1.push(b'x');
        }),
        [Fault::Changed("bag-info.txt".to_owned())]
    );
    assert_eq!(
        with(&|f| {
            let i = at(f, "manifest-sha256.txt");
            f[i].1[0] = b'x';
        }),
        [Fault::Changed("manifest-sha256.txt".to_owned())]
    );
}

/// Two entries of one name: the ZIP library refuses to write them, so the name of another one is overwritten.
#[test]
fn a_doubled_entry_is_named() {
    let mut files = unpack(&PACKAGE.1);
    files.push(("bag-infx.txt".to_owned(), vec![1]));
    let mut zip = pack(&files);
    while let Some(at) = zip.windows(12).position(|window| window == b"bag-infx.txt") {
        zip[at + 7] = b'o';
    }
    assert_eq!(faults(&zip), [Fault::Duplicate("bag-info.txt".to_owned())]);
}

#[test]
fn a_foreign_zip_is_told_from_a_broken_one() {
    assert_eq!(faults(&pack(&[("hello.txt".to_owned(), vec![1])])), [Fault::NotOurs]);
    assert_eq!(faults(b"%PDF-1.7 but no ZIP, however long this text may be made to be"), [Fault::Unreadable]);
    assert_eq!(faults(b""), [Fault::Unreadable]);
    let zip = &PACKAGE.1;
    assert_eq!(faults(&zip[..zip.len() / 2]), [Fault::Directory], "cut off");
}

#[test]
fn a_later_layout_is_told() {
    let mut files = unpack(&PACKAGE.1);
    for (_, content) in files.iter_mut().filter(|(name, _)| name == "data/export.json") {
        *content = String::from_utf8(content.clone()).unwrap().replace("\"layout\": 1", "\"layout\": 7").into_bytes();
    }
    assert!(faults(&pack(&files)).contains(&Fault::OtherLayout(7)));
}

#[test]
fn a_package_that_unpacks_without_end_is_bounded() {
    let mut files = unpack(&PACKAGE.1);
    for (_, content) in files.iter_mut().filter(|(name, _)| name == "data/tables/visits.csv") {
        *content = vec![b'0'; 40 << 20];
    }
    let limits = Limits { bytes: 10 << 20, ..Limits::default() };
    let faults = verify_within(Cursor::new(pack(&files)), limits).err().unwrap();
    assert!(faults.contains(&Fault::TooLarge("data/tables/visits.csv".to_owned())), "{faults:?}");
    let limits = Limits { files: 3, ..Limits::default() };
    assert!(matches!(verify_within(Cursor::new(&PACKAGE.1), limits).err().unwrap()[..], [Fault::TooLarge(_)]));
    let limits = Limits { tag_bytes: 100, ..Limits::default() };
    assert!(verify_within(Cursor::new(&PACKAGE.1), limits).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn a_flipped_byte_is_found_and_its_file_named(at in any::<prop::sample::Index>(), mask in 1u8..=255) {
        let zip = &PACKAGE.1;
        let at = at.index(zip.len());
        let mut changed = zip.clone();
        changed[at] ^= mask;
        let found = faults(&changed);
        prop_assert!(!found.is_empty(), "byte {at}");
        let mut archive = zip::ZipArchive::new(Cursor::new(zip)).unwrap();
        let inside = (0..archive.len()).find_map(|index| {
            let file = archive.by_index(index).unwrap();
            let start = usize::try_from(file.data_start().unwrap()).unwrap();
            let end = start + usize::try_from(file.compressed_size()).unwrap();
            (start..end).contains(&at).then(|| file.name().unwrap().into_owned())
        });
        if let Some(name) = inside {
            // A spare bit at the end of a compressed stream changes no file; the seal still tells.
            prop_assert!(found == [Fault::Changed(name.clone())] || found == [Fault::Wrapping], "{name}: {found:?}");
        }
    }

    #[test]
    fn a_package_cut_anywhere_is_refused(at in any::<prop::sample::Index>()) {
        let zip = &PACKAGE.1;
        prop_assert!(!faults(&zip[..at.index(zip.len())]).is_empty());
    }
}
