//! What somebody uploads: looked at, and made safe to keep and to show. Bytes in, bytes out.
//!
//! What a file is, its content decides; name and declared type are never looked at.
//!
//! - A photo is decoded within limits and written anew as JPEG, turned the way it was held. Only pixels survive that:
//!   place, time, device, embedded thumbnails and whatever hides behind the picture are gone.
//! - A PDF is kept byte for byte, since a letter is evidence and may carry a signature that a rewritten copy would break.
//!   So what a rewrite would have taken out is refused instead: scripts, attached files, actions that start or send
//!   something, and encryption, behind which all of that could hide.

mod jpeg;
mod pdf;
mod photo;

use crate::domain::file::Kind;

/// The most bytes of an upload: 10 MB.
pub const MOST_BYTES: usize = 10_000_000;

/// What a form takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Takes {
    /// A photo.
    Photo,
    /// A photo or a PDF.
    PhotoOrPdf,
    /// A studio's logo: a picture, kept small.
    Logo,
}

/// A file that may be kept.
#[derive(Clone, PartialEq, Eq)]
pub struct Checked {
    /// What it is now.
    pub kind: Kind,
    /// Its content.
    pub bytes: Vec<u8>,
    /// A small JPEG of a photo.
    pub thumbnail: Option<Vec<u8>>,
}

/// The most bytes of a logo that is kept: a fifth of what a client's page may weigh.
pub const MOST_LOGO_BYTES: usize = 12_000;

/// Why a file is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum UploadRefused {
    /// Nothing in it.
    #[error("the file is empty")]
    Empty,
    /// More than [`MOST_BYTES`].
    #[error("the file has more than {MOST_BYTES} bytes")]
    TooLarge,
    /// HEIC or HEIF, as some phones save photos.
    #[error("HEIC photos are not taken")]
    Heic,
    /// A PDF where a photo is wanted.
    #[error("a photo is wanted, not a PDF")]
    PdfForPhoto,
    /// Neither a JPEG, PNG or WebP nor a PDF.
    #[error("it is neither a JPEG, PNG or WebP photo nor a PDF")]
    Unknown,
    /// A photo that can't be decoded whole.
    #[error("the photo is damaged")]
    BrokenPhoto,
    /// A photo of more pixels than are decoded.
    #[error("the photo has {width} × {height} pixels, more than {most}")]
    TooManyPixels {
        /// Its width.
        width: u32,
        /// Its height.
        height: u32,
        /// The most pixels of its format.
        most: u64,
    },
    /// A PDF that is cut off or damaged, or can't be looked into.
    #[error("the PDF is damaged")]
    BrokenPdf,
    /// An encrypted PDF.
    #[error("the PDF is encrypted")]
    LockedPdf,
    /// A PDF that holds a script, an attached file or an action.
    #[error("the PDF holds a script, an attached file or an action")]
    ActivePdf,
}

/// The width and height of a JPEG, in pixels.
pub fn size(jpeg: &[u8]) -> Option<(u16, u16)> {
    jpeg::frame(jpeg).map(|frame| (frame.width, frame.height))
}

/// What the first bytes say a file is.
enum Looks {
    Photo(photo::Format),
    Pdf,
    Heic,
    Unknown,
}

fn look(bytes: &[u8]) -> Looks {
    let brand = bytes.get(8..12).filter(|_| bytes.get(4..8) == Some(b"ftyp"));
    match bytes {
        [0xFF, 0xD8, 0xFF, ..] => Looks::Photo(photo::Format::Jpeg),
        [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => Looks::Photo(photo::Format::Png),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Looks::Photo(photo::Format::WebP),
        [b'%', b'P', b'D', b'F', b'-', ..] => Looks::Pdf,
        _ if matches!(brand, Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"mif1" | b"msf1")) => {
            Looks::Heic
        }
        _ => Looks::Unknown,
    }
}

/// Looks at an upload and makes it safe. Takes up to about 170 MiB for the largest photo, and up to some seconds: run
/// one at a time, away from the threads that answer requests.
///
/// # Errors
/// [`UploadRefused`]
pub fn check(bytes: &[u8], takes: Takes) -> Result<Checked, UploadRefused> {
    if bytes.is_empty() {
        return Err(UploadRefused::Empty);
    }
    if bytes.len() > MOST_BYTES {
        return Err(UploadRefused::TooLarge);
    }
    match look(bytes) {
        Looks::Photo(format) if takes == Takes::Logo => photo::logo(bytes, format),
        Looks::Photo(format) => photo::renew(bytes, format),
        Looks::Pdf if takes != Takes::PhotoOrPdf => Err(UploadRefused::PdfForPhoto),
        Looks::Pdf => {
            pdf::inspect(bytes)?;
            Ok(Checked { kind: Kind::Pdf, bytes: bytes.to_owned(), thumbnail: None })
        }
        Looks::Heic => Err(UploadRefused::Heic),
        Looks::Unknown => Err(UploadRefused::Unknown),
    }
}
