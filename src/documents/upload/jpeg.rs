//! The frame of a JPEG (ITU-T T.81): how its pixels are stored, and whether it is whole.

/// What matters of a frame before anything is decoded.
pub(super) struct Frame {
    /// All coefficients have to be held until the last scan: progressive, or with a scan for each colour.
    pub(super) holds_all: bool,
    /// In pixels.
    pub(super) width: u16,
    /// In pixels.
    pub(super) height: u16,
}

/// Reads the markers up to the end of the image; `None` when they don't lead there.
pub(super) fn frame(bytes: &[u8]) -> Option<Frame> {
    let mut rest = bytes.strip_prefix(&[0xFF, 0xD8])?;
    let (mut progressive, mut colours, mut split, mut size) = (None, 0, false, (0, 0));
    loop {
        let start = rest.iter().position(|byte| *byte == 0xFF)?;
        let marker = start + rest.get(start..)?.iter().position(|byte| *byte != 0xFF)?;
        let code = *rest.get(marker)?;
        rest = rest.get(marker + 1..)?;
        match code {
            // A stuffed byte, a restart or a standalone marker: the scan goes on.
            0x00 | 0x01 | 0xD0..=0xD7 => continue,
            0xD9 => {
                let (width, height) = size;
                return progressive.map(|progressive| Frame { holds_all: progressive || split, width, height });
            }
            _ => {}
        }
        let length = usize::from(u16::from_be_bytes([*rest.first()?, *rest.get(1)?]));
        let segment = rest.get(2..length)?;
        match code {
            // A second frame would be decoded under other limits than the first was judged by.
            0xC0..=0xC2 if progressive.is_none() => {
                progressive = Some(code == 0xC2);
                let side = |at: usize| Some(u16::from_be_bytes([*segment.get(at)?, *segment.get(at + 1)?]));
                size = (side(3)?, side(1)?);
                colours = *segment.get(5)?;
            }
            0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF => return None,
            0xDA => split |= *segment.first()? < colours,
            _ => {}
        }
        rest = rest.get(length..)?;
    }
}
