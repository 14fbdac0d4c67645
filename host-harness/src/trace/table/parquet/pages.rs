//! Where the crate reads pages from.

use std::io::{self, BufReader, Read};

use bytes::Bytes;
use parquet::errors::{ParquetError, Result};
use parquet::file::reader::{ChunkReader, Length};

use super::super::store::{Section, Store};

/// The largest page that is unpacked: 256 MiB. Usual ones have one MiB.
const MOST_OF_A_PAGE: u64 = 256 << 20;
/// A page header without statistics has some 30 bytes.
const HEADER_BLOCK: usize = 512;

/// A store whose pages are asked for their size before room is made for them.
pub(super) struct Pages(Store);

impl Pages {
    pub(super) const fn new(store: Store) -> Self {
        Self(store)
    }
}

impl Length for Pages {
    fn len(&self) -> u64 {
        self.0.length()
    }
}

impl ChunkReader for Pages {
    type T = BufReader<Section<Store>>;

    /// From the header of a page on.
    fn get_read(&self, start: u64) -> Result<Self::T> {
        let mut front = Vec::new();
        Section::new(&self.0, start, 24).read_to_end(&mut front).map_err(wrapped)?;
        if let Some(bytes) = unpacked_size(&front).filter(|&bytes| bytes > MOST_OF_A_PAGE) {
            let what = format!("a page of {bytes} bytes; up to {MOST_OF_A_PAGE} are read");
            return Err(ParquetError::General(what));
        }
        let section = Section::new(self.0.clone(), start, u64::MAX);
        Ok(BufReader::with_capacity(HEADER_BLOCK, section))
    }

    fn get_bytes(&self, start: u64, length: usize) -> Result<Bytes> {
        self.0.bytes(start, length).map_err(|error| match error.kind() {
            io::ErrorKind::UnexpectedEof => ParquetError::General(format!(
                "bytes {start} to {} are not in the file",
                start.saturating_add(length as u64)
            )),
            _ => wrapped(error),
        })
    }
}

fn wrapped(error: io::Error) -> ParquetError {
    ParquetError::External(Box::new(error))
}

/// The size that a page says it has unpacked: the second field of its header, in the compact protocol of Thrift, as the first one is a
/// 32-bit number.
fn unpacked_size(header: &[u8]) -> Option<u64> {
    const NEXT_FIELD_I32: u8 = 0x15;
    let rest = header.strip_prefix(&[NEXT_FIELD_I32])?;
    let (_, rest) = varint(rest)?;
    let (size, _) = varint(rest.strip_prefix(&[NEXT_FIELD_I32])?)?;
    // Zigzag; a negative size is refused elsewhere.
    (size & 1 == 0).then_some(size >> 1)
}

fn varint(bytes: &[u8]) -> Option<(u64, &[u8])> {
    let mut value = 0;
    for (index, &byte) in bytes.iter().enumerate().take(9) {
        value |= u64::from(byte & 0x7f) << (7 * index);
        if byte & 0x80 == 0 {
            return Some((value, &bytes[index + 1..]));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_tells_its_size_before_it_is_unpacked() {
        // Type 0, size 300 = zigzag 600 = 0xd8 0x04.
        assert_eq!(unpacked_size(&[0x15, 0, 0x15, 0xd8, 0x04, 0x15, 2]), Some(300));
        assert_eq!(unpacked_size(&[0x15, 0, 0x15, 0x01]), None, "a negative size");
        assert_eq!(unpacked_size(&[0x15, 0, 0x15]), None);
        assert_eq!(unpacked_size(b"PAR1"), None);
    }
}
