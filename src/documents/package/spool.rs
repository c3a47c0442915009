//! Many growing texts in one scratch file, so that the tables of thousands of clients don't fill the memory.

use std::io::{self, Read, Seek, SeekFrom, Write};

use crate::documents::tables::TABLES;

/// Rows of one table gather to this size before they are written.
const CHUNK: usize = 64 * 1024;

/// A text: what is on file, and what waits in memory.
#[derive(Clone, Default)]
struct Text {
    chunks: Vec<(u64, usize)>,
    waiting: Vec<u8>,
    length: u64,
}

/// The scratch file and the texts in it, one a table.
pub(super) struct Spool<S> {
    file: S,
    end: u64,
    texts: Vec<Text>,
}

impl<S: Read + Write + Seek> Spool<S> {
    pub(super) fn new(file: S) -> Self {
        Self { file, end: 0, texts: vec![Text::default(); TABLES.len()] }
    }

    /// Bytes of the text so far.
    pub(super) fn len(&self, index: usize) -> u64 {
        self.texts.get(index).map_or(0, |text| text.length)
    }

    pub(super) fn append(&mut self, index: usize, part: &[u8]) -> io::Result<()> {
        let Some(text) = self.texts.get_mut(index) else { return Ok(()) };
        text.waiting.extend_from_slice(part);
        text.length += super::byte_count(part);
        if text.waiting.len() >= CHUNK {
            self.file.seek(SeekFrom::Start(self.end))?;
            self.file.write_all(&text.waiting)?;
            text.chunks.push((self.end, text.waiting.len()));
            self.end += super::byte_count(&text.waiting);
            text.waiting.clear();
        }
        Ok(())
    }

    /// Hands out the text, chunk by chunk.
    pub(super) fn read(&mut self, index: usize, take: &mut impl FnMut(&[u8]) -> io::Result<()>) -> io::Result<()> {
        let Some(text) = self.texts.get(index) else { return Ok(()) };
        let mut buffer = Vec::new();
        for (at, length) in &text.chunks {
            self.file.seek(SeekFrom::Start(*at))?;
            buffer.resize(*length, 0);
            self.file.read_exact(&mut buffer)?;
            take(&buffer)?;
        }
        take(&text.waiting)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn each_text_comes_back_as_it_went_in(parts in proptest::collection::vec((0usize..3, 0usize..60_000), 0..30)) {
            let mut spool = Spool::new(io::Cursor::new(Vec::new()));
            let mut whole = vec![Vec::new(); 3];
            for (number, (index, length)) in parts.into_iter().enumerate() {
                let part = vec![u8::try_from(number).unwrap(); length];
                spool.append(index, &part).unwrap();
                whole[index].extend(part);
            }
            for (index, whole) in whole.iter().enumerate() {
                let mut read = Vec::new();
                spool.read(index, &mut |part| { read.extend_from_slice(part); Ok(()) }).unwrap();
                prop_assert!(read == *whole);
                prop_assert_eq!(spool.len(index), u64::try_from(whole.len()).unwrap());
            }
        }
    }
}
