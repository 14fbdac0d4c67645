//! Where the text comes from: files and standard input, unpacked on the way.

use std::fmt;
use std::fs::File;
use std::io::{self, BufReader, Cursor, Read};
use std::path::Path;
use std::sync::Arc;

use flate2::bufread::MultiGzDecoder;

use super::error::{Place, Problem, TraceError};

/// How a trace was compressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Compression {
    /// Not at all.
    Plain,
    /// gzip, of one or more members.
    Gzip,
    /// zstd, of one or more frames.
    Zstd,
}

impl fmt::Display for Compression {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Plain => "plain",
            Self::Gzip => "gzip",
            Self::Zstd => "zstd",
        })
    }
}

/// Enough to tell the formats in [`other_format`] apart.
const MAGIC_BYTES: usize = 6;
/// Compressed bytes fetched at a time.
const PACKED_BLOCK: usize = 128 * 1024;

/// A stream of text with the name it has in messages.
pub(super) struct Input {
    pub(super) path: Arc<str>,
    pub(super) compression: Compression,
    stream: Box<dyn Read + Send>,
}

impl Input {
    /// Opens a file, or standard input for `-`.
    pub(super) fn open(path: &Path) -> Result<Self, TraceError> {
        if path.as_os_str() == "-" {
            return Self::from_read("standard input", io::stdin());
        }
        Self::from_read(&path.to_string_lossy(), file(path)?)
    }

    /// Opens a file; `seen` is shown all its bytes, as they are stored, while they are read.
    pub(super) fn open_seen(
        path: &Path,
        seen: impl FnMut(&[u8]) + Send + 'static,
    ) -> Result<Self, TraceError> {
        Self::from_read(&path.to_string_lossy(), Seen { file: file(path)?, seen })
    }

    /// Takes any stream of bytes.
    pub(super) fn from_read(name: &str, mut raw: impl Read + Send + 'static) -> Result<Self, TraceError> {
        let path: Arc<str> = name.into();
        let fail = |problem| TraceError { place: place(Arc::clone(&path)), problem: Box::new(problem) };
        let mut magic = Vec::with_capacity(MAGIC_BYTES);
        raw.by_ref()
            .take(MAGIC_BYTES as u64)
            .read_to_end(&mut magic)
            .map_err(|error| fail(Problem::Unreadable(error)))?;
        if let Some(format) = other_format(&magic) {
            return Err(fail(Problem::OtherFormat(format)));
        }
        let compression = compression(&magic);
        let all = Cursor::new(magic).chain(raw);
        let stream: Box<dyn Read + Send> = match compression {
            Compression::Plain => Box::new(all),
            Compression::Gzip => Box::new(MultiGzDecoder::new(BufReader::with_capacity(PACKED_BLOCK, all))),
            Compression::Zstd => {
                let packed = BufReader::with_capacity(PACKED_BLOCK, all);
                Box::new(
                    zstd::stream::read::Decoder::with_buffer(packed)
                        .map_err(|error| fail(Problem::Unreadable(error)))?,
                )
            }
        };
        Ok(Self { path, compression, stream })
    }

    /// Reads some bytes; 0 at the end.
    pub(super) fn read(&mut self, into: &mut [u8]) -> Result<usize, Problem> {
        loop {
            match self.stream.read(into) {
                Ok(count) => return Ok(count),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(self.explain(error)),
            }
        }
    }

    fn explain(&self, error: io::Error) -> Problem {
        match (self.compression, error.kind()) {
            (Compression::Plain, _) => Problem::Unreadable(error),
            (compression, io::ErrorKind::UnexpectedEof) => Problem::Truncated(compression),
            // The decoders report damage as invalid data or input, or as a plain message; an error of the
            // file below them keeps its number.
            (compression, _) if error.raw_os_error().is_none() => {
                Problem::Corrupt { compression, detail: error.to_string() }
            }
            _ => Problem::Unreadable(error),
        }
    }
}

/// A file whose bytes are shown to somebody else, too.
struct Seen<F> {
    file: File,
    seen: F,
}

impl<F: FnMut(&[u8])> Read for Seen<F> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(into)?;
        (self.seen)(&into[..count]);
        Ok(count)
    }
}

fn file(path: &Path) -> Result<File, TraceError> {
    let name = path.to_string_lossy();
    let fail = |problem| TraceError { place: place(name.as_ref().into()), problem: Box::new(problem) };
    let file = File::open(path).map_err(|error| {
        fail(match error.kind() {
            io::ErrorKind::NotFound => Problem::NotFound,
            _ => Problem::Unreadable(error),
        })
    })?;
    if file.metadata().is_ok_and(|metadata| metadata.is_dir()) {
        return Err(fail(Problem::Directory));
    }
    Ok(file)
}

const fn place(path: Arc<str>) -> Place {
    Place { path, line: None, column: None }
}

pub(crate) fn compression(magic: &[u8]) -> Compression {
    match magic {
        [0x1f, 0x8b, ..] => Compression::Gzip,
        // A frame, or a skippable frame in front of the first one.
        [0x28, 0xb5, 0x2f, 0xfd, ..] | [0x50..=0x5f, 0x2a, 0x4d, 0x18, ..] => Compression::Zstd,
        _ => Compression::Plain,
    }
}

/// Formats that are met where a table is expected, by their first bytes.
pub(crate) const fn other_format(magic: &[u8]) -> Option<&'static str> {
    match magic {
        [b'P', b'K', 3, 4, ..] => Some("a zip archive (or a spreadsheet)"),
        [b'B', b'Z', b'h', b'1'..=b'9', b'1', b'A'] => Some("a bzip2 file"),
        [0xfd, b'7', b'z', b'X', b'Z', 0] => Some("an xz file"),
        [b'P', b'A', b'R', b'1', 0x15, ..] => Some("a Parquet file"),
        [0xd0, 0xcf, 0x11, 0xe0, ..] => Some("an old binary spreadsheet or document"),
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => Some("UTF-16 text"),
        _ => None,
    }
}
