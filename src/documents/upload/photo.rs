//! A photo, decoded within limits and written anew.

use std::io::Cursor;
use std::panic;

use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::codecs::png::PngDecoder;
use image::codecs::webp::WebPDecoder;
use image::metadata::Orientation;
use image::{DynamicImage, GenericImageView, ImageDecoder, ImageResult, Limits, RgbImage};

use super::{Checked, MOST_LOGO_BYTES, UploadRefused, jpeg};
use crate::domain::file::Kind;

/// The formats that are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    Jpeg,
    Png,
    WebP,
}

/// The longest side that is kept, in pixels: a letter on A4 is still read at about 220 dots an inch.
const SIDE: u32 = 2560;
/// The longest side of a thumbnail.
const THUMBNAIL: u32 = 320;
/// The most bytes of decoded pixels.
const DECODED: u64 = 144 * 1024 * 1024;
/// The most pixels where three bytes each are all that decoding holds.
const PIXELS: u64 = 50_000_000;
/// The most pixels where decoding holds up to nine bytes each.
const PIXELS_HELD: u64 = 12_500_000;

/// The longest side of a logo, twice what pages show.
const LOGO: u32 = 288;

/// A logo, in the best quality that is light enough; one that is too busy for that is made smaller.
pub(super) fn logo(bytes: &[u8], format: Format) -> Result<Checked, UploadRefused> {
    let mut side = LOGO;
    let mut picture = DynamicImage::ImageRgb8(opaque(decode(bytes, format)?));
    loop {
        picture = shrink(picture, side);
        for quality in [90, 80, 70, 60] {
            let bytes = encode(&picture.to_rgb8(), quality)?;
            if bytes.len() <= MOST_LOGO_BYTES {
                return Ok(Checked { kind: Kind::Jpeg, bytes, thumbnail: None });
            }
        }
        side = side * 3 / 4;
    }
}

pub(super) fn renew(bytes: &[u8], format: Format) -> Result<Checked, UploadRefused> {
    let image = decode(bytes, format)?;
    let photo = opaque(image);
    let thumbnail = shrink(DynamicImage::ImageRgb8(photo.clone()), THUMBNAIL);
    Ok(Checked { kind: Kind::Jpeg, bytes: encode(&photo, 88)?, thumbnail: Some(encode(&thumbnail.into_rgb8(), 80)?) })
}

/// The library that decodes JPEG can panic on a broken one: a photo that breaks it is a broken photo.
fn decode(bytes: &[u8], format: Format) -> Result<DynamicImage, UploadRefused> {
    panic::catch_unwind(|| decoded(bytes, format)).unwrap_or(Err(UploadRefused::BrokenPhoto))
}

fn decoded(bytes: &[u8], format: Format) -> Result<DynamicImage, UploadRefused> {
    let input = Cursor::new(bytes);
    match format {
        Format::Jpeg => {
            let frame = jpeg::frame(bytes).ok_or(UploadRefused::BrokenPhoto)?;
            finish(JpegDecoder::new(input), if frame.holds_all { PIXELS_HELD } else { PIXELS })
        }
        Format::Png => finish(PngDecoder::new(input), PIXELS_HELD),
        Format::WebP => finish(WebPDecoder::new(input), PIXELS_HELD),
    }
}

/// Judges the size that the header names, then decodes, shrinks, and turns the way it was held.
fn finish<D: ImageDecoder>(decoder: ImageResult<D>, most: u64) -> Result<DynamicImage, UploadRefused> {
    let broken = |_| UploadRefused::BrokenPhoto;
    let mut decoder = decoder.map_err(broken)?;
    let (width, height) = decoder.dimensions();
    if width == 0 || height == 0 {
        return Err(UploadRefused::BrokenPhoto);
    }
    if u64::from(width) * u64::from(height) > most || decoder.total_bytes() > DECODED {
        return Err(UploadRefused::TooManyPixels { width, height, most });
    }
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(DECODED);
    decoder.set_limits(limits).map_err(broken)?;
    // A photo whose orientation can't be read is kept as it lies.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let mut image = shrink(DynamicImage::from_decoder(decoder).map_err(broken)?, SIDE);
    image.apply_orientation(orientation);
    Ok(image)
}

/// By averaging, which needs no second copy of the whole.
fn shrink(image: DynamicImage, side: u32) -> DynamicImage {
    let (width, height) = image.dimensions();
    if width.max(height) <= side { image } else { image.thumbnail(side, side) }
}

/// On white, as paper is: JPEG knows no transparency.
fn opaque(image: DynamicImage) -> RgbImage {
    if !image.color().has_alpha() {
        return image.into_rgb8();
    }
    let mut ground = image::RgbaImage::from_pixel(image.width(), image.height(), image::Rgba([255; 4]));
    image::imageops::overlay(&mut ground, &image.into_rgba8(), 0, 0);
    DynamicImage::ImageRgba8(ground).into_rgb8()
}

fn encode(image: &RgbImage, quality: u8) -> Result<Vec<u8>, UploadRefused> {
    let mut out = Vec::new();
    JpegEncoder::new_with_quality(&mut out, quality).encode_image(image).map_err(|_| UploadRefused::BrokenPhoto)?;
    Ok(out)
}
