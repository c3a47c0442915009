//! Every seed of the fuzzer goes through its parser, so that nothing that was once found comes back, and so do many that were
//! changed at random. `tests/run --fuzz` looks for more, and is told where each input leads.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may fail where it stands"
)]

#[path = "../fuzz/src/targets.rs"]
mod targets;

use std::collections::BTreeSet;
use std::fs;
use std::io::Cursor;
use std::panic::catch_unwind;
use std::path::{Path, PathBuf};
use std::thread;

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use palpebra::documents::package::PackageWriter;
use palpebra::sealing::Lock;
use palpebra::studio_key::StudioKey;
use rand::rngs::StdRng;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use targets::{TARGETS, Target};

use crate::documents::sample;
use crate::documents::upload::with_exif;

const SEEDS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/fuzz/seeds");

fn inside(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
}

#[test]
fn every_seed_is_read_and_each_parser_takes_one() {
    let mut folders: BTreeSet<PathBuf> = inside(Path::new(SEEDS)).into_iter().filter(|path| path.is_dir()).collect();
    for target in TARGETS {
        let folder = Path::new(SEEDS).join(target.name);
        assert!(folders.remove(&folder), "{} has no seeds", target.name);
        let mut taken = false;
        for seed in inside(&folder) {
            let bytes = fs::read(&seed).unwrap();
            taken |= catch_unwind(|| (target.run)(&bytes)).unwrap_or_else(|_| panic!("{} breaks it", seed.display()));
        }
        assert!(taken, "no seed of {} is taken, so they try next to nothing", target.name);
    }
    assert!(folders.is_empty(), "no target reads {folders:?}");
}

/// How many changed seeds each parser is given: a few, more in CI.
fn tries() -> u64 {
    std::env::var("PALPEBRA_FUZZINGS").map_or(1_000, |tries| tries.parse().unwrap())
}

/// A span of `bytes`, which may be empty.
fn span(random: &mut StdRng, bytes: &[u8]) -> std::ops::Range<usize> {
    let from = random.random_range(0..=bytes.len());
    from..random.random_range(from..=bytes.len().min(from + 64))
}

/// A seed with a change, or up to six.
fn changed(random: &mut StdRng, seeds: &[Vec<u8>]) -> Vec<u8> {
    /// Ends of numbers, and what divides texts.
    const TELLING: &[u8] = b"\0\x01\x7f\x80\xff\r\n\t ,;:=%&\"'<>{}[]()+-./\\09aZ";
    let mut bytes = seeds.choose(random).unwrap().clone();
    for _ in 0..random.random_range(1..=6) {
        let here = span(random, &bytes);
        let put = match random.random_range(0..6) {
            0 => vec![],
            1 => vec![random.random()],
            2 => vec![*TELLING.choose(random).unwrap()],
            3 => bytes[here.clone()].repeat(random.random_range(2..40)),
            4 => bytes[here.clone()].iter().map(|byte| byte ^ (1 << random.random_range(0..8))).collect(),
            _ => {
                let other = seeds.choose(random).unwrap();
                other[span(random, other)].to_vec()
            }
        };
        bytes.splice(here, put);
    }
    bytes.truncate(65_536);
    bytes
}

/// Gives a parser so many changed seeds, always the same ones; which of them broke it is kept.
fn try_hard(target: &Target, tries: u64) {
    let seeds: Vec<Vec<u8>> =
        inside(&Path::new(SEEDS).join(target.name)).iter().map(|path| fs::read(path).unwrap()).collect();
    for number in 0..tries {
        let bytes = changed(&mut StdRng::seed_from_u64(number), &seeds);
        if catch_unwind(|| (target.run)(&bytes)).is_err() {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("artefacts/fuzz").join(target.name);
            fs::create_dir_all(&folder).unwrap();
            let kept = folder.join(format!("changed-{number}"));
            fs::write(&kept, bytes).unwrap();
            panic!("{} breaks {}", kept.display(), target.name);
        }
    }
}

#[test]
fn no_seed_breaks_a_parser_however_it_was_changed() {
    let tries = tries();
    thread::scope(|scope| {
        let work: Vec<_> = TARGETS.iter().map(|target| scope.spawn(move || try_hard(target, tries))).collect();
        assert!(work.into_iter().all(|one| one.join().is_ok()), "which one stands above");
    });
}

/// Seeds that no editor writes: photos, a package, something encrypted. Run it by name to write them anew.
#[test]
#[ignore = "writes tests/fuzz/seeds"]
fn writes_the_seeds() {
    let keep = |target: &str, name: &str, bytes: &[u8]| {
        let folder = Path::new(SEEDS).join(target);
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join(name), bytes).unwrap();
    };
    let picture = DynamicImage::ImageRgb8(RgbImage::from_fn(24, 17, |x, y| {
        Rgb([x, y, x * y].map(|value| u8::try_from(value % 256).unwrap()))
    }));
    let (colour, grey) = (picture.clone(), DynamicImage::from(picture.clone().into_luma8()));
    for (name, picture, format) in [
        ("colour.jpeg", &colour, ImageFormat::Jpeg),
        ("colour.png", &colour, ImageFormat::Png),
        ("colour.webp", &colour, ImageFormat::WebP),
        ("grey.jpeg", &grey, ImageFormat::Jpeg),
        ("grey.png", &grey, ImageFormat::Png),
        ("grey.webp", &grey, ImageFormat::WebP),
        ("glass.png", &picture.clone().into_rgba8().into(), ImageFormat::Png),
        ("deep.png", &picture.clone().into_rgb16().into(), ImageFormat::Png),
    ] {
        let mut out = Cursor::new(Vec::new());
        picture.write_to(&mut out, format).unwrap();
        keep("photo", name, &out.into_inner());
    }
    let mut coarse = Vec::new();
    picture.write_with_encoder(JpegEncoder::new_with_quality(&mut coarse, 10)).unwrap();
    keep("photo", "turned.jpeg", &with_exif(&coarse, 6));

    let key = StudioKey::from_seed(&[7; 32]).unwrap();
    let mut writer = PackageWriter::new(Vec::new(), Cursor::new(Vec::new()), sample::head(), key).unwrap();
    writer.add_papers(&sample::papers()).unwrap();
    for paper in sample::papers() {
        writer.add_paper_file(&paper.file, paper.number.as_bytes()).unwrap();
    }
    keep("package", "papers.zip", &writer.finish().unwrap().1);

    let lock =
        include_str!("../fuzz/seeds/key.txt").lines().find_map(|line| line.strip_prefix("# public key: ")).unwrap();
    let sealed = tempfile::NamedTempFile::new().unwrap();
    Lock::parse(lock).unwrap().encrypt(&mut Cursor::new(b"hello"), sealed.reopen().unwrap()).unwrap();
    keep("sealed", "hello.age", &fs::read(sealed.path()).unwrap());
}
