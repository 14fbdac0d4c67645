//! The records of a group as one stream of bytes, whatever blocks they lie in. Memory holds one block of the list and one packed block.

use std::collections::HashSet;
use std::io::Read;

use flate2::read::ZlibDecoder;

use super::error::MdfError;
use super::file::{File, Head};
use crate::trace::table::TableError;

/// The largest packed block that is taken. The format allows 4 MiB.
const MAX_PACKED_BYTES: u64 = 64 << 20;

/// Reads records from their beginning to their end.
pub(super) struct Data {
    /// The blocks that come next, the last of them first.
    blocks: Vec<u64>,
    /// The list that comes behind them.
    list: u64,
    seen: HashSet<u64>,
    now: Now,
}

/// The block that is being read.
enum Now {
    Nothing,
    Plain { at: u64, left: u64 },
    Unpacked { bytes: Vec<u8>, taken: usize },
}

impl Data {
    /// Begins at the link of a data group.
    pub(super) fn new(at: u64) -> Self {
        Self {
            blocks: if at == 0 { vec![] } else { vec![at] },
            list: 0,
            seen: HashSet::new(),
            now: Now::Nothing,
        }
    }

    /// Fills as much as there is; less only at the end.
    pub(super) fn fill(&mut self, file: &mut File, into: &mut [u8]) -> Result<usize, TableError> {
        let mut filled = 0;
        while filled < into.len() {
            let got = self.read(file, &mut into[filled..])?;
            if got == 0 && !self.advance(file)? {
                break;
            }
            filled += got;
        }
        Ok(filled)
    }

    /// Some bytes of the block that is being read; 0 at its end.
    fn read(&mut self, file: &mut File, into: &mut [u8]) -> Result<usize, TableError> {
        match &mut self.now {
            Now::Nothing => Ok(0),
            Now::Plain { at, left } => {
                let most = usize::try_from(*left).unwrap_or(usize::MAX).min(into.len());
                file.read(*at, &mut into[..most], "a data block")?;
                *at += most as u64;
                *left -= most as u64;
                Ok(most)
            }
            Now::Unpacked { bytes, taken } => {
                let most = (bytes.len() - *taken).min(into.len());
                into[..most].copy_from_slice(&bytes[*taken..*taken + most]);
                *taken += most;
                Ok(most)
            }
        }
    }

    /// Goes on to the next block; false at the end.
    fn advance(&mut self, file: &mut File) -> Result<bool, TableError> {
        loop {
            let at = match self.blocks.pop() {
                Some(0) => continue,
                Some(at) => at,
                None if self.list == 0 => return Ok(false),
                None => std::mem::take(&mut self.list),
            };
            if !self.seen.insert(at) {
                return Err(MdfError::damaged("a list of data that leads back to the block", at).into());
            }
            let head = file.head(at)?;
            match &head.id {
                b"##DT" => {
                    self.now = Now::Plain { at: head.data_at(), left: head.data_bytes() };
                    return Ok(true);
                }
                b"##DZ" => {
                    self.now = Now::Unpacked { bytes: unpack(file, &head)?, taken: 0 };
                    return Ok(true);
                }
                b"##HL" => self.blocks.push(file.block(at, &[b"##HL"])?.link(0)),
                b"##DL" => {
                    let block = file.block(at, &[b"##DL"])?;
                    if self.list != 0 || !self.blocks.is_empty() {
                        return Err(MdfError::damaged("a list of data within another one", at).into());
                    }
                    self.list = block.link(0);
                    self.blocks = block.links().iter().skip(1).rev().copied().collect();
                }
                b"##DV" | b"##LD" => {
                    return Err(MdfError::Unsupported {
                        what: format!("the data at byte {at} are stored column by column"),
                        way_out: "save the file with its records row by row, which every program that writes MDF4 can",
                    }
                    .into());
                }
                _ => {
                    let what = format!("a {} block stands where data belong", head.shown());
                    return Err(MdfError::damaged(what, at).into());
                }
            }
        }
    }
}

/// The content of a packed block.
fn unpack(file: &mut File, head: &Head) -> Result<Vec<u8>, TableError> {
    const FIXED: u64 = 24;
    let damaged = |what: String| TableError::from(MdfError::damaged(what, head.at));
    let mut fixed = [0; 24];
    if head.data_bytes() < FIXED {
        return Err(damaged("the ##DZ block is too short".into()));
    }
    file.read(head.data_at(), &mut fixed, "a packed block")?;
    let [b'D', b'T', packing, _, columns @ .., _, _, _, _, _, _, _, _, _, _, _, _, _, _, _, _] = fixed else {
        return Err(damaged(format!(
            "a packed block of {}",
            String::from_utf8_lossy(&fixed[..2]).escape_debug()
        )));
    };
    let columns = u32::from_le_bytes(columns) as usize;
    let number = |bytes: &[u8]| bytes.iter().rev().fold(0, |sum, &byte| sum << 8 | u64::from(byte));
    let (whole, packed) = (number(&fixed[8..16]), number(&fixed[16..24]));
    if packed > head.data_bytes() - FIXED {
        return Err(damaged("a packed block that is longer than itself".into()));
    }
    if whole.max(packed) > MAX_PACKED_BYTES {
        return Err(damaged(format!(
            "a packed block of {} bytes (the format allows 4 MiB)",
            whole.max(packed)
        )));
    }
    // Both are below the limit.
    let mut bytes = vec![0; usize::try_from(packed).unwrap_or(0)];
    file.read(head.data_at() + FIXED, &mut bytes, "a packed block")?;
    let mut unpacked = Vec::new();
    let done = match packing {
        0 | 1 => ZlibDecoder::new(bytes.as_slice()).take(whole + 1).read_to_end(&mut unpacked),
        2 | 3 => zstd::stream::read::Decoder::new(bytes.as_slice())
            .and_then(|stream| stream.take(whole + 1).read_to_end(&mut unpacked)),
        _ => {
            return Err(MdfError::Unsupported {
                what: format!("the data at byte {} are packed in way {packing} of the format", head.at),
                way_out: "save the file without compression, or with deflate or zstd",
            }
            .into());
        }
    };
    done.map_err(|error| damaged(format!("a packed block that cannot be unpacked ({error})")))?;
    if unpacked.len() as u64 != whole {
        return Err(damaged(format!(
            "a packed block of another length than the {whole} bytes that it announces"
        )));
    }
    if packing % 2 == 1 {
        if columns == 0 {
            return Err(damaged("a transposed block without a record length".into()));
        }
        return Ok(transpose(&unpacked, columns));
    }
    Ok(unpacked)
}

/// Undoes the transposition: byte by byte of all whole records, then what is left.
fn transpose(stored: &[u8], record: usize) -> Vec<u8> {
    let rows = stored.len() / record;
    let mut bytes = Vec::with_capacity(stored.len());
    for row in 0..rows {
        bytes.extend((0..record).filter_map(|column| stored.get(column * rows + row)));
    }
    bytes.extend_from_slice(stored.get(rows * record..).unwrap_or_default());
    bytes
}

#[cfg(test)]
mod tests {
    use super::transpose;

    #[test]
    fn a_transposed_block_has_its_records_back_and_keeps_its_rest() {
        // Two records of three bytes, and two bytes of a third.
        assert_eq!(transpose(b"adbecfgh", 3), b"abcdefgh");
        assert_eq!(transpose(b"ab", 3), b"ab");
    }
}
