//! Uploads: good ones are made anew, two hundred bad ones are refused in words, and memory stays within its bound.

use std::io::{Cursor, Write};

use flate2::Compression;
use flate2::write::ZlibEncoder;
use image::{DynamicImage, ImageFormat, Rgb, RgbImage, Rgba, RgbaImage};
use palpebra::documents::upload::{MOST_BYTES, Takes, UploadRefused, check};
use palpebra::domain::file::Kind;
use palpebra::web::words;
use proptest::prelude::*;

/// What must not be left of the metadata.
const SECRET: &[u8] = b"52.5200N 13.4050E";

/// Red above, blue below.
fn picture(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |_, y| if y < height / 2 { Rgb([220, 30, 30]) } else { Rgb([30, 30, 220]) })
}

fn encoded(format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(picture(96, 64)).write_to(&mut out, format).unwrap();
    out.into_inner()
}

/// A JPEG with an Exif segment that holds a place and, as TIFF tag 0x0112, an orientation.
pub(crate) fn with_exif(jpeg: &[u8], orientation: u8) -> Vec<u8> {
    let mut exif = b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
    exif.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
    exif.extend_from_slice(SECRET);
    let length = u16::try_from(exif.len() + 2).unwrap().to_be_bytes();
    let mut out = jpeg[..2].to_vec();
    out.extend([0xFF, 0xE1]);
    out.extend(length);
    out.extend(exif);
    out.extend_from_slice(&jpeg[2..]);
    out
}

pub(crate) fn jpeg() -> Vec<u8> {
    encoded(ImageFormat::Jpeg)
}

fn chunk(kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let mut out = u32::try_from(data.len()).unwrap().to_be_bytes().to_vec();
    out.extend(kind);
    out.extend(data);
    let mut crc = flate2::Crc::new();
    crc.update(kind);
    crc.update(data);
    out.extend(crc.sum().to_be_bytes());
    out
}

/// A PNG of zeros in so many bits of RGBA, of which only `rows` are there.
fn png(width: u32, height: u32, depth: u8, rows: u32) -> Vec<u8> {
    let mut head = [width.to_be_bytes(), height.to_be_bytes()].concat();
    head.extend([depth, 6, 0, 0, 0]);
    let mut packed = ZlibEncoder::new(Vec::new(), Compression::fast());
    let row = vec![0; if rows == 0 { 0 } else { 1 + width as usize * 4 * usize::from(depth / 8) }];
    for _ in 0..rows {
        packed.write_all(&row).unwrap();
    }
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    out.extend(chunk(b"IHDR", &head));
    out.extend(chunk(b"IDAT", &packed.finish().unwrap()));
    out.extend(chunk(b"IEND", &[]));
    out
}

/// A JPEG whose frame says another size, and another way of storing it.
fn lying(width: u16, height: u16, frame: u8) -> Vec<u8> {
    let mut out = jpeg();
    let at = out.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    out[at + 1] = frame;
    out[at + 5..at + 7].copy_from_slice(&height.to_be_bytes());
    out[at + 7..at + 9].copy_from_slice(&width.to_be_bytes());
    out
}

/// A PDF with an object and a packed stream of objects in it.
pub(crate) fn pdf(object: &str, packed: &str) -> Vec<u8> {
    let mut stream = ZlibEncoder::new(Vec::new(), Compression::default());
    stream.write_all(packed.as_bytes()).unwrap();
    let stream = stream.finish().unwrap();
    let mut out = format!(
        "%PDF-1.7\n1 0 obj\n<< /Type /Catalog {object} >>\nendobj\n2 0 obj\n<< /Type /ObjStm /N 1 /First 4 /Filter /FlateDecode /Length {} >>\nstream\n",
        stream.len()
    )
    .into_bytes();
    out.extend(stream);
    out.extend(b"\nendstream\nendobj\ntrailer << /Root 1 0 R >>\nstartxref\n9\n%%EOF\n");
    out
}

#[test]
fn a_photo_is_written_anew_without_its_metadata_and_the_way_it_was_held() {
    for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
        let checked = check(&encoded(format), Takes::Photo).unwrap();
        assert_eq!(checked.kind, Kind::Jpeg);
        let kept = image::load_from_memory_with_format(&checked.bytes, ImageFormat::Jpeg).unwrap();
        assert_eq!((kept.width(), kept.height()), (96, 64), "{format:?}");
        assert!(image::load_from_memory(&checked.thumbnail.unwrap()).is_ok());
    }
    // TIFF orientation 6: held with its right side up, so the stored top is the right edge.
    let turned = check(&with_exif(&jpeg(), 6), Takes::Photo).unwrap();
    let kept = image::load_from_memory(&turned.bytes).unwrap().into_rgb8();
    assert_eq!(kept.dimensions(), (64, 96));
    assert!(kept.get_pixel(60, 48)[0] > 150 && kept.get_pixel(3, 48)[2] > 150, "red is at the right");
    for bytes in [&turned.bytes, turned.thumbnail.as_ref().unwrap()] {
        assert!(!bytes.windows(SECRET.len()).any(|part| part == SECRET), "the place is gone");
        assert!(!bytes.windows(4).any(|part| part == b"Exif"));
    }
}

#[test]
fn a_large_photo_is_kept_smaller_and_glass_becomes_white() {
    let mut out = Cursor::new(Vec::new());
    DynamicImage::ImageRgba8(RgbaImage::from_pixel(3000, 1500, Rgba([0; 4])))
        .write_to(&mut out, ImageFormat::Png)
        .unwrap();
    let checked = check(&out.into_inner(), Takes::PhotoOrPdf).unwrap();
    let kept = image::load_from_memory(&checked.bytes).unwrap().into_rgb8();
    assert_eq!(kept.dimensions(), (2560, 1280));
    assert_eq!(kept.get_pixel(1, 1).0, [255; 3]);
    let small = image::load_from_memory(&checked.thumbnail.unwrap()).unwrap();
    assert_eq!((small.width(), small.height()), (320, 160));
}

#[test]
fn a_plain_pdf_is_kept_byte_for_byte_and_one_that_acts_is_refused() {
    let plain = pdf("/Pages 3 0 R", "5 0 << /Title (A letter) >>");
    assert!(check(&plain, Takes::PhotoOrPdf).is_ok_and(|checked| checked.kind == Kind::Pdf && checked.bytes == plain));
    assert_eq!(check(&plain, Takes::Photo).err(), Some(UploadRefused::PdfForPhoto));
    let refusal = |object: &str, packed: &str| check(&pdf(object, packed), Takes::PhotoOrPdf).err();
    for (object, packed) in [
        ("/OpenAction << /S /JavaScript /JS (app.alert) >>", ""),
        ("/OpenAction << /S /J#61vaScript /JS (x) >>", ""),
        ("/OpenAction << /S /#4a#61#76#61#53#63#72#69#70#74 >>", ""),
        ("", "5 0 << /S /JavaScript /JS (x) >>"),
        ("", "5 0 << /S /Java#53cript /JS (x) >>"),
        ("/Names << /EmbeddedFiles 4 0 R >>", ""),
        ("/A << /S /Launch /F (calc.exe) >>", ""),
        ("/A << /S /SubmitForm >>", ""),
        ("/AcroForm << /XFA 7 0 R >>", ""),
    ] {
        assert_eq!(refusal(object, packed), Some(UploadRefused::ActivePdf), "{object} {packed}");
    }
    let far = format!("{}/JavaScript", " ".repeat(300_000));
    assert_eq!(refusal("", &far), Some(UploadRefused::ActivePdf), "also far into a stream");
    assert_eq!(refusal("/Encrypt 9 0 R", ""), Some(UploadRefused::LockedPdf));
    let hidden = String::from_utf8_lossy(&pdf("", "")).replace("/FlateDecode", "[/LZWDecode /FlateDecode]");
    assert_eq!(check(hidden.as_bytes(), Takes::PhotoOrPdf).err(), Some(UploadRefused::BrokenPdf));
}

#[test]
fn a_pdf_of_nothing_but_streams_is_not_looked_through_to_its_end() {
    let of = |streams: usize| pdf(&"stream ".repeat(streams), "1 0 << >>");
    assert!(check(&of(1000), Takes::PhotoOrPdf).is_ok());
    assert_eq!(check(&of(1_400_000), Takes::PhotoOrPdf).err(), Some(UploadRefused::BrokenPdf));
}

/// Malformed, hostile and oversized files, each with what it is.
fn bad() -> Vec<(String, Vec<u8>)> {
    let mut bad = Vec::new();
    let mut add = |what: String, bytes: Vec<u8>| bad.push((what, bytes));
    let noise = |seed: u32, length: usize| {
        let mut state = seed.wrapping_mul(2_654_435_761) | 1;
        let next = std::iter::repeat_with(move || {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            state.to_le_bytes()[1]
        });
        next.take(length).collect::<Vec<u8>>()
    };
    for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
        let good = encoded(format);
        for part in 1..20 {
            add(format!("{format:?} cut after {part}/20"), good[..good.len() * part / 20].to_vec());
        }
    }
    let good = encoded(ImageFormat::Png);
    for step in 0..25 {
        let (mut hit, at) = (good.clone(), 8 + step * (good.len() - 20) / 25);
        hit[at] ^= 0x55;
        add(format!("PNG with byte {at} flipped"), hit);
    }
    for side in [15_000, 20_000, 30_000, 65_535, 100_000, 1 << 24, 0x7FFF_FFFF] {
        add(format!("PNG bomb of {side}²"), png(side, side, 8, 0));
        add(format!("deep PNG bomb of {side}²"), png(side, side, 16, 0));
        add(format!("PNG of {side} × 0"), png(side, 0, 8, 0));
    }
    add("PNG without its rows".to_owned(), png(4000, 4000, 8, 10));
    for (width, height) in [(65_535, 65_535), (9_000, 9_000), (65_535, 1_000), (0, 64), (96, 0)] {
        add(format!("JPEG that says {width} × {height}"), lying(width, height, 0xC0));
        add(format!("progressive JPEG that says {width} × {height}"), lying(width, height, 0xC2));
        for frame in [0xC3, 0xC9, 0xCA] {
            add(format!("JPEG with frame {frame:x}"), lying(width, height, frame));
        }
    }
    for seed in 0..20 {
        let noise = noise(seed, 3_000);
        add(format!("noise {seed}"), [b"x".as_slice(), &noise].concat());
        for magic in
            [b"\xFF\xD8\xFF\xE0".as_slice(), b"\x89PNG\r\n\x1a\n", b"RIFF\x00\x10\x00\x00WEBPVP8L", b"%PDF-1.7\n"]
        {
            add(format!("noise {seed} after {magic:x?}"), [magic, &noise].concat());
        }
    }
    for brand in ["heic", "heix", "heim", "heis", "hevc", "mif1", "msf1", "avif", "isom", "crx "] {
        add(format!("a {brand} file"), [b"\0\0\0\x18ftyp", brand.as_bytes(), &noise(7, 400)].concat());
    }
    for (what, text) in [
        ("a page", "<!doctype html><script>alert(1)</script>"),
        ("an SVG", "<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"),
        ("a GIF", "GIF89a\x01\0\x01\0\0\0\0;"),
        ("a BMP", "BM\x46\0\0\0\0\0\0\0"),
        ("a program", "MZ\x40\0\x03\0\0\0"),
        ("a ZIP", "PK\x03\x04\x14\0"),
        ("a script", "#!/bin/sh\necho"),
        ("a TIFF", "II*\0\x08\0\0\0"),
        ("nothing", ""),
        ("one byte", "\u{7f}"),
        ("a PDF without its end", "%PDF-1.7\n1 0 obj"),
    ] {
        add(what.to_owned(), text.as_bytes().to_vec());
    }
    let page = pdf("", "x");
    for part in 1..10 {
        add(format!("PDF cut after {part}/10"), page[..page.len() * part / 10].to_vec());
    }
    add("a PDF after a page".to_owned(), [b"<html>".as_slice(), &page].concat());
    add("a JPEG that is too large".to_owned(), [jpeg(), vec![0; MOST_BYTES]].concat());
    add("a PDF that is too large".to_owned(), [page, vec![b' '; MOST_BYTES]].concat());
    add("zeros that are too many".to_owned(), vec![0; MOST_BYTES + 1]);
    let mut bomb = ZlibEncoder::new(Vec::new(), Compression::best());
    (0..100).for_each(|_| bomb.write_all(&vec![b' '; 1024 * 1024]).unwrap());
    let bomb = [
        b"%PDF-1.7\n1 0 obj << /Type /ObjStm /Filter /FlateDecode >> stream\n".as_slice(),
        &bomb.finish().unwrap(),
        b"\nendstream endobj startxref 9 %%EOF",
    ];
    add("a PDF that unpacks to 100 MB".to_owned(), bomb.concat());
    bad
}

/// The most that this process ever held, in MiB (proc(5), `VmHWM`).
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1024
}

#[test]
#[ignore = "measures the memory of its whole process: run by the test below, alone in one"]
fn alone_in_its_process() {
    let all = bad();
    assert!(all.len() >= 200, "{}", all.len());
    let count = all.len();
    for (what, bytes) in all {
        let refused = check(&bytes, Takes::PhotoOrPdf).err().unwrap_or_else(|| panic!("{what} was taken"));
        assert!(words::upload(&refused).len() > 20, "{what}");
    }
    // The largest that are taken, or whose header says so.
    for (what, bytes) in [
        ("the deepest PNG", png(4000, 3100, 16, 3100)),
        ("a wide JPEG", lying(8_160, 6_120, 0xC0)),
        ("a wide progressive JPEG", lying(4_000, 3_100, 0xC2)),
    ] {
        let _ = check(&bytes, Takes::Photo);
        println!("after {what}: {} MiB", peak());
    }
    assert!(check(&png(4000, 3100, 16, 3100), Takes::Photo).is_ok());
    println!("{count} files refused; at most {} MiB", peak());
    assert!(peak() < 256, "{} MiB", peak());
}

#[test]
fn two_hundred_bad_files_are_refused_in_words_within_256_mib() {
    let alone = ["--exact", "documents::upload::alone_in_its_process", "--ignored", "--nocapture"];
    let run = std::process::Command::new(std::env::current_exe().unwrap()).args(alone).output().unwrap();
    let said = String::from_utf8_lossy(&run.stdout);
    println!("{said}");
    assert!(run.status.success() && said.contains("1 passed"), "{said}{}", String::from_utf8_lossy(&run.stderr));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn no_damage_makes_it_crash(at in proptest::collection::vec((0usize..4000, any::<u8>()), 1..8), which in 0usize..4) {
        let mut bytes = match which {
            0 => jpeg(),
            1 => encoded(ImageFormat::Png),
            2 => encoded(ImageFormat::WebP),
            _ => pdf("/Pages 3 0 R", "5 0 << >>"),
        };
        for (place, value) in at {
            let place = place % bytes.len();
            bytes[place] = value;
        }
        if let Ok(checked) = check(&bytes, Takes::PhotoOrPdf) {
            prop_assert!(checked.kind == Kind::Pdf || image::load_from_memory(&checked.bytes).is_ok());
        }
    }
}
