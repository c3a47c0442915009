//! Every seed of the fuzzer goes through its parser, so that nothing that was once found comes back; `tests/run --fuzz` looks
//! for more.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
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

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use palpebra::documents::package::PackageWriter;
use palpebra::sealing::Lock;
use palpebra::studio_key::StudioKey;
use targets::TARGETS;

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
