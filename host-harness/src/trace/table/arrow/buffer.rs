//! One buffer of a record batch as a stream of bytes, unpacked on the way.

use std::io::{self, BufReader, Read};

use arrow_ipc::CompressionType;

use super::super::TableError;
use super::super::store::{Section, Store};
use super::{FORMAT, damaged};

/// Compressed bytes fetched at a time.
const PACKED_BLOCK: usize = 64 * 1024;
/// The largest window of a zstd stream that is unpacked, as a power of two: 128 MiB, what its own tools take.
const WINDOW: u32 = 27;

/// The rest of a buffer.
pub(super) struct Buffer(Box<dyn Read + Send>);

/// Why a buffer cannot be read.
pub(super) enum Failed {
    Damaged(String),
    Io(io::Error),
}

impl Failed {
    /// As an error of a column.
    pub(super) fn at(self, column: &str) -> TableError {
        match self {
            Self::Damaged(detail) => damaged(Some(column), detail),
            // Decoders say what they do not like in the same way; an error of the file has a number.
            Self::Io(error) if error.raw_os_error().is_none() => {
                let detail = match error.kind() {
                    io::ErrorKind::UnexpectedEof => "a buffer ends in the middle".to_owned(),
                    _ => error.to_string(),
                };
                TableError::Damaged { format: FORMAT, column: Some(column.to_owned()), detail }
            }
            Self::Io(error) => TableError::Unreadable(error),
        }
    }
}

impl Buffer {
    /// The buffer of `length` bytes at `at`, of which the first `needed` unpacked bytes will be read.
    pub(super) fn open(
        store: &Store,
        at: u64,
        length: u64,
        codec: Option<CompressionType>,
        needed: u64,
    ) -> Result<Self, Failed> {
        let short = |has: u64| Failed::Damaged(format!("a buffer of {has} bytes instead of {needed}"));
        let Some(codec) = codec else {
            let section = Section::new(store.clone(), at, length);
            return if length < needed { Err(short(length)) } else { Ok(Self::plain(section)) };
        };
        if length == 0 && needed == 0 {
            return Ok(Self(Box::new(io::empty())));
        }
        let rest = length.checked_sub(8).ok_or_else(|| short(length))?;
        let mut size = [0; 8];
        Section::new(store, at, 8).read_exact(&mut size).map_err(Failed::Io)?;
        let section = Section::new(store.clone(), at + 8, rest);
        match u64::try_from(i64::from_le_bytes(size)) {
            // Minus one: not packed, since it would only have become longer.
            Err(_) if i64::from_le_bytes(size) == -1 && rest >= needed => Ok(Self::plain(section)),
            Err(_) => Err(short(rest)),
            Ok(unpacked) if unpacked < needed => Err(short(unpacked)),
            Ok(_) if codec == CompressionType::ZSTD => {
                let packed = BufReader::with_capacity(PACKED_BLOCK, section);
                let mut decoder = zstd::stream::read::Decoder::with_buffer(packed).map_err(Failed::Io)?;
                decoder.window_log_max(WINDOW).map_err(Failed::Io)?;
                Ok(Self(Box::new(decoder)))
            }
            Ok(_) => {
                let packed = BufReader::with_capacity(PACKED_BLOCK, section);
                Ok(Self(Box::new(lz4_flex::frame::FrameDecoder::new(packed))))
            }
        }
    }

    fn plain(section: Section<Store>) -> Self {
        Self(Box::new(section))
    }

    /// Replaces `bytes` by the next ones.
    pub(super) fn read(&mut self, count: usize, bytes: &mut Vec<u8>) -> Result<(), Failed> {
        bytes.resize(count, 0);
        self.0.read_exact(bytes).map_err(Failed::Io)
    }
}
